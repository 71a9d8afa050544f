//! What is said of an entry once it stands.

use super::{Journal, NotEntered, Through, action, known_option};
use crate::cycle::waterings;
use crate::domain::journal::amount::SeasonTotal;
use crate::domain::journal::{Entry, JournalAction, SeasonUse, season_use};
use crate::domain::phenology::season::Season;
use crate::domain::place::site::Site;
use crate::domain::scouting::{CountReading, tolerance};
use crate::domain::sourced_value::SourcedValue;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::watering::{Watering, WateringState};
use crate::notify::wording::{limits, what_damage_counts_for, what_it_says, what_was_found};
use crate::report::BRIEF_CAUTIONS;
use crate::report::season::season_on;
use crate::store::StoreError;
use chrono::NaiveDate;

/// An area this many times the site's is doubted; measuring is not that exact.
const MORE_THAN_WHOLE: f64 = 1.05;

/// How and by when an application has to be watered in.
#[derive(Debug, Clone, PartialEq)]
pub struct WateringSaid {
    /// In words.
    pub words: String,
    /// The depth to log, mm, unless it is done.
    pub to_log_mm: Option<f64>,
}

/// "logged as number 3: 12 mm of water. The lawn, 2026-06-08."
pub fn logged(journal: &Journal<'_>, entry: &Entry) -> String {
    let remark = match (&entry.action, &entry.remark) {
        (JournalAction::Note { .. }, Some(remark)) => format!(" (\"{remark}\")"),
        _ => String::new(),
    };
    format!(
        "logged as number {}: {}{remark}. {}, {}.",
        entry.number,
        action(&entry.action, &journal.config.service.notation),
        journal.site.name,
        entry.day
    )
}

/// That more turf was treated than there is.
pub fn doubted_area(site: &Site, entry: &Entry, through: Through) -> Option<String> {
    let (JournalAction::Application(spread), Some(whole)) = (&entry.action, site.area) else {
        return None;
    };
    let mend = match through {
        Through::CommandLine => format!("log edit {} --area AREA mends it", entry.number),
        Through::Page => "correct the entry".to_owned(),
    };
    (spread.area.m2() > whole.m2() * MORE_THAN_WHOLE).then(|| {
        format!(
            "WARNING: {} is more than the {whole} of the whole site; if that is a slip, {mend}.",
            spread.area
        )
    })
}

/// What the season has had of what was spread, against the most the label allows.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn season_said(
    journal: &Journal<'_>,
    entry: &Entry,
    through: Through,
) -> Result<Option<String>, StoreError> {
    let JournalAction::Application(spread) = &entry.action else {
        return Ok(None);
    };
    let Some(season) = season_on(journal.config, journal.site, entry.day) else {
        return Ok(None);
    };
    let entries = journal.store.entries(&entry.site)?;
    let used = season_use(&entries, &spread.option, &season);
    let words = season_words(&used, &spread.option, &season, entry.number, through);
    Ok(Some(words))
}

fn season_words(
    used: &SeasonUse,
    option: &str,
    season: &Season,
    number: i64,
    through: Through,
) -> String {
    let times = match used.times {
        1 => "1 application".to_owned(),
        more => format!("{more} applications"),
    };
    let (add_most, look, add_rate): (String, &str, fn(&str) -> String) = match through {
        Through::CommandLine => (
            format!(": hatchbell log edit {number} --most-a-season RATE"),
            "in log list",
            |number| format!(": hatchbell log edit {number} --rate RATE adds it"),
        ),
        Through::Page => (
            ", by correcting this entry".to_owned(),
            "in the journal",
            |_| "; correcting it adds one".to_owned(),
        ),
    };
    let total = match (used.most, used.total) {
        (None, _) => {
            format!("The most a season may have is not known; add it from your label{add_most}.")
        }
        (Some(most), None) => {
            format!(
                "None of them has a rate to hold against the {most} a season that your label states."
            )
        }
        (Some(most), Some(SeasonTotal::Within(share))) => format!(
            "That is {:.0} % of the {most} a season that your label states.",
            share * 100.0
        ),
        (Some(most), Some(SeasonTotal::Over(share))) => format!(
            "\nWARNING: that is {} % of the {most} a season that your label states, more than it allows if all of it lay on the same turf. Check rates, areas and maximum {look}; if they are right, put down no more of it there this season and ask a licensed applicator.",
            // Never rounded down to 100.
            ((share * 1000.0).round() / 10.0).max(100.1)
        ),
        (Some(most), Some(SeasonTotal::NotComparable)) => format!(
            "They cannot be held against the {most} a season that your label states: one is weighed, another measured out or counted. State rate and maximum in units of one kind."
        ),
    };
    let without: Vec<String> = used.without_rate.iter().map(i64::to_string).collect();
    let left_out = match without.as_slice() {
        [] => String::new(),
        [one] => format!(
            " Number {one} has no rate and is not in any sum{}.",
            add_rate(one)
        ),
        more => format!(
            " Numbers {} have no rate and are not in any sum{}.",
            more.join(", "),
            add_rate("NUMBER")
        ),
    };
    let other_kind = other_kind(&used.not_comparable);
    format!("Season {season}: {times} of {option} here. {total}{left_out}{other_kind}")
}

