//! The page: shows the values of [`crate::report`] to people in a browser. It decides nothing, and
//! runs beside the cycles in a thread of its own, with connections to the database of its own.

mod answers;
mod entries;
mod origin;
mod overview;
mod routes;
mod server;
mod site;
mod state;

pub use server::{Listening, listen};
pub use state::PageConfig;
