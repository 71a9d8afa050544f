//! What people enter: the rules by which something is taken into the journal of a site, and what is
//! said of it then. The command line and the page enter by the same rules and say the same; only where
//! to turn next differs ([`Through`]).

use crate::config::Config;
use crate::config::problem::closest;
use crate::cycle::states_of_site;
use crate::domain::journal::amount::{Kind, Rate};
use crate::domain::journal::{
    AmountError, Entry, JournalAction, RecordError, Refusal, SprayRecord, check,
};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::place::site::Site;
use crate::domain::scouting::CountError;
use crate::domain::treatment::need::{Brood, Broods};
use crate::domain::treatment::option::TreatmentOption;
use crate::report::season::season_on;
use crate::store::audit::LineOfChange;
use crate::store::journal::Entering;
use crate::store::{Store, StoreError};
use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, Utc};

mod said;
mod words;

pub use said::{WateringSaid, doubted_area, logged, season_said, what_to_mind};
pub use words::{action, record_in_words, whole_action};

/// How somebody enters, which decides where a sentence sends them next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Through {
    /// By commands.
    CommandLine,
    /// By forms.
    Page,
}

/// Why something is not entered.
#[derive(Debug, thiserror::Error)]
pub enum NotEntered {
    /// A rule of the journal speaks against it.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// Its times cannot be.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// An amount is not understood.
    #[error(transparent)]
    Amount(#[from] AmountError),
    /// A rate counts living things, of an option that has none.
    #[error(
        "\"{rate}\" counts living things, and {name} has none; nothing was logged. Give the rate and the most a season in a unit of weight or volume, as the label has them, like 2 kg/ha or 3 l/ha"
    )]
    NotLiving {
        /// Whether it is the most a season.
        is_most: bool,
        /// The rate.
        rate: Rate,
        /// The option's name.
        name: String,
    },
    /// A count cannot be.
    #[error(transparent)]
    Count(#[from] CountError),
    /// There is no such option.
    #[error("there is no option \"{id}\"; {hint}")]
    NoOption {
        /// What was asked for.
        id: String,
        /// What there is.
        hint: String,
    },
    /// The site is not watched for the species.
    #[error("{site} is not watched for \"{species}\"; its species are {watched}")]
    NotWatched {
        /// The site's id.
        site: String,
        /// The species.
        species: String,
        /// The species of the site.
        watched: String,
    },
    /// A catch so early that it is doubted.
    #[error(
        "{0} That is so early that nothing was logged: check day, site and species. If adults were seen all the same, say --sure"
    )]
    EarlyCatch(String),
    /// A note that says nothing.
    #[error(
        "a note needs something to say: --remark \"turf lifts like a carpet\", or --damage yes or no"
    )]
    EmptyNote,
    /// A correction that changes nothing.
    #[error("entry {0} says that already; nothing was changed")]
    Unchanged(i64),
    /// The entry does not stand any more.
    #[error("entry {0} was changed or taken back in the meantime; see log list")]
    Gone(i64),
    /// The database fails.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl NotEntered {
    /// The same for somebody who enters by a form.
    pub fn on_the_page(&self) -> String {
        match self {
            Self::Refused(Refusal::BeforeSeason { day, start }) => format!(
                "{day} lies before this season, which began on {start}; nothing was logged. Check the year; to add an application of an earlier season, tick \"{EARLIER_SEASON}\""
            ),
            Self::Refused(Refusal::Twice { day, number }) => format!(
                "that is logged for {day} already, as number {number}; nothing was logged. Correct that entry or take it back"
            ),
            Self::Refused(Refusal::SecondLoad { day, number }) => format!(
                "that is logged for {day} already, as number {number}; nothing was logged. Correct that entry or take it back; if this was a second load on another part of the site, fill in \"{PART}\""
            ),
            Self::EarlyCatch(compared) => format!(
                "{compared} That is so early that nothing was logged: check day, site and species. If adults were seen all the same, tick \"{SURE}\""
            ),
            Self::EmptyNote => "a note needs something to say".to_owned(),
            Self::Gone(number) => {
                format!("entry {number} was changed or taken back in the meantime")
            }
            other => other.to_string(),
        }
    }
}

/// What a form asks of an application before this season.
pub const EARLIER_SEASON: &str = "It was in an earlier season";
/// What a form calls the part of a site.
pub const PART: &str = "Part of the site";
/// What a form asks of a catch that is doubted.
pub const SURE: &str = "Adults were seen, though the sum is far from it";

/// A first catch is doubted below this share of the low end of the table's range. A choice; a late
/// one is no wonder, since the first adults may have gone unseen.
const DOUBTED: f64 = 0.5;

/// Something to be entered.
#[derive(Debug, Clone, PartialEq)]
pub struct NewEntry {
    /// The day.
    pub day: NaiveDate,
    /// What was done or seen.
    pub action: JournalAction,
    /// A remark.
    pub remark: Option<String>,
    /// Whether an application may lie before this season.
    pub any_season: bool,
    /// The key of the form it came with: the same key makes no second entry.
    pub key: Option<String>,
}

