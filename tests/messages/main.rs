//! Messages: their words, and their way to a real mail server and a push server.

#[path = "../support/mod.rs"]
mod support;

mod push_delivery;
mod smtp_delivery;
mod web_push_delivery;
mod wording;
