//! The page: what it shows and what it takes, over real HTTP and a real database.

#[path = "../support/mod.rs"]
mod support;

mod entries;
mod not_now;
mod records;
mod showing;
