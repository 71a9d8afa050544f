//! The key by which push services know this service.
//!
//! References: RFC 8292 (VAPID), RFC 7515 and RFC 7519 (the signed token).

use crate::secret::Secret;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use ring::rand::SystemRandom;
use ring::signature::{ECDSA_P256_SHA256_FIXED_SIGNING, EcdsaKeyPair, KeyPair};
use serde::Serialize;

/// How long a token is good; RFC 8292 allows 24 hours.
const TOKEN_LASTS: TimeDelta = TimeDelta::hours(12);

const ALGORITHM: &ring::signature::EcdsaSigningAlgorithm = &ECDSA_P256_SHA256_FIXED_SIGNING;

/// Signs for the service.
pub struct ServiceKey(EcdsaKeyPair);

/// A pair as it is kept.
pub struct NewServiceKey {
    /// The private part (PKCS #8), base64url.
    pub private: Secret,
    /// The public part, which browsers are told, base64url.
    pub public: String,
}

#[derive(Serialize)]
struct Claims<'c> {
    aud: &'c str,
    exp: i64,
    sub: &'c str,
}

impl std::fmt::Debug for ServiceKey {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("ServiceKey(…)")
    }
}

impl NewServiceKey {
    /// A new pair.
    ///
    /// # Errors
    /// If the system gives no random bytes.
    pub fn random() -> Result<Self, &'static str> {
        let none = |_| "the system gives no random bytes";
        let document = EcdsaKeyPair::generate_pkcs8(ALGORITHM, &SystemRandom::new());
        let private = URL_SAFE_NO_PAD.encode(document.map_err(none)?.as_ref());
        let private = Secret::new(private);
        let public = ServiceKey::read(&private)?.public();
        Ok(Self { private, public })
    }
}

impl ServiceKey {
    /// A pair by its private part.
    ///
    /// # Errors
    /// If it is none.
    pub fn read(private: &Secret) -> Result<Self, &'static str> {
        let damaged = "the key for push services that is stored is damaged";
        let bytes = URL_SAFE_NO_PAD
            .decode(private.expose())
            .map_err(|_| damaged)?;
        let pair = EcdsaKeyPair::from_pkcs8(ALGORITHM, &bytes, &SystemRandom::new());
        pair.map(Self).map_err(|_| damaged)
    }

    /// The public part, base64url.
    pub fn public(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.0.public_key())
    }

    /// The value of `Authorization` for the push service of an origin; `contact` is whom it may write to.
    ///
    /// # Errors
    /// If the system gives no random bytes.
    pub(super) fn authorization(
        &self,
        origin: &str,
        contact: &str,
        now: DateTime<Utc>,
    ) -> Result<String, &'static str> {
        let claims = Claims {
            aud: origin,
            exp: (now + TOKEN_LASTS).timestamp(),
            sub: contact,
        };
        let claims = serde_json::to_vec(&claims).expect("texts and a number become JSON");
        let head = URL_SAFE_NO_PAD.encode(br#"{"typ":"JWT","alg":"ES256"}"#);
        let signed = format!("{head}.{}", URL_SAFE_NO_PAD.encode(claims));
        let signature = self.0.sign(&SystemRandom::new(), signed.as_bytes());
        let signature = signature.map_err(|_| "the system gives no random bytes")?;
        let signature = URL_SAFE_NO_PAD.encode(signature);
        Ok(format!("vapid t={signed}.{signature},k={}", self.public()))
    }
}
