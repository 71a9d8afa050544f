//! The record of what was spread at a site in a season, as it is printed and handed over.

use super::season::season_on;
use super::words::counted;
use crate::config::Config;
use crate::domain::journal::{Application, Entry, JournalAction};
use crate::domain::place::site::{Member, Site};
use crate::store::{Store, StoreError};
use chrono::{NaiveDate, NaiveTime};

/// What was spread at a site in a season.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonRecords {
    /// The site's id.
    pub site: String,
    /// Which site, and which season.
    pub title: String,
    /// The year the season starts in.
    pub year: i32,
    /// Whose site it is, how large, and how long records are kept.
    pub about: Vec<String>,
    /// Each application, the oldest first.
    pub applications: Vec<ApplicationRecord>,
    /// What is missing, in a sentence; `None` if nothing is.
    pub incomplete: Option<String>,
    /// How to read it.
    pub reading: &'static str,
}

/// An application as it is recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct ApplicationRecord {
    /// Its number in the journal.
    pub number: i64,
    /// The day.
    pub day: NaiveDate,
    /// What stands in each of [`COLUMNS`]; empty where it is not known.
    pub cells: [String; COLUMNS.len()],
    /// The columns that are not known.
    pub missing: Vec<&'static str>,
}

/// What is recorded of an application, in its order, and whether a record without it is incomplete.
pub const COLUMNS: [(&str, bool); 19] = [
    ("number", false),
    ("day", true),
    ("start", true),
    ("end", true),
    ("site", true),
    ("part of the site", false),
    ("area", true),
    ("product", true),
    ("registration number", true),
    ("active ingredient", true),
    ("rate", true),
    ("total", true),
    ("target", true),
    ("applicator", true),
    ("certificate", true),
    ("wind", true),
    ("wind from", false),
    ("air temperature", true),
    ("remark", false),
];

/// How to read records.
const READING: &str = "Which of this is asked of whom, and for how long it has to be kept, the law of the place says; keep the label and what you bought beside it. The total is rate times area.";

impl SeasonRecords {
    /// Of a season by the year it starts in; without a year the running one.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        (member, site): (&Member, &Site),
        year: Option<i32>,
        today: NaiveDate,
    ) -> Result<Self, StoreError> {
        // A season that starts in a year holds its 1 July, north and south.
        let day = year.and_then(|year| NaiveDate::from_ymd_opt(year, 7, 1));
        let day = day.unwrap_or(today);
        let season = season_on(config, site, day);
        let in_season = |entry: &&Entry| {
            season
                .as_ref()
                .is_none_or(|season| (season.start..=season.end).contains(&entry.day))
        };
        let entries = store.entries(&site.id)?;
        let applications: Vec<ApplicationRecord> = entries
            .iter()
            .filter(in_season)
            .filter_map(|entry| match &entry.action {
                JournalAction::Application(spread) => {
                    Some(ApplicationRecord::of(config, site, entry, spread))
                }
                _ => None,
            })
            .collect();
        let name = season.as_ref().map(ToString::to_string).unwrap_or_default();
        let mut about = vec![format!("{}; {}", member.name, site.turf)];
        about.push(match config.service.keep_records_years {
            Some(years) => format!(
                "Records are to be kept for {} (keep_records_years in the configuration). Nothing is deleted by itself, then or later.",
                counted(years as usize, "year")
            ),
            None => "Nothing is deleted by itself; keep_records_years in the configuration says how long records are to be kept.".to_owned(),
        });
        Ok(Self {
            site: site.id.clone(),
            title: format!("What was spread: {}, season {name}", site.name),
            year: season.map_or(0, |season| chrono::Datelike::year(&season.start)),
            about,
            incomplete: incomplete(&applications),
            applications,
            reading: READING,
        })
    }

    /// The same as a table of comma-separated values (RFC 4180). What people typed never starts with a
    /// sign that makes a formula of it in a spreadsheet: a quotation mark is put before it.
    ///
    /// # Errors
    /// What the writer says; it has no reason to.
    pub fn to_csv(&self) -> Result<String, csv::Error> {
        let mut table = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(Vec::new());
        let titles = COLUMNS.iter().map(|(title, _)| *title);
        table.write_record(titles.chain(["missing"]))?;
        for one in &self.applications {
            let cells = one.cells.iter().map(|cell| no_formula(cell));
            let missing = one.missing.join("; ");
            table.write_record(cells.chain([missing]))?;
        }
        let bytes = table
            .into_inner()
            .map_err(|error| csv::Error::from(error.into_error()))?;
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }
}

fn no_formula(cell: &str) -> String {
    let is_number = cell.parse::<f64>().is_ok();
    let starts_one = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
    // A temperature below zero is no formula.
    let is_measured = cell.split_once(' ').is_some_and(|(number, unit)| {
        number.parse::<f64>().is_ok() && ["°C", "°F"].contains(&unit)
    });
    if starts_one && !is_number && !is_measured {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

impl ApplicationRecord {
    fn of(config: &Config, site: &Site, entry: &Entry, spread: &Application) -> Self {
        let record = &spread.record;
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let time = |time: Option<NaiveTime>| {
            time.map(|time| time.format("%H:%M").to_string())
                .unwrap_or_default()
        };
        let shown = |value: Option<String>| value.unwrap_or_default();
        let option = config.options.get(&spread.option);
        let cells = [
            entry.number.to_string(),
            entry.day.to_string(),
            time(record.started),
            time(record.ended),
            site.name.clone(),
            text(&record.part),
            spread.area.to_string(),
            text(&record.product),
            text(&record.registration),
            option.map_or(spread.option.clone(), |option| option.name.clone()),
            shown(spread.rate.map(|rate| rate.to_string())),
            shown(spread.rate.map(|rate| rate.on(spread.area).to_string())),
            text(&record.target),
            text(&record.applicator),
            text(&record.certificate),
            shown(record.wind.map(|wind| wind.to_string())),
            text(&record.wind_from),
            shown(record.temperature.map(|warmth| warmth.to_string())),
            text(&entry.remark),
        ];
        let missing = COLUMNS
            .iter()
            .zip(&cells)
            .filter(|((_, is_due), cell)| *is_due && cell.is_empty())
            .map(|((title, _), _)| *title)
            .collect();
        Self {
            number: entry.number,
            day: entry.day,
            cells,
            missing,
        }
    }

    /// What is known of it, each with its title; number and day left out.
    pub fn known(&self) -> impl Iterator<Item = (&'static str, &str)> {
        COLUMNS
            .iter()
            .zip(&self.cells)
            .skip(2)
            .filter(|(_, cell)| !cell.is_empty())
            .map(|((title, _), cell)| (*title, cell.as_str()))
    }
}

fn incomplete(applications: &[ApplicationRecord]) -> Option<String> {
    let numbers: Vec<String> = applications
        .iter()
        .filter(|one| !one.missing.is_empty())
        .map(|one| one.number.to_string())
        .collect();
    match numbers.as_slice() {
        [] => None,
        [one] => Some(format!("Number {one} is incomplete.")),
        more => Some(format!("Numbers {} are incomplete.", more.join(", "))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_typed_is_no_formula_in_a_spreadsheet() {
        assert_eq!(no_formula("=1+1"), "'=1+1");
        assert_eq!(no_formula("@SUM(A1)"), "'@SUM(A1)");
        assert_eq!(no_formula("-2+3 cmd"), "'-2+3 cmd");
        assert_eq!(no_formula("-3 °C"), "-3 °C");
        assert_eq!(no_formula("12 km/h"), "12 km/h");
    }
}
