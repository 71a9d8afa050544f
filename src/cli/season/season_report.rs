//! A look back made into headings, rows and sentences: what the terminal and the page both show.

use super::words;
use crate::domain::look_back::{
    Applied, Counts, LookBack, Met, MilestoneReview, NotKnown, OfSpecies,
};
use crate::domain::place::site::Site;
use crate::notify::wording::{CAUTIONS, density, what_was_found_in_brief};
use chrono::NaiveDate;

/// The site that is looked back on.
pub(super) struct ReviewedSite<'p> {
    pub member: &'p str,
    pub site: &'p Site,
    pub station: &'p str,
    pub today: NaiveDate,
}

/// What is shown.
pub(super) struct SeasonReport {
    pub title: String,
    pub about: Vec<String>,
    /// That the season is not over.
    pub running: Option<String>,
    pub in_short: Vec<String>,
    pub species: Vec<SpeciesReport>,
    pub scores: Vec<String>,
    pub applied: Vec<AppliedReport>,
    /// Irrigation and damage.
    pub beside: Vec<String>,
    pub told: Vec<(String, String)>,
    pub how_to_read: [&'static str; 4],
    pub cautions: [&'static str; 5],
}

/// A species.
pub(super) struct SpeciesReport {
    pub name: String,
    pub dates: Vec<[String; 8]>,
    pub notes: Vec<String>,
    pub counts: Vec<[String; 4]>,
    pub count_notes: Vec<String>,
}

/// An application.
pub(super) struct AppliedReport {
    pub day: String,
    pub what: String,
    pub watered: String,
    /// Each species' verdict with what stands behind it.
    pub verdicts: Vec<(String, Vec<String>)>,
    pub notes: Vec<String>,
}

/// The heads of the columns of dates.
pub(super) const DATES: [&str; 8] = [
    "milestone",
    "first told",
    "range told",
    "likely day told",
    "came",
    "against the range",
    "against the likely day",
    "warning",
];

/// The heads of the columns of counts.
pub(super) const COUNTS: [&str; 4] = ["day", "whose larvae", "found", "against the turf"];

const HOW_TO_READ: [&str; 4] = [
    "Dates: a milestone came on the day on which the temperature sum of the station reached the species' threshold. Nobody saw it in the turf; most thresholds are estimates and the real event lies some days to either side. A range is meant to hold 8 times in 10, and the few notices of one season say little of the method.",
    "Shares: a planning model works out how much of the hatch an application met while the larvae were open to it. It compares days of one option; it does not say how many larvae died, which depends on the product, the turf and the water. Most of its figures are common practice or estimates. In time is a day that meets 9 tenths of what the best day meets (a curative: half), late or early one that meets half or more, too late or too early one that meets less.",
    "Counts: grubs lie in patches, so a mean has a wide range. What an application did cannot be told from counts alone: weather, animals and diseases of grubs thin them too. An untreated strip counted beside it would tell.",
    "What was told is what was written down to be sent; whether a message arrived is not shown here. Days of telling are UTC.",
];

impl SeasonReport {
    /// Makes the sheet of a season.
    pub(super) fn of(place: &ReviewedSite<'_>, season: &LookBack) -> Self {
        let site = place.site;
        let area = site.area.map_or(String::new(), |area| format!(", {area}"));
        Self {
            title: format!("{}: season {}", site.name, season.season),
            about: vec![
                format!("{}: {}{area}.", place.member, site.turf),
                format!(
                    "Temperatures of {}{}. Looked at on {}.",
                    place.station,
                    data_through(season),
                    words::whole(place.today)
                ),
            ],
            running: running(season),
            in_short: in_short(season),
            species: season
                .species
                .iter()
                .map(|one| SpeciesReport::of(one, season))
                .collect(),
            scores: scores(season),
            applied: season
                .applied
                .iter()
                .map(|one| AppliedReport::of(one, season))
                .collect(),
            beside: beside(season),
            told: season
                .told
                .iter()
                .map(|one| (words::day_month(one.on), words::told(&one.what)))
                .collect(),
            how_to_read: HOW_TO_READ,
            cautions: CAUTIONS,
        }
    }
}

fn data_through(season: &LookBack) -> String {
    let through = season.species.iter().filter_map(|one| one.data_through);
    match through.max() {
        Some(day) => format!(" through {}", words::whole(day)),
        None => ": none of this season".to_owned(),
    }
}

fn running(season: &LookBack) -> Option<String> {
    if season.is_over {
        return None;
    }
    let outlook = if season.is_partly_outlook() {
        " Shares of the hatch still rest partly on the outlook and will change."
    } else {
        ""
    };
    Some(format!(
        "The season is not over: it runs to {}.{outlook}",
        words::whole(season.season.end)
    ))
}

/// The few sentences that somebody reads who reads nothing else.
fn in_short(season: &LookBack) -> Vec<String> {
    let mut short: Vec<String> = season
        .species
        .iter()
        .map(|species| words::hatch_in_short(species, season.is_over))
        .collect();
    if season.applied.is_empty() {
        short.push("Nothing was applied, by the journal.".to_owned());
    }
    for applied in &season.applied {
        for (species, met) in &applied.met {
            short.push(capitalised(&words::verdict(applied, species, met)));
        }
    }
    let counted = season
        .species
        .iter()
        .filter(|one| !one.counts.all.is_empty());
    for species in counted.clone() {
        short.extend(counts_in_short(species));
    }
    if counted.count() == 0 {
        short.push("No count of grubs is logged, so how many there were is not known.".to_owned());
    }
    short
}

fn counts_in_short(species: &OfSpecies) -> Option<String> {
    let last = species.counts.all.last()?;
    Some(format!(
        "{}: the last count, {}, found {}, {} ({} larvae).",
        species.name,
        words::whole(last.day),
        density(last.reading.mean_per_m2),
        words::against_turf(last),
        words::brood(last.brood),
    ))
}

fn scores(season: &LookBack) -> Vec<String> {
    let first = season.first_notices();
    let all = season.all_notices();
    match (first, all) {
        (None, _) => vec![
            "No early notice can be scored: none was told, or nothing that was told has come."
                .to_owned(),
        ],
        (Some(first), all) => {
            let mut scores = vec![words::score(&first, "First notices")];
            let more = all.filter(|all| all.notices > first.notices);
            scores.extend(
                more.map(|all| words::score(&all, "All notices, also those that told a date anew")),
            );
            scores
        }
    }
}

fn beside(season: &LookBack) -> Vec<String> {
    let mut beside = Vec::new();
    let (mm, times) = season.irrigation;
    beside.push(match times {
        0 => "No irrigation is logged.".to_owned(),
        _ => format!(
            "Irrigation logged: {mm:.0} mm, {}.",
            crate::cli::counted(times, "time")
        ),
    });
    for (day, damage) in &season.damage {
        let what = if *damage { "Damage" } else { "No damage" };
        beside.push(format!(
            "{what} by grubs was noted on {}.",
            words::day_month(*day)
        ));
    }
    beside
}

impl SpeciesReport {
    fn of(species: &OfSpecies, season: &LookBack) -> Self {
        Self {
            name: species.name.clone(),
            dates: species
                .milestones
                .iter()
                .map(|one| dates(one, species, season.is_over))
                .collect(),
            notes: words::notes(species, season.season.end),
            counts: counts(&species.counts),
            count_notes: count_notes(species),
        }
    }
}

/// The row of a milestone.
fn dates(one: &MilestoneReview, species: &OfSpecies, is_over: bool) -> [String; 8] {
    let none = || "–".to_owned();
    let came = words::came(one, species, is_over);
    let title = one.milestone.short_title().to_owned();
    let Some(first) = one.first() else {
        return [title, none(), none(), none(), came, none(), none(), none()];
    };
    let against = |words: &dyn Fn(NaiveDate) -> String| one.came_by_sum().map_or_else(none, words);
    [
        title,
        words::short(first.told_on),
        words::range_in(first, words::short).unwrap_or_else(|| "not kept".to_owned()),
        words::short(first.likely),
        came,
        against(&|came| first.held(came).map_or_else(none, words::held)),
        against(&|came| words::off(first.late_by_days(came))),
        against(&|came| words::days(first.warning_days(came))),
    ]
}

fn counts(counts: &Counts) -> Vec<[String; 4]> {
    counts
        .all
        .iter()
        .map(|one| {
            [
                words::whole(one.day),
                words::brood(one.brood).to_owned(),
                what_was_found_in_brief(&one.reading),
                words::against_turf(one).to_owned(),
            ]
        })
        .collect()
}

fn count_notes(species: &OfSpecies) -> Vec<String> {
    if species.counts.all.is_empty() {
        return vec![format!("No count of {} is logged.", species.name)];
    }
    let (low, high) = species.tolerance;
    let bears = if low == high {
        density(low)
    } else {
        format!("{} to {}", density(low), density(high))
    };
    let mut notes = vec![format!("The turf is taken to bear {bears}.")];
    let change = species.counts.from_brood_to_brood();
    notes.extend(change.map(|change| words::change(&change)));
    notes
}

impl AppliedReport {
    fn of(applied: &Applied, season: &LookBack) -> Self {
        let is_settled = |name: &str| {
            let species = season.species.iter().find(|one| one.name == name);
            species.is_some_and(|one| one.is_settled)
        };
        let behind = |name: &str, met: &Result<Met, NotKnown>| match met {
            Ok(met) => words::met(met, applied.day, is_settled(name)),
            Err(why) => vec![format!("{}.", capitalised(&why.to_string()))],
        };
        let mut notes = words::beside(applied);
        for species in &season.species {
            let change = species.counts.across(applied.day);
            notes.extend(
                change.map(|change| format!("Counts around it: {}", words::change(&change))),
            );
        }
        Self {
            day: words::day_month(applied.day),
            what: words::applied(applied),
            watered: applied.watering.as_ref().map_or_else(
                || "How it is watered in is not known: it is not configured any more.".to_owned(),
                words::watered,
            ),
            verdicts: applied
                .met
                .iter()
                .map(|(name, met)| {
                    let verdict = capitalised(&words::verdict(applied, name, met));
                    (verdict, behind(name, met))
                })
                .collect(),
            notes,
        }
    }
}

/// With a capital first letter.
fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
