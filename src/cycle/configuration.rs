//! Telling the operator of mistakes in members' tables: once when they come up or change, and once
//! when they are mended.

use super::unreachable::{operator, operator_draft};
use super::{Engine, Report};
use crate::in_force::Fault;
use crate::notify::wording::configuration_message;
use crate::store::StoreError;
use crate::store::outbox::About;

impl Engine {
    /// Writes down the mistakes there are now, with messages about what is new.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_faults(&mut self, faults: &[Fault], report: &mut Report) -> Result<(), StoreError> {
        let told = self.store.told_faults()?;
        let new: Vec<&Fault> = faults.iter().filter(|one| !told.contains(one)).collect();
        let is_over = |one: &&Fault| faults.iter().all(|other| other.subject != one.subject);
        let over = told.iter().filter(is_over);
        let over: Vec<&str> = over.map(|one| one.subject.as_str()).collect();
        if new.is_empty() && over.is_empty() {
            return Ok(());
        }
        let mut drafts = Vec::new();
        if let Some(whose) = operator(&self.config) {
            let (_, operator) = whose;
            let service = &self.config.service.name;
            drafts.extend(operator.channels.iter().map(|channel| {
                let message = configuration_message(service, &operator.name, *channel, &new, &over);
                let about = About {
                    kinds: vec!["configuration"],
                    places: Vec::new(),
                    ..About::default()
                };
                operator_draft(whose, *channel, message, about)
            }));
        }
        report.messages += drafts.len();
        self.store.note_faults(faults, &drafts, self.clock.now())
    }
}
