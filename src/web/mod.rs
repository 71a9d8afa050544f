//! The page: shows the values of [`crate::report`] to people in a browser. It decides nothing, and
//! runs beside the cycles in a thread of its own, with connections to the database of its own.

mod answers;
mod in_force;
mod overview;
mod routes;
mod server;
mod site;

pub use in_force::InForce;
pub use server::{Listening, listen};
