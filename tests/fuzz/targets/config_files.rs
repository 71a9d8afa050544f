//! Any text as a configuration, a species file and a dialect file.
#![no_main]

#[path = "../properties.rs"]
mod properties;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| properties::of_a_config_file(bytes));
