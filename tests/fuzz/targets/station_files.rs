//! Any bytes as a station list and as an inventory.
#![no_main]

#[path = "../properties.rs"]
mod properties;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| properties::of_a_station_file(bytes));
