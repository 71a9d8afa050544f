//! How often somebody may try: a few at once, then one after a while. What is remembered is bounded.

use std::collections::HashMap;
use std::hash::Hash;
use std::time::{Duration, Instant};

/// Most of whom something is remembered; of more the one who tried longest ago is forgotten.
const MOST: usize = 4_096;

/// Tries that each may make at once, and how soon one comes back.
#[derive(Debug, Clone, Copy)]
pub(super) struct Allowance {
    /// At once.
    pub at_once: u32,
    /// Until one comes back.
    pub one_in: Duration,
}

/// What each has left.
#[derive(Debug)]
pub(super) struct Tries<K> {
    allowance: Allowance,
    /// When each will have everything back.
    full_at: HashMap<K, Instant>,
}

impl<K: Hash + Eq + Clone> Tries<K> {
    pub fn new(allowance: Allowance) -> Self {
        Self {
            allowance,
            full_at: HashMap::new(),
        }
    }

    /// Takes a try.
    ///
    /// # Errors
    /// How long to wait, if there is none left.
    pub fn take(&mut self, who: &K, now: Instant) -> Result<(), Duration> {
        let Allowance { at_once, one_in } = self.allowance;
        let full_at = self.full_at.get(who).copied().unwrap_or(now).max(now);
        let after = full_at + one_in;
        let missing = after.duration_since(now);
        let most = one_in * at_once;
        if missing > most {
            return Err(missing - most);
        }
        if self.full_at.len() >= MOST && !self.full_at.contains_key(who) {
            self.full_at.retain(|_, full_at| *full_at > now);
            if self.full_at.len() >= MOST {
                let oldest = self.full_at.iter().min_by_key(|(_, full_at)| **full_at);
                let oldest = oldest.map(|(who, _)| who.clone());
                oldest.and_then(|who| self.full_at.remove(&who));
            }
        }
        self.full_at.insert(who.clone(), after);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const THREE: Allowance = Allowance {
        at_once: 3,
        one_in: Duration::from_secs(60),
    };

    #[test]
    fn after_so_many_at_once_one_comes_back_after_a_while() {
        let mut tries = Tries::new(THREE);
        let start = Instant::now();
        for _ in 0..3 {
            assert_eq!(tries.take(&1, start), Ok(()));
        }
        assert_eq!(tries.take(&1, start), Err(Duration::from_secs(60)));
        assert_eq!(tries.take(&2, start), Ok(()));
        let later = start + Duration::from_secs(60);
        assert_eq!(tries.take(&1, later), Ok(()));
        assert_eq!(tries.take(&1, later), Err(Duration::from_secs(60)));
        let next_day = start + Duration::from_secs(86_400);
        for _ in 0..3 {
            assert_eq!(tries.take(&1, next_day), Ok(()));
        }
        assert!(tries.take(&1, next_day).is_err());
    }

    #[test]
    fn strangers_without_number_take_no_more_room() {
        let mut tries = Tries::new(THREE);
        let start = Instant::now();
        for who in 0..3 * MOST {
            assert_eq!(tries.take(&who, start), Ok(()));
        }
        assert_eq!(tries.full_at.len(), MOST);
    }
}
