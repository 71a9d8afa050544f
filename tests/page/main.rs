//! The page: what it shows and what it takes, over real HTTP and a real database.

#[path = "../support/mod.rs"]
mod support;

mod below_a_path;
mod entries;
mod kept;
mod not_now;
mod records;
mod showing;
