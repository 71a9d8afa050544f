//! The page: shows the values of [`crate::report`] to people in a browser, and to programs (`api/`,
//! `metrics.rs`, `health.rs`). It decides nothing, and
//! runs beside the cycles in a thread of its own, with connections to the database of its own.

mod admission;
mod answers;
mod api;
mod below;
mod calendar_text;
mod capability;
mod client;
mod entries;
mod form_guard;
mod health;
mod kept;
mod metrics;
mod notices;
mod overview;
mod rate;
mod routes;
mod server;
mod sign_in;
mod site;
mod state;
mod viewer;

pub use routes::{PageAddress, addresses};
pub use server::{Listening, listen};
pub use state::PageConfig;
