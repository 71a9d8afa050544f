//! The days of one option, and what holds of it today.

use crate::domain::notation::Notation;
use crate::domain::treatment::coverage::{Share, Window};
use crate::domain::treatment::need::Need;
use crate::domain::treatment::option::Purpose;
use crate::domain::treatment::planned::Planned;
use crate::domain::treatment::rating::Rating;
use crate::domain::treatment::site_plan::PlannedOption;
use crate::notify::wording::{against_hatch, rotation_words};
use crate::report::DateRange;
use crate::report::words::{capitalised, days, thousandths};
use chrono::NaiveDate;
use serde::{Serialize, Serializer};
use utoipa::ToSchema;

/// Days before today that a drawing goes back.
const DAYS_DRAWN_BACK: u64 = 30;

/// The days of one option.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct OptionPlan {
    /// The option's id.
    pub option: String,
    /// The option's name.
    #[serde(skip)]
    pub name: String,
    /// The group of active ingredients.
    pub group: String,
    /// The group of its mode of action, by the Insecticide Resistance Action Committee.
    pub mode_of_action: Option<String>,
    /// The last season before this one in which something of the same main group was used here.
    pub mode_of_action_used_in: Option<i32>,
    /// What it would be spread for here.
    pub purpose: &'static str,
    /// Whether it is restricted or forbidden in many places.
    pub restricted: bool,
    /// The species that its days serve, by their ids.
    pub serves: Vec<String>,
    /// The species that they do not.
    pub misses: Vec<MissedSpecies>,
    /// The first good day.
    pub first: NaiveDate,
    /// The best day.
    pub best: NaiveDate,
    /// The last good day, that of the earliest species.
    pub last: NaiveDate,
    /// Whether it is practice that ends the good days.
    pub ends_by_practice: bool,
    /// The last fair day, if that is later.
    pub fair_until: Option<NaiveDate>,
    /// What today is worth: `good`, `fair` or `poor`.
    pub today: &'static str,
    /// Share of the hatching larvae met by an application of today, of the species served least.
    pub meets_today: Option<MetShare>,
    /// The same of the best day.
    #[serde(serialize_with = "in_thousandths")]
    pub meets_at_best: f64,
    /// The same of the best day left.
    #[serde(serialize_with = "in_thousandths")]
    pub meets_at_best_left: f64,
    /// When half of an application of today is in the root zone.
    pub in_root_zone: NaiveDate,
    /// When the first larvae hatch.
    pub hatch_begins: Option<NaiveDate>,
    /// Whether no good day is left.
    pub too_late: bool,
    /// What holds today.
    #[serde(skip)]
    pub now: String,
    /// What else is to be said of its days.
    #[serde(skip)]
    pub notes: Vec<String>,
    /// The good days, to be drawn; `None` if they are over.
    #[serde(skip)]
    pub range: Option<DateRange>,
}

/// A species that an option does not serve.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct MissedSpecies {
    /// The species' id.
    pub species: String,
    /// The first day on which it would serve that species alone.
    pub first: Option<NaiveDate>,
    /// The last one.
    pub last: Option<NaiveDate>,
}

/// A share of the hatching larvae, 0 to 1, with its range.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct MetShare {
    /// Mean.
    #[serde(serialize_with = "in_thousandths")]
    pub mean: f64,
    /// Low end.
    #[serde(serialize_with = "in_thousandths")]
    pub low: f64,
    /// High end.
    #[serde(serialize_with = "in_thousandths")]
    pub high: f64,
}

fn in_thousandths<S: Serializer>(share: &f64, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_f64(thousandths(*share))
}

impl OptionPlan {
    pub(super) fn of(
        one: &PlannedOption<'_>,
        need: &Need,
        today: NaiveDate,
        notation: &Notation,
    ) -> Self {
        let planned = &one.planned;
        let (window, option) = (planned.window, planned.option);
        let meets_today = planned.share_on(today);
        Self {
            option: option.id.clone(),
            name: option.name.clone(),
            group: option.group.clone(),
            mode_of_action: option.mode_of_action.clone(),
            mode_of_action_used_in: one.group_used_in,
            purpose: planned.purpose.name(),
            restricted: option.restricted,
            serves: planned
                .served
                .iter()
                .map(|served| served.target.species.id.clone())
                .collect(),
            misses: planned
                .missed
                .iter()
                .map(|missed| MissedSpecies {
                    species: missed.species.id.clone(),
                    first: missed.window.map(|window| window.first),
                    last: missed.window.map(|window| window.last),
                })
                .collect(),
            first: window.first,
            best: window.best,
            last: window.last,
            ends_by_practice: planned.ends_by_practice(),
            fair_until: planned.fair_until(),
            today: planned.rating(today).name(),
            meets_today: meets_today.map(|Share { mean, low, high }| MetShare { mean, low, high }),
            meets_at_best: planned.met_on(window.best),
            meets_at_best_left: planned.still(today),
            in_root_zone: planned.arrives(today),
            hatch_begins: planned.hatch_begins(),
            too_late: !planned.in_time(today),
            now: now(planned, need, today, notation),
            notes: notes(one, need, today, notation),
            range: planned
                .in_time(today)
                .then(|| range(&option.name, window, today)),
        }
    }

