"""Reads a notice as a browser would, and its signature as a push service would; says in JSON what it holds.

The browser's key is that of RFC 8291, appendix A.
"""

import base64
import json
import sys

import http_ece
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from py_vapid import Vapid02

PRIVATE, AUTH = "q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94", "BTBZMqHH6r4Tts7J_aSIgg"


def decoded(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


sent = json.load(sys.stdin)
key = ec.derive_private_key(int.from_bytes(decoded(PRIVATE), "big"), ec.SECP256R1())
public = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
body = decoded(sent["body"])
plain = http_ece.decrypt(body, private_key=key, auth_secret=decoded(AUTH), version="aes128gcm")
token = sent["authorization"].split("t=")[1].split(",")[0]
json.dump(
    {
        "notice": json.loads(plain),
        "key": base64.urlsafe_b64encode(public).decode().rstrip("="),
        "signed": Vapid02.verify(sent["authorization"]),
        "signer": sent["authorization"].split("k=")[1],
        "claims": json.loads(decoded(token.split(".")[1])),
    },
    sys.stdout,
)
