//! Any bytes as a feed file.
#![no_main]

#[path = "../properties.rs"]
mod properties;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| properties::of_a_feed_file(bytes));
