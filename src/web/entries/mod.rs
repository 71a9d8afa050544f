//! Entries from the page: forms for what was done and seen, the journal with corrections, tasks that
//! are put off, and the record of what was spread. The rules are those of [`crate::entries`].

pub(super) mod enter;
mod form;
pub(super) mod journal;
mod kind;
pub(super) mod not_now;
pub(super) mod records;
mod sent;