/// The journal of a site, open for entering.
pub struct Journal<'c> {
    /// What is configured.
    pub config: &'c Config,
    /// The site.
    pub site: &'c Site,
    /// The open database.
    pub store: Store,
    /// The day today.
    pub today: NaiveDate,
    /// The instant now.
    pub now: DateTime<Utc>,
    /// The line of the audit that goes with what is entered, if there is one.
    pub line: Option<LineOfChange>,
}

/// A catch beside the table of its species.
#[derive(Debug, Clone, PartialEq)]
pub struct CatchCompared {
    /// In words.
    pub words: String,
    /// Whether it is too early to be taken unasked.
    pub is_doubted: bool,
}

impl Journal<'_> {
    /// Enters what was done or seen, if nothing speaks against it.
    ///
    /// # Errors
    /// [`NotEntered`].
    pub fn enter(&mut self, new: NewEntry) -> Result<Entry, NotEntered> {
        says_something(&new.action, new.remark.as_deref())?;
        check_record(&new.action)?;
        check_rates(self.config, &new.action)?;
        let (today, start) = (self.today, self.earliest(new.any_season));
        let (day, action) = (new.day, &new.action);
        let may =
            |entries: &[Entry]| Ok::<_, NotEntered>(check(action, day, entries, today, start)?);
        let number = self.store.log_if(
            &self.site.id,
            day,
            action,
            new.remark.as_deref(),
            Entering {
                now: self.now,
                key: new.key.as_deref(),
                line: self.line.as_ref(),
            },
            may,
        )?;
        Ok(Entry {
            number,
            site: self.site.id.clone(),
            day,
            action: new.action,
            remark: new.remark,
        })
    }

    /// Puts a new entry in the place of an old one, if nothing speaks against it.
    ///
    /// # Errors
    /// [`NotEntered`].
    pub fn replace(&mut self, old: &Entry, new: NewEntry) -> Result<Entry, NotEntered> {
        says_something(&new.action, new.remark.as_deref())?;
        check_record(&new.action)?;
        check_rates(self.config, &new.action)?;
        let is_same = new.day == old.day && new.action == old.action && new.remark == old.remark;
        if is_same {
            return Err(NotEntered::Unchanged(old.number));
        }
        // A day that stays was allowed before.
        let start = self.earliest(new.any_season || new.day == old.day);
        let (today, day, action) = (self.today, new.day, &new.action);
        let may = |others: &[Entry]| Ok::<_, NotEntered>(check(action, day, others, today, start)?);
        let number = self.store.replace_if(
            old,
            day,
            action,
            new.remark.as_deref(),
            Entering {
                now: self.now,
                key: new.key.as_deref(),
                line: self.line.as_ref(),
            },
            may,
        )?;
        Ok(Entry {
            number: number.ok_or(NotEntered::Gone(old.number))?,
            site: old.site.clone(),
            day,
            action: new.action,
            remark: new.remark,
        })
    }

    /// The first day of this season, before which applications are refused; `None` allows any.
    fn earliest(&self, any_season: bool) -> Option<NaiveDate> {
        let season = season_on(self.config, self.site, self.today)?;
        (!any_season).then_some(season.start)
    }

    /// Whose larvae a day speaks of, by how things stand today.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn brood(&self, species: &str, day: NaiveDate) -> Result<Option<Brood>, StoreError> {
        let states = states_of_site(self.config, &self.store, self.today, &self.site.id)?;
        Ok(states
            .iter()
            .find(|here| here.species.id == species)
            .map(|here| Broods::of(&here.species, here.site.latitude, &here.state).on(day)))
    }

    /// A catch of a day beside the table of its species; `None` if nothing is known of the day.
    ///
    /// # Errors
    /// [`NotEntered`] if the site is not watched for the species, or the database fails.
    pub fn compare_catch(
        &self,
        species: &str,
        day: NaiveDate,
    ) -> Result<Option<CatchCompared>, NotEntered> {
        watched(self.site, species)?;
        let day_seen = day.min(self.today);
        let states = states_of_site(self.config, &self.store, day_seen, &self.site.id)?;
        let here = states.iter().find(|here| here.species.id == species);
        let Some(here) = here else {
            return Ok(None);
        };
        let table = here.species.threshold(Milestone::AdultFlight);
        let (low, high) = table.range.unwrap_or((table.value, table.value));
        let sum = here.state.degree_days;
        let notation = &self.config.service.notation;
        let flight = format!(
            "the table has flight at {} ({} to {})",
            notation.degree_days(table.value),
            notation.degree_days(low),
            notation.degree_days(high)
        );
        if here.state.data_through.is_none() {
            return Ok(Some(CatchCompared {
                words: format!(
                    "The day cannot be checked: no day of the season is measured up to {day}, so there is no sum; {flight}. If day, site or species is a slip, correct the entry."
                ),
                is_doubted: false,
            }));
        }
        // A first catch moves every later date, so one that cannot be is not let in by mistake.
        let is_known = here.state.data_through >= Some(day) && here.state.hold.is_none();
        Ok(Some(CatchCompared {
            words: format!(
                "The sum on that day was {}; {flight}.",
                notation.degree_days(sum)
            ),
            is_doubted: is_known && sum < low * DOUBTED,
        }))
    }
}