/// That rates in units of another kind than the maximum are in no sum.
fn other_kind(numbers: &[i64]) -> String {
    let named: Vec<String> = numbers.iter().map(i64::to_string).collect();
    match named.as_slice() {
        [] => String::new(),
        [one] => format!(
            " The rate of number {one} is in a unit of another kind than the maximum and is not in any sum; correct it."
        ),
        more => format!(
            " The rates of numbers {} are in units of another kind than the maximum and are not in any sum; correct them.",
            more.join(", ")
        ),
    }
}

impl Journal<'_> {
    /// How and by when an application has to be watered in, or that it was by the irrigation logged;
    /// `None` for one too long ago to be followed.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn watering_said(
        &self,
        entry: &Entry,
        option: &TreatmentOption,
    ) -> Result<Option<WateringSaid>, StoreError> {
        let depth = &option.watering_in.depth_mm;
        let followed = waterings(self.config, &self.store, self.site, self.today)?;
        let stands = followed.iter().find(|one| one.number == entry.number);
        Ok(stands.map(|followed| {
            let stands = followed.watering;
            WateringSaid {
                words: watering_words(&stands, depth, self.today),
                to_log_mm: (!matches!(stands.state, WateringState::Done(_))).then_some(depth.value),
            }
        }))
    }

    /// What a count says of the turf, in paragraphs.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn count_said(&self, entry: &Entry, through: Through) -> Result<Vec<String>, StoreError> {
        let JournalAction::Count { species, found } = &entry.action else {
            return Ok(Vec::new());
        };
        let Some(species) = self.config.species.get(species) else {
            return Ok(Vec::new());
        };
        let tolerance = tolerance(&species.action_threshold, self.site.condition);
        let reading = CountReading::of(found, tolerance);
        let notation = &self.config.service.notation;
        let mut said = vec![
            what_was_found(&reading, notation),
            limits(species, self.site.condition, notation),
        ];
        if let Some(brood) = self.brood(&species.id, entry.day)? {
            let plan = match through {
                Through::CommandLine => format!("hatchbell plan {}", entry.site),
                Through::Page => "the page of the site".to_owned(),
            };
            said.push(what_it_says(&reading, brood, &plan));
        }
        Ok(said)
    }

    /// What noted damage counts for.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn damage_said(&self, entry: &Entry) -> Result<Option<&'static str>, StoreError> {
        let (JournalAction::Note { damage: Some(_) }, Some(species)) =
            (&entry.action, self.site.species.first())
        else {
            return Ok(None);
        };
        let brood = self.brood(species, entry.day)?;
        Ok(brood.map(what_damage_counts_for))
    }

    /// Everything that is said of an entry on the page, in paragraphs.
    ///
    /// # Errors
    /// [`NotEntered`] if the database fails or the option is gone.
    pub fn all_said(&self, entry: &Entry) -> Result<Vec<String>, NotEntered> {
        let page = Through::Page;
        let mut said = vec![logged(self, entry)];
        match &entry.action {
            JournalAction::Application(spread) => {
                said.extend(doubted_area(self.site, entry, page));
                said.extend(season_said(self, entry, page)?);
                if let Ok(option) = known_option(self.config, &spread.option) {
                    let watering = self.watering_said(entry, option)?;
                    said.extend(watering.map(|watering| on_the_page(watering.words)));
                    said.extend(what_to_mind(self.site, option));
                }
            }
            JournalAction::Count { .. } => said.extend(self.count_said(entry, page)?),
            JournalAction::Note { .. } => {
                said.extend(self.damage_said(entry)?.map(str::to_owned));
            }
            JournalAction::Catch { species, .. } => {
                if let Ok(Some(compared)) = self.compare_catch(species, entry.day) {
                    said.push(compared.words);
                }
                said.push(
                    "The next cycle plans with it; the page of the site shows it now.".into(),
                );
            }
            JournalAction::Irrigation { .. } => {}
        }
        Ok(said)
    }
}

/// A sentence that ends before a command, without it.
fn on_the_page(words: String) -> String {
    match words.strip_suffix(':') {
        Some(words) => format!("{words}."),
        None => words,
    }
}

fn watering_words(stands: &Watering, depth: &SourcedValue, today: NaiveDate) -> String {
    let water = depth_words(depth);
    let due = stands.deadline;
    let by = if due == stands.spread {
        format!("on the same day, {due}")
    } else {
        format!("by {due}")
    };
    match stands.state {
        WateringState::Done(on) => format!(
            "It had to be watered in with {water} {by}; rain and logged irrigation through {on} are enough."
        ),
        _ if due < today => {
            format!(
                "It had to be watered in with {water} {by}. If it was, log that with its depth:"
            )
        }
        _ => format!(
            "Water it in with {water} {by}, or as the label says. Then log that with its depth:"
        ),
    }
}

/// The site's own choice, cautions and law, in paragraphs.
pub fn what_to_mind(site: &Site, option: &TreatmentOption) -> Vec<String> {
    let own_choice = (!site.choice.considers(option)).then(|| {
        format!(
            "By the configuration this site would not use {}; it is logged all the same.",
            option.name
        )
    });
    let cautions = format!("{} {}", option.cautions.join(" "), option.legal);
    own_choice
        .into_iter()
        .chain([cautions, BRIEF_CAUTIONS.join(" ")])
        .collect()
}

/// "13 mm (6 to 25; from published values)".
fn depth_words(depth: &SourcedValue) -> String {
    let range = depth.range.map_or(String::new(), |(low, high)| {
        format!("{low:.0} to {high:.0}; ")
    });
    format!("{:.0} mm ({range}{})", depth.value, depth.grade.in_words())
}
