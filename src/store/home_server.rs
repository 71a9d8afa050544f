//! What is wrong with the broker of the home server, for those who ask what is wrong.

use super::in_force::{note, remove_note, write_note};
use super::{Store, StoreError, understood};
use chrono::{DateTime, Utc};

/// Since when the broker cannot be published to, and why.
const SINCE: &str = "broker-trouble-since";
const WHY: &str = "broker-trouble-why";

/// A broker that cannot be published to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokerTrouble {
    /// Since when.
    pub since: DateTime<Utc>,
    /// Why.
    pub why: String,
}

impl Store {
    /// What is wrong with the broker, by what was noted last.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn broker_trouble(&self) -> Result<Option<BrokerTrouble>, StoreError> {
        let since = note(&self.connection, SINCE)?;
        let (Some(since), Some(why)) = (since, note(&self.connection, WHY)?) else {
            return Ok(None);
        };
        let since = understood(&since, "an instant", |text| text.parse().ok())?;
        Ok(Some(BrokerTrouble { since, why }))
    }

    /// Notes what is wrong with it, or that nothing is.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_broker(&mut self, trouble: Option<&BrokerTrouble>) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        match trouble {
            Some(trouble) => {
                write_note(&transaction, SINCE, &trouble.since.to_rfc3339())?;
                write_note(&transaction, WHY, &trouble.why)?;
            }
            None => {
                remove_note(&transaction, SINCE)?;
                remove_note(&transaction, WHY)?;
            }
        }
        transaction.commit()?;
        Ok(())
    }
}
