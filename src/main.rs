//! The `hatchbell` program; see [`hatchbell`] for the map.

fn main() -> std::process::ExitCode {
    hatchbell::cli::run()
}
