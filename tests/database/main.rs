//! The database: what is stored stays, and is found again.

#[path = "../support/mod.rs"]
mod support;

mod batches;
mod change_counts;
mod copies;
mod journal;
mod older_schemas;
mod outbox;
mod store;
