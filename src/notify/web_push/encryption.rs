//! Encryption of a notice for one browser, so that the push service between cannot read it.
//!
//! References: RFC 8291 (keys), RFC 8188 (`aes128gcm`), RFC 5869 (HKDF).

use ring::aead::{AES_128_GCM, Aad, LessSafeKey, Nonce, UnboundKey};
use ring::agreement::{ECDH_P256, EphemeralPrivateKey, UnparsedPublicKey, agree_ephemeral};
use ring::error::Unspecified;
use ring::hkdf::{HKDF_SHA256, KeyType, Salt};
use ring::rand::{SecureRandom, SystemRandom};

/// Bytes of an uncompressed point of P-256.
pub(super) const POINT: usize = 65;
/// Bytes of a browser's authentication secret.
pub(super) const AUTH: usize = 16;
const SALT: usize = 16;
/// Bytes of salt, record size and key before what is encrypted.
const HEADER: usize = SALT + 4 + 1 + POINT;
/// The record size: most bytes of a message that every push service takes (RFC 8291, 4).
pub(super) const MOST_BYTES: usize = 4096;
/// Most bytes that are encrypted: what the header, the delimiter and the tag leave.
pub(super) const MOST_PLAIN: usize = MOST_BYTES - HEADER - 1 - 16;
/// Ends the last record.
const LAST: u8 = 2;

/// What a browser encrypts and is encrypted for with.
#[derive(Clone, PartialEq, Eq)]
pub(super) struct BrowserKeys {
    /// Its public key, an uncompressed point.
    pub public: [u8; POINT],
    /// Its authentication secret.
    pub auth: [u8; AUTH],
}

/// The sender's part: its public key, what both agreed on, and the salt.
struct Agreed<'a> {
    sender: &'a [u8],
    secret: &'a [u8],
    salt: [u8; SALT],
}

/// The message for a browser, with keys that are used this once.
///
/// # Errors
/// [`Unspecified`] if the browser's key is no point of the curve, or there are no random numbers.
pub(super) fn encrypted(plain: &[u8], keys: &BrowserKeys) -> Result<Vec<u8>, Unspecified> {
    let random = SystemRandom::new();
    let own = EphemeralPrivateKey::generate(&ECDH_P256, &random)?;
    let sender = own.compute_public_key()?;
    let mut salt = [0; SALT];
    random.fill(&mut salt)?;
    let peer = UnparsedPublicKey::new(&ECDH_P256, keys.public);
    agree_ephemeral(own, &peer, |secret| {
        let agreed = Agreed {
            sender: sender.as_ref(),
            secret,
            salt,
        };
        sealed(plain, keys, &agreed)
    })?
}

/// The one record of a message, after its header.
fn sealed(plain: &[u8], keys: &BrowserKeys, agreed: &Agreed<'_>) -> Result<Vec<u8>, Unspecified> {
    let info = [b"WebPush: info\0", &keys.public[..], agreed.sender].concat();
    let mut input = [0; 32];
    derive(&keys.auth, agreed.secret, &info, &mut input)?;
    let mut key = [0; 16];
    derive(
        &agreed.salt,
        &input,
        b"Content-Encoding: aes128gcm\0",
        &mut key,
    )?;
    let mut nonce = [0; 12];
    derive(
        &agreed.salt,
        &input,
        b"Content-Encoding: nonce\0",
        &mut nonce,
    )?;
    let key = LessSafeKey::new(UnboundKey::new(&AES_128_GCM, &key)?);
    let mut record = [plain, &[LAST]].concat();
    let nonce = Nonce::assume_unique_for_key(nonce);
    key.seal_in_place_append_tag(nonce, Aad::empty(), &mut record)?;
    let mut message = agreed.salt.to_vec();
    message.extend((MOST_BYTES as u32).to_be_bytes());
    message.push(POINT as u8);
    message.extend(agreed.sender);
    message.extend(record);
    Ok(message)
}

/// How many bytes are wanted.
struct Length(usize);

impl KeyType for Length {
    fn len(&self) -> usize {
        self.0
    }
}

fn derive(salt: &[u8], secret: &[u8], info: &[u8], to: &mut [u8]) -> Result<(), Unspecified> {
    let key = Salt::new(HKDF_SHA256, salt).extract(secret);
    key.expand(&[info], Length(to.len()))?.fill(to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use base64::Engine;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD;

    fn bytes(text: &str) -> Vec<u8> {
        URL_SAFE_NO_PAD.decode(text).expect("base64url")
    }

    /// RFC 8291, appendix A: the values there, from the agreed secret on (the library makes no key that
    /// is given). Typed from memory; the tag within would not fit others.
    #[test]
    fn the_example_of_rfc_8291_comes_out_byte_for_byte() {
        let keys = BrowserKeys {
            public: bytes("BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4")
                .try_into()
                .unwrap(),
            auth: bytes("BTBZMqHH6r4Tts7J_aSIgg").try_into().unwrap(),
        };
        let agreed = Agreed {
            sender: &bytes(
                "BP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A8",
            ),
            secret: &bytes("kyrL1jIIOHEzg3sM2ZWRHDRB62YACZhhSlknJ672kSs"),
            salt: bytes("DGv6ra1nlYgDCS1FRnbzlw").try_into().unwrap(),
        };
        let message = sealed(b"When I grow up, I want to be a watermelon", &keys, &agreed);
        let expected = "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN";
        assert_eq!(URL_SAFE_NO_PAD.encode(message.unwrap()), expected);
    }

    #[test]
    fn a_key_that_is_no_point_of_the_curve_is_refused() {
        let keys = BrowserKeys {
            public: [4; POINT],
            auth: [0; AUTH],
        };
        assert!(encrypted(b"x", &keys).is_err());
    }
}
