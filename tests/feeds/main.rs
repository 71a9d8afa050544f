//! Feeds: what stations and their publishers send, right or wrong, is read, refused or held.

#[path = "../support/mod.rs"]
mod support;

mod bad_input;
mod bulk_import;
mod dialects;
mod feed_defects;
mod feed_try;
mod forecast;
mod fuzz_smoke;
mod guards;
mod hostile_files;
mod misbehaving_server;
mod own_sensor;
mod planted_errors;
mod publication_history;
mod rain;
mod real_stations;
mod redirects;
mod screening;
mod side_by_side;
mod undo;
mod whole_file_guards;
mod whole_files;
