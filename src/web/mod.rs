//! The page: shows the values of [`crate::report`] to people in a browser, and to programs (`api/`,
//! `metrics.rs`, `health.rs`). It decides nothing, and
//! runs beside the cycles in a thread of its own, with connections to the database of its own.

mod access;
mod answers;
mod api;
mod calendar_text;
mod capability;
mod health;
mod metrics;
mod overview;
mod routes;
mod server;
mod site;
mod state;

pub use server::{Listening, listen};
pub use state::PageConfig;