/// An option by its id.
///
/// # Errors
/// [`NotEntered::NoOption`].
pub fn known_option<'c>(config: &'c Config, id: &str) -> Result<&'c TreatmentOption, NotEntered> {
    config.options.get(id).ok_or_else(|| {
        let ids = || config.options.keys().map(String::as_str);
        let hint = match closest(id, ids()) {
            Some(meant) => format!("did you mean \"{meant}\"?"),
            None => {
                let ids: Vec<&str> = ids().collect();
                format!("there are {}", ids.join(", "))
            }
        };
        NotEntered::NoOption {
            id: id.to_owned(),
            hint,
        }
    })
}

/// A species must be one that a site is watched for.
///
/// # Errors
/// [`NotEntered::NotWatched`].
pub fn watched(site: &Site, species: &str) -> Result<(), NotEntered> {
    if site.species.iter().any(|id| id == species) {
        return Ok(());
    }
    Err(NotEntered::NotWatched {
        site: site.id.clone(),
        species: species.to_owned(),
        watched: site.species.join(", "),
    })
}

/// A text on one line; `None` if it is blank.
pub fn plain(text: &str) -> Option<String> {
    let words: Vec<&str> = text
        .split(|c: char| c.is_whitespace() || c.is_control())
        .filter(|word| !word.is_empty())
        .collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// A note without damage and without a remark says nothing.
fn says_something(action: &JournalAction, remark: Option<&str>) -> Result<(), NotEntered> {
    match action {
        JournalAction::Note { damage: None } if remark.and_then(plain).is_none() => {
            Err(NotEntered::EmptyNote)
        }
        _ => Ok(()),
    }
}

fn check_record(action: &JournalAction) -> Result<(), NotEntered> {
    match action {
        JournalAction::Application(spread) => Ok(SprayRecord::check(&spread.record)?),
        _ => Ok(()),
    }
}

/// The group of options that live, or are made by what lives.
const LIVING: &str = "biological";

/// Only what lives is counted: a rate in millions is none of a chemical.
fn check_rates(config: &Config, action: &JournalAction) -> Result<(), NotEntered> {
    let JournalAction::Application(spread) = action else {
        return Ok(());
    };
    // One that is configured no more is not known to be either.
    let Some(option) = config.options.get(&spread.option) else {
        return Ok(());
    };
    // Nematodes have no mode of action, whatever their group is called.
    if option.group == LIVING || option.mode_of_action.is_none() {
        return Ok(());
    }
    for (rate, is_most) in [(spread.rate, false), (spread.most_a_season, true)] {
        if let Some(rate) = rate.filter(|rate| rate.kind() == Kind::Number) {
            return Err(NotEntered::NotLiving {
                is_most,
                rate,
                name: option.name.clone(),
            });
        }
    }
    Ok(())
}

/// A day, within the years that weather records reach.
///
/// # Errors
/// How to write one.
pub fn day_of(text: &str) -> Result<NaiveDate, String> {
    let day: NaiveDate = text.parse().map_err(|_| match is_written_as_day(text) {
        true => format!("there is no day {text}; check month and day"),
        false => "give a day as YYYY-MM-DD, for example 2026-07-01".to_owned(),
    })?;
    if (FIRST_YEAR..=LAST_YEAR).contains(&day.year()) {
        Ok(day)
    } else {
        Err(format!("give a day from {FIRST_YEAR} to {LAST_YEAR}"))
    }
}

/// Whether a text is written as a day is, be there such a day or not.
fn is_written_as_day(text: &str) -> bool {
    let parts: Vec<&str> = text.trim().split('-').collect();
    let is_number = |part: &&str| part.bytes().all(|byte| byte.is_ascii_digit());
    let lengths: Vec<usize> = parts.iter().map(|part| part.len()).collect();
    parts.iter().all(is_number) && matches!(lengths[..], [4, 1..=2, 1..=2])
}

/// Years that weather records reach back to.
const FIRST_YEAR: i32 = 1700;
/// Years ahead that make sense.
const LAST_YEAR: i32 = 2200;

/// A time of day.
///
/// # Errors
/// How to write one.
pub fn time_of(text: &str) -> Result<NaiveTime, String> {
    NaiveTime::parse_from_str(text.trim(), "%H:%M")
        .map_err(|_| "give a time as HH:MM, for example 06:30".to_owned())
}
