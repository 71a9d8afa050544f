//! What people did and saw: applications, counts, catches, irrigation and notes.

use crate::domain::journal::SprayRecord;
use crate::domain::journal::amount::{Area, Depth, Rate};
use crate::domain::scouting::Found;
use chrono::NaiveDate;

/// An entry of the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number, for editing and undoing.
    pub number: i64,
    /// Site id.
    pub site: String,
    /// The day.
    pub day: NaiveDate,
    /// What was done or seen.
    pub action: JournalAction,
    /// A remark.
    pub remark: Option<String>,
}

/// What was done or seen.
#[derive(Debug, Clone, PartialEq)]
pub enum JournalAction {
    /// Adults were caught or seen, or looked for.
    Catch {
        /// Species id.
        species: String,
        /// How many, if they were counted; 0 where there were none.
        beetles: Option<u32>,
    },
    /// Something was spread.
    Application(Application),
    /// Larvae were counted.
    Count {
        /// Species id.
        species: String,
        /// What was found.
        found: Found,
    },
    /// The turf was watered.
    Irrigation {
        /// How deep.
        depth: Depth,
    },
    /// Anything else; whether grubs did damage, if that was noted.
    Note {
        /// Whether grubs did damage.
        damage: Option<bool>,
    },
}

/// Something that was spread, as the user's label states it.
#[derive(Debug, Clone, PartialEq)]
pub struct Application {
    /// Option id.
    pub option: String,
    /// The turf it went on.
    pub area: Area,
    /// The rate.
    pub rate: Option<Rate>,
    /// The most a season may have, by the user's label.
    pub most_a_season: Option<Rate>,
    /// What else is written down of it.
    pub record: Box<SprayRecord>,
}

impl JournalAction {
    /// The names of the kinds of deeds, in the store and on the command line.
    pub const KINDS: [&'static str; 5] = ["catch", "application", "count", "irrigation", "note"];

    /// The name of its kind.
    pub fn kind(&self) -> &'static str {
        match self {
            JournalAction::Catch { .. } => Self::KINDS[0],
            JournalAction::Application(_) => Self::KINDS[1],
            JournalAction::Count { .. } => Self::KINDS[2],
            JournalAction::Irrigation { .. } => Self::KINDS[3],
            JournalAction::Note { .. } => Self::KINDS[4],
        }
    }

    /// The species it speaks of.
    pub fn species(&self) -> Option<&str> {
        match self {
            JournalAction::Catch { species, .. } | JournalAction::Count { species, .. } => {
                Some(species)
            }
            _ => None,
        }
    }

    /// Whether two deeds of one day and site are the same thing done or seen twice.
    fn repeats(&self, other: &JournalAction) -> bool {
        match (self, other) {
            (JournalAction::Catch { species: a, .. }, JournalAction::Catch { species: b, .. })
            | (JournalAction::Count { species: a, .. }, JournalAction::Count { species: b, .. }) => {
                a == b
            }
            (JournalAction::Application(a), JournalAction::Application(b)) => {
                // A second load of the day went on another part.
                a.option == b.option && a.record.part == b.record.part
            }
            _ => false,
        }
    }
}

/// Why something is not entered.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// It has not happened yet.
    #[error("{day} lies in the future (today is {today}); nothing was logged")]
    Future {
        /// Its day.
        day: NaiveDate,
        /// Today.
        today: NaiveDate,
    },
    /// An application of an earlier season.
    #[error(
        "{day} lies before this season, which began on {start}; nothing was logged. Check the year; to add an application of an earlier season, say --earlier-season"
    )]
    BeforeSeason {
        /// Its day.
        day: NaiveDate,
        /// The first day of the season.
        start: NaiveDate,
    },
    /// It is entered already.
    #[error(
        "that is logged for {day} already, as number {number}; nothing was logged. Change it with log edit {number}, or take it back with log undo {number}"
    )]
    Twice {
        /// Its day.
        day: NaiveDate,
        /// The entry.
        number: i64,
    },
    /// The option is entered for the day already, on the same part of the site.
    #[error(
        "that is logged for {day} already, as number {number}; nothing was logged. Change it with log edit {number}, or take it back with log undo {number}; if this was a second load on another part of the site, name the part with --part"
    )]
    SecondLoad {
        /// Its day.
        day: NaiveDate,
        /// The entry.
        number: i64,
    },
}