    /// Its name; a star marks what is restricted.
    pub fn name_in_words(&self) -> String {
        let mark = if self.restricted { "*" } else { "" };
        format!("{}{mark}", self.name)
    }

    /// What an application of today would meet.
    pub fn meets_today_in_words(&self) -> String {
        self.meets_today.map_or("nothing".to_owned(), |share| {
            format!(
                "{:.0} % ({:.0}-{:.0})",
                share.mean * 100.0,
                share.low * 100.0,
                share.high * 100.0
            )
        })
    }
}

/// What holds today.
fn now(planned: &Planned<'_>, need: &Need, today: NaiveDate, notation: &Notation) -> String {
    let waits_for_count = waits_for_count(planned, need);
    in_words(
        &DaysOfOption {
            window: planned.window,
            fair_until: planned.fair_until(),
            ends_by_practice: planned.ends_by_practice(),
            rating: planned.rating(today),
            waits_for_count,
        },
        today,
        notation,
    )
}

/// Whether a curative has no count yet that calls for it.
fn waits_for_count(planned: &Planned<'_>, need: &Need) -> bool {
    planned.purpose == Purpose::Curative && !matches!(need, Need::Curative { .. })
}

/// What the days of an option come to.
struct DaysOfOption {
    window: Window,
    fair_until: Option<NaiveDate>,
    ends_by_practice: bool,
    rating: Rating,
    waits_for_count: bool,
}

/// What holds today. An option that works is never called too early.
fn in_words(option: &DaysOfOption, today: NaiveDate, notation: &Notation) -> String {
    let window = option.window;
    if option.waits_for_count {
        return if today > window.last {
            "too late".to_owned()
        } else {
            "only after a count that calls for it".to_owned()
        };
    }
    if today < window.first {
        let from = notation.short_day(window.first);
        return if option.rating >= Rating::Fair {
            format!("works, better from {from}")
        } else {
            format!("wait until {from}")
        };
    }
    if today > window.last {
        return match option
            .fair_until
            .filter(|until| *until >= today)
            .map(|day| notation.short_day(day))
        {
            Some(until) if option.ends_by_practice => {
                format!("later than practice; trials until {until}")
            }
            Some(until) => format!("fair until {until}"),
            None => "too late".to_owned(),
        };
    }
    match (window.last - today).num_days() {
        0 => "today is the last good day".to_owned(),
        left => format!("{} left", days(left)),
    }
}

/// What else is to be said of an option's days.
fn notes(
    one: &PlannedOption<'_>,
    need: &Need,
    today: NaiveDate,
    notation: &Notation,
) -> Vec<String> {
    let planned = &one.planned;
    let name = capitalised(&planned.option.name);
    let mut notes = Vec::new();
    let fair_until = planned.fair_until().filter(|until| *until >= today);
    if let Some(until) = fair_until.filter(|_| planned.ends_by_practice()) {
        notes.push(format!(
            "{name}: practice ends about {}; later than that, trials still found control until about {}.",
            notation.day(planned.window.last),
            notation.day(until)
        ));
    }
    let works = (planned.in_time(today) || fair_until.is_some()) && !waits_for_count(planned, need);
    if let Some(hatch) = planned.hatch_begins().filter(|_| works) {
        let on = planned.window.first.max(today);
        let arrives = planned.arrives(on);
        notes.push(format!(
            "{name}: of what is spread on {} half is in the root zone about {}, {}.",
            notation.day(on),
            notation.day(arrives),
            against_hatch(arrives, hatch)
        ));
    }
    for missed in &planned.missed {
        notes.push(match missed.window {
            Some(window) => format!(
                "{name} misses {} on these days; against it alone it would go down from {} to {}.",
                missed.species.name,
                notation.day(window.first),
                notation.day(window.last)
            ),
            None => format!("{name} has no day against {}.", missed.species.name),
        });
    }
    if !planned.in_time(today) {
        notes.extend(planned.still_serves(today).map(|(species, last)| {
            format!(
                "{name} still serves {} alone until {}.",
                species.name,
                notation.day(last)
            )
        }));
    }
    let rotation = rotation_words(planned.option, one.group_used_in);
    if !rotation.is_empty() {
        notes.push(format!("{name}:{rotation}"));
    }
    notes
}

