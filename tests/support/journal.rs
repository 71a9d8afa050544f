//! A site with a journal, on 10 June 2026.

use super::command::{Workshop, both, config_with, second_member};

/// A site called the lawn in a configuration whose day is 2026-06-10.
pub struct Site {
    pub workshop: Workshop,
    pub config: String,
}

impl Site {
    /// The lawn with further lines of configuration.
    pub fn of(lines: &str) -> Self {
        Self::configured("2026-06-10", lines, "")
    }

    /// The same on another day.
    pub fn on(day: &str, lines: &str) -> Self {
        Self::configured(day, lines, "")
    }

    /// The lawn, and the rink of another member.
    pub fn with_neighbour() -> Self {
        Self::configured("2026-06-10", "", &second_member("console = true"))
    }

    fn configured(day: &str, lines: &str, more: &str) -> Self {
        let workshop = Workshop::new();
        workshop.write("days.csv", "");
        let more = format!(
            "{more}\n[demo]\nstarts = \"{day}T06:00:00Z\"\nseconds_per_day = 1.0\npublished_lag_days = 0\n"
        );
        let turf = "turf = \"ryegrass\"";
        let text = config_with("file = \"days.csv\"", "console = true", &more)
            .replace(turf, &format!("{turf}\n{lines}"));
        let config = workshop.write("hatchbell.toml", &text);
        Self { workshop, config }
    }

    /// The arguments of `log` for a site: words without blanks.
    pub fn arguments(&self, site: &str, what: &str) -> Vec<String> {
        what.split_whitespace()
            .chain(["--config", &self.config, "--site", site])
            .map(str::to_owned)
            .collect()
    }

    /// Logs at the lawn and returns what is said, on one line.
    pub fn logs(&self, what: &str) -> String {
        self.logs_at("lawn", what)
    }

    pub fn logs_at(&self, site: &str, what: &str) -> String {
        let arguments = self.arguments(site, what);
        let mut all = vec!["log"];
        all.extend(arguments.iter().map(String::as_str));
        unwrapped(&self.workshop.succeeds(&all))
    }

    /// Edits an entry and returns what is said, on one line.
    pub fn edits(&self, what: &str) -> String {
        let mut all = vec!["log", "edit", "--config", &self.config];
        all.extend(what.split_whitespace());
        let said = self.workshop.succeeds(&all);
        // Blanks within a line stay.
        said.replace('\n', " ")
    }

    /// Runs what has to fail, sees that the journal is as before, and returns what is said.
    pub fn refused(&self, what: &str) -> String {
        let before = self.list();
        let mut all: Vec<&str> = what.split_whitespace().collect();
        all.extend(["--config", self.config.as_str()]);
        let output = self.workshop.run(&all);
        let said = both(&output);
        assert!(!output.status.success(), "{what}: {said}");
        assert_eq!(self.list(), before, "{what} wrote something");
        unwrapped(&said)
    }

    /// The journal as `log list --json` has it.
    pub fn list(&self) -> Vec<serde_json::Value> {
        json(
            &self
                .workshop
                .succeeds(&["log", "list", "--json", "--config", &self.config]),
        )
    }
}

fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A JSON list.
pub fn json(text: &str) -> Vec<serde_json::Value> {
    serde_json::from_str(text).expect("JSON")
}
