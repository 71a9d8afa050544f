//! Running the program as its user would, in a folder of its own.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

/// A passing folder for a configuration, its files and its database.
pub struct Workshop {
    folder: tempfile::TempDir,
}

impl Workshop {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder"),
        }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Writes a file and returns its path.
    pub fn write(&self, name: &str, text: &str) -> String {
        let path = self.path(name);
        std::fs::write(&path, text).expect("the folder takes it");
        path.to_str().expect("a plain path").to_owned()
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_hatchbell"));
        command
            .args(arguments)
            .current_dir(self.folder.path())
            .env_remove("RUST_LOG")
            .env_remove("COLUMNS")
            .env_remove("HATCHBELL_CONFIG")
            .env_remove("NOTIFY_SOCKET")
            .env_remove("CREDENTIALS_DIRECTORY");
        command
    }

    pub fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().expect("it starts")
    }

    /// Runs and returns what is printed; anything but success is a failure of the test.
    pub fn succeeds(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", both(&output));
        String::from_utf8(output.stdout).expect("text")
    }

    /// The same on a screen of so many columns.
    pub fn shows(&self, columns: usize, arguments: &[&str]) -> String {
        let mut command = self.command(arguments);
        let output = command.env("COLUMNS", columns.to_string()).output();
        let output = output.expect("it starts");
        assert!(output.status.success(), "{arguments:?}: {}", both(&output));
        String::from_utf8(output.stdout).expect("text")
    }

    /// Starts and lets run; output goes to files `stdout` and `stderr` of the folder.
    pub fn start(&self, arguments: &[&str]) -> Child {
        let file = |name| std::fs::File::create(self.path(name)).expect("the folder takes it");
        self.command(arguments)
            .stdin(Stdio::null())
            .stdout(file("stdout"))
            .stderr(file("stderr"))
            .spawn()
            .expect("it starts")
    }

    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap_or_default()
    }
}

/// Everything a program printed.
pub fn both(output: &Output) -> String {
    format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

/// A configuration with one export station in °C, one site and one recipient who reads the
/// console; `origin` is the station's `file = …` or `url = …`.
pub fn config_with_station(origin: &str) -> String {
    config_with(origin, "console = true", "")
}

/// The same with another way to reach the recipient, and further tables.
pub fn config_with(origin: &str, address: &str, more: &str) -> String {
    format!(
        r#"
[service]
name = "A test"
contact = "mailto:test@three-brooks.example"
schedule = "0 0 6 * * *"
database = "hatchbell.db"

[[station]]
id = "only"
name = "The only station"
dialect = "ncei-export"
unit = "celsius"
{origin}

[[member]]
id = "member"
name = "A member"

[[member.site]]
id = "lawn"
name = "The lawn"
turf = "ryegrass"
latitude = 27.4
station = "only"
species = ["japanese-beetle"]

[[member.recipient]]
id = "keeper"
name = "the keeper"
{address}

{more}
"#
    )
}

/// A second member with a site of their own, the rink, on the same station.
pub fn second_member(address: &str) -> String {
    format!(
        r#"
[[member]]
id = "neighbour"
name = "A neighbour"

[[member.site]]
id = "rink"
name = "The rink"
turf = "bentgrass"
latitude = 27.5
station = "only"
species = ["japanese-beetle"]

[[member.recipient]]
id = "rink-keeper"
name = "the rink keeper"
{address}
"#
    )
}
