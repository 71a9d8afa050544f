//! The `hatchbell` program; see [`hatchbell`] for the map.

#![forbid(unsafe_code)]

fn main() -> std::process::ExitCode {
    hatchbell::cli::run()
}
