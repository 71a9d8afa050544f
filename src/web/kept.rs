//! What was worked out for an answer, kept for as long as it is true: until something is stored, the
//! configuration changes, or the day does.

use super::state::today;
use crate::config::Config;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use std::collections::HashMap;
use std::hash::Hash;
use std::sync::Arc;

/// Values by what they are of.
pub(super) struct KeptValues<K, V> {
    /// Most values that are kept.
    most: usize,
    /// What they depend on; none before the first.
    of: Option<DependedOn>,
    values: HashMap<K, Arc<V>>,
}

/// What kept values depend on.
struct DependedOn {
    /// Says whether another connection has written since.
    store: Store,
    version: i64,
    /// The configuration that was in force.
    config: Arc<Config>,
    day: NaiveDate,
}

impl<K: Eq + Hash, V> KeptValues<K, V> {
    /// Room for so many.
    pub fn new(most: usize) -> Self {
        Self {
            most,
            of: None,
            values: HashMap::new(),
        }
    }

    /// The value of a key, worked out anew only when something has changed.
    ///
    /// # Errors
    /// Those of `make`, and [`StoreError`] if the database fails.
    pub fn value<E: From<StoreError>>(
        &mut self,
        in_force: &Arc<Config>,
        key: K,
        make: impl FnOnce(&Store, NaiveDate) -> Result<V, E>,
    ) -> Result<Arc<V>, E> {
        // A connection that failed, or is perhaps of another file, is not kept.
        let before = self.of.take();
        let before = before.filter(|before| Arc::ptr_eq(&before.config, in_force));
        let (store, before) = match before {
            Some(before) => (before.store, Some((before.version, before.day))),
            None => (Store::open_to_read(&in_force.service.database)?, None),
        };
        // Before the answer: what changes meanwhile is seen the next time.
        let now = (store.version()?, today(in_force, &store)?);
        let is_full = self.values.len() >= self.most && !self.values.contains_key(&key);
        if before != Some(now) || is_full {
            self.values.clear();
        }
        let value = match self.values.get(&key) {
            Some(value) => Arc::clone(value),
            None => {
                let value = Arc::new(make(&store, now.1)?);
                self.values.insert(key, Arc::clone(&value));
                value
            }
        };
        self.of = Some(DependedOn {
            store,
            version: now.0,
            config: Arc::clone(in_force),
            day: now.1,
        });
        Ok(value)
    }
}