/// The days worth it, as far as they are drawn.
fn range(title: &str, window: Window, today: NaiveDate) -> DateRange {
    let from = window.first.max(today - chrono::Days::new(DAYS_DRAWN_BACK));
    DateRange {
        title: title.to_owned(),
        from,
        middle: Some(window.best).filter(|best| *best >= from),
        to: window.last,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn window() -> Window {
        Window {
            first: day("2026-05-10"),
            best: day("2026-06-01"),
            last: day("2026-07-20"),
        }
    }

    fn days_of_option() -> DaysOfOption {
        DaysOfOption {
            window: window(),
            fair_until: Some(day("2026-08-01")),
            ends_by_practice: false,
            rating: Rating::Good,
            waits_for_count: false,
        }
    }

    #[test]
    fn days_left_are_counted_to_the_last_good_day() {
        let now = |today| in_words(&days_of_option(), day(today), &Notation::default());
        assert_eq!(now("2026-05-10"), "71 days left");
        assert_eq!(now("2026-07-19"), "1 day left");
        assert_eq!(now("2026-07-20"), "today is the last good day");
    }

    #[test]
    fn an_option_that_works_is_not_called_too_early_nor_too_late() {
        let now = |option: &DaysOfOption, today| in_words(option, day(today), &Notation::default());
        let of = |rating| DaysOfOption {
            rating,
            ..days_of_option()
        };
        assert_eq!(
            now(&of(Rating::Fair), "2026-05-09"),
            "works, better from 10 May"
        );
        assert_eq!(now(&of(Rating::Poor), "2026-05-09"), "wait until 10 May");
        assert_eq!(now(&of(Rating::Fair), "2026-07-21"), "fair until 1 Aug");
        assert_eq!(now(&of(Rating::Poor), "2026-08-02"), "too late");
        let practice = DaysOfOption {
            ends_by_practice: true,
            ..days_of_option()
        };
        assert_eq!(
            now(&practice, "2026-07-21"),
            "later than practice; trials until 1 Aug"
        );
        assert_eq!(now(&practice, "2026-08-02"), "too late");
    }

    #[test]
    fn a_curative_waits_for_a_count_that_calls_for_it() {
        let waiting = DaysOfOption {
            waits_for_count: true,
            ..days_of_option()
        };
        let now = |today| in_words(&waiting, day(today), &Notation::default());
        assert_eq!(now("2026-05-09"), "only after a count that calls for it");
        assert_eq!(now("2026-07-21"), "too late");
    }

    #[test]
    fn a_drawing_leaves_out_days_long_past_and_a_best_day_among_them() {
        let drawn = range("carbaryl", window(), day("2026-06-20"));
        assert_eq!(drawn.from, day("2026-05-21"));
        assert_eq!(drawn.middle, Some(day("2026-06-01")));
        let later = range("carbaryl", window(), day("2026-07-10"));
        assert_eq!(later.from, day("2026-06-10"));
        assert_eq!(later.middle, None);
        assert_eq!(later.to, day("2026-07-20"));
    }

    fn meets_today(meets_today: Option<MetShare>) -> OptionPlan {
        OptionPlan {
            option: "carbaryl".to_owned(),
            name: "carbaryl".to_owned(),
            group: "carbamate".to_owned(),
            mode_of_action: Some("1A".to_owned()),
            mode_of_action_used_in: None,
            purpose: "curative",
            restricted: true,
            serves: vec!["japanese-beetle".to_owned()],
            misses: Vec::new(),
            first: window().first,
            best: window().best,
            last: window().last,
            ends_by_practice: false,
            fair_until: None,
            today: "good",
            meets_today,
            meets_at_best: 0.98765,
            meets_at_best_left: 0.5,
            in_root_zone: day("2026-06-01"),
            hatch_begins: None,
            too_late: false,
            now: String::new(),
            notes: Vec::new(),
            range: None,
        }
    }

    #[test]
    fn scripts_get_shares_in_thousandths_and_people_in_percent() {
        let share = MetShare {
            mean: 0.49461,
            low: 0.1,
            high: 0.99951,
        };
        let option = meets_today(Some(share));
        assert_eq!(option.meets_today_in_words(), "49 % (10-100)");
        assert_eq!(option.name_in_words(), "carbaryl*");
        let json = serde_json::to_value(&option).unwrap();
        assert_eq!(json["meets_today"]["mean"], 0.495);
        assert_eq!(json["meets_at_best"], 0.988);
        assert!(json.get("now").is_none());
        assert_eq!(meets_today(None).meets_today_in_words(), "nothing");
    }
}