/// Whether a deed of a day may be entered for a site with these entries. Applications before
/// `season_start` are refused where one is given.
///
/// # Errors
/// [`Refusal`].
pub fn check(
    action: &JournalAction,
    day: NaiveDate,
    entries: &[Entry],
    today: NaiveDate,
    season_start: Option<NaiveDate>,
) -> Result<(), Refusal> {
    if day > today {
        return Err(Refusal::Future { day, today });
    }
    if let (JournalAction::Application(_), Some(start)) = (action, season_start)
        && day < start
    {
        return Err(Refusal::BeforeSeason { day, start });
    }
    let known = entries
        .iter()
        .find(|entry| entry.day == day && entry.action.repeats(action));
    let Some(number) = known.map(|entry| entry.number) else {
        return Ok(());
    };
    Err(match action {
        JournalAction::Application(_) => Refusal::SecondLoad { day, number },
        _ => Refusal::Twice { day, number },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn spread(option: &str) -> JournalAction {
        JournalAction::Application(Application {
            option: option.into(),
            area: "450 m2".parse().unwrap(),
            rate: None,
            most_a_season: None,
            record: Default::default(),
        })
    }

    fn known(number: i64, on: &str, action: JournalAction) -> Entry {
        Entry {
            number,
            site: "lawn".into(),
            day: day(on),
            action,
            remark: None,
        }
    }

    #[test]
    fn what_has_not_happened_cannot_be_entered() {
        let today = day("2026-06-10");
        let check = |on| check(&spread("imidacloprid"), day(on), &[], today, None);
        assert_eq!(check("2026-06-10"), Ok(()));
        let refused = check("2026-06-11").unwrap_err();
        assert!(refused.to_string().contains("today is 2026-06-10"));
    }

    #[test]
    fn only_applications_have_to_lie_in_the_season() {
        let today = day("2026-06-10");
        let start = Some(day("2026-01-01"));
        let last_year = day("2025-08-20");
        let count = JournalAction::Count {
            species: "japanese-beetle".into(),
            found: Found::Density(60.0),
        };
        assert_eq!(check(&count, last_year, &[], today, start), Ok(()));
        let spread = spread("imidacloprid");
        assert!(matches!(
            check(&spread, last_year, &[], today, start),
            Err(Refusal::BeforeSeason { .. })
        ));
        assert_eq!(check(&spread, last_year, &[], today, None), Ok(()));
    }

    #[test]
    fn the_same_option_on_the_same_day_and_part_is_one_application() {
        let today = day("2026-06-10");
        let entries = [known(7, "2026-06-08", spread("imidacloprid"))];
        let check = |action: &JournalAction, on| check(action, day(on), &entries, today, None);
        assert_eq!(
            check(&spread("imidacloprid"), "2026-06-08"),
            Err(Refusal::SecondLoad {
                day: day("2026-06-08"),
                number: 7
            })
        );
        let mut second_load = spread("imidacloprid");
        if let JournalAction::Application(spread) = &mut second_load {
            spread.record.part = Some("by the gate".into());
        }
        assert_eq!(check(&second_load, "2026-06-08"), Ok(()));
        assert_eq!(check(&spread("imidacloprid"), "2026-06-09"), Ok(()));
        assert_eq!(check(&spread("clothianidin"), "2026-06-08"), Ok(()));
    }

    #[test]
    fn turf_may_be_watered_twice_a_day() {
        let today = day("2026-06-10");
        let water = || JournalAction::Irrigation {
            depth: "6mm".parse().unwrap(),
        };
        let entries = [known(3, "2026-06-10", water())];
        assert_eq!(check(&water(), today, &entries, today, None), Ok(()));
    }
}
