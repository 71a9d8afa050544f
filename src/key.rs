//! Keys that people and programs show at the page: random, given out once, kept as a hash only.

use ring::digest::{SHA256, digest};
use ring::hmac;
use ring::rand::{SecureRandom, SystemRandom};
use std::fmt::Write;

/// Bytes of a key: nobody guesses so many, so a plain hash of them is enough.
const BYTES: usize = 32;

/// A key as its owner has it. It is neither stored nor shown a second time.
#[derive(Clone, PartialEq, Eq)]
pub struct Key(String);

/// What is kept of a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyHash(String);

/// The system gives no random numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the system gives no random numbers")]
pub struct NoRandomness;

impl Key {
    /// A new one.
    ///
    /// # Errors
    /// [`NoRandomness`] if the system has none.
    pub fn random() -> Result<Self, NoRandomness> {
        let mut bytes = [0; BYTES];
        SystemRandom::new()
            .fill(&mut bytes)
            .map_err(|_| NoRandomness)?;
        Ok(Self(hex(&bytes)))
    }

    /// One that somebody shows; nothing if it cannot be one.
    pub fn shown(text: &str) -> Option<Self> {
        let is_digit = |digit: u8| digit.is_ascii_digit() || (b'a'..=b'f').contains(&digit);
        let fits = text.len() == 2 * BYTES && text.bytes().all(is_digit);
        fits.then(|| Self(text.to_owned()))
    }

    /// The key itself, for its owner.
    pub fn expose(&self) -> &str {
        &self.0
    }

    /// What is kept of it.
    pub fn hash(&self) -> KeyHash {
        KeyHash(hex(digest(&SHA256, self.0.as_bytes()).as_ref()))
    }

    /// Another key for one purpose, which whoever does not have this one cannot make.
    pub fn derived(&self, purpose: &str) -> Self {
        let secret = hmac::Key::new(hmac::HMAC_SHA256, self.0.as_bytes());
        Self(hex(hmac::sign(&secret, purpose.as_bytes()).as_ref()))
    }

    /// Whether a text is this key. What the comparison takes says nothing of the key: hashes are compared.
    pub fn is(&self, text: &str) -> bool {
        Self::shown(text).is_some_and(|shown| shown.hash() == self.hash())
    }
}

impl KeyHash {
    /// As it is stored.
    pub fn text(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Debug for Key {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Key(…)")
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a text cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_differ_and_only_their_hashes_tell_which_is_which() {
        let (one, other) = (Key::random().unwrap(), Key::random().unwrap());
        assert_ne!(one.expose(), other.expose());
        assert_eq!(Key::shown(one.expose()).unwrap().hash(), one.hash());
        assert_ne!(one.hash(), other.hash());
        assert!(!format!("{one:?}").contains(one.expose()));
        assert!(one.is(one.expose()) && !one.is(other.expose()));
    }

    #[test]
    fn a_hash_is_sha_256() {
        // By another program: printf %064d 0 | sha256sum
        let key = Key::shown(&"0".repeat(64)).unwrap();
        let expected = "60e05bd1b195af2f94112fa7197a5c88289058840ce7c6df9693756bc6250f55";
        assert_eq!(key.hash().text(), expected);
    }

    #[test]
    fn what_cannot_be_a_key_is_none() {
        for text in ["", "00", &"0".repeat(63), &"G".repeat(64), &"é".repeat(32)] {
            assert_eq!(Key::shown(text), None, "{text}");
        }
    }

    #[test]
    fn a_derived_key_serves_one_purpose() {
        let key = Key::random().unwrap();
        assert_eq!(key.derived("forms"), key.derived("forms"));
        assert_ne!(key.derived("forms"), key.derived("links"));
        assert_ne!(key.derived("forms"), key);
    }
}
