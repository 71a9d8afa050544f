//! What was counted before, during and after a season.

use crate::domain::journal::{Deed, Entry, Found};
use crate::domain::scouting::Reading;
use crate::domain::season::Season;
use chrono::{Days, NaiveDate};

/// Counts this long before and after the season still speak of it, days: half a year, in which the
/// larvae of one brood live on.
const AROUND_DAYS: u64 = 183;

/// Whose larvae were counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Brood {
    /// Those of the year before.
    Before,
    /// Those that hatched in the season.
    This,
    /// The same after the season's last day.
    Later,
}

impl Brood {
    /// Every brood with its name.
    pub const NAMED: [(&'static str, Brood); 3] = [
        ("before", Brood::Before),
        ("this", Brood::This),
        ("later", Brood::Later),
    ];

    /// The name.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }
}

/// A count.
#[derive(Debug, Clone, PartialEq)]
pub struct Counted {
    /// Its number in the journal.
    pub number: i64,
    /// When.
    pub day: NaiveDate,
    /// Whose larvae.
    pub brood: Brood,
    /// What was found.
    pub found: Found,
    /// What it says of the turf.
    pub reading: Reading,
}

/// Counts of one species, oldest first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Counts {
    /// The counts.
    pub all: Vec<Counted>,
}

/// From one count to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change<'c> {
    /// The one before.
    pub before: &'c Counted,
    /// The one after.
    pub after: &'c Counted,
}

impl Change<'_> {
    /// The later mean as a multiple of the earlier one; `None` if nothing was found before.
    pub fn ratio(&self) -> Option<f64> {
        let before = self.before.reading.mean_per_m2;
        (before > 0.0).then(|| self.after.reading.mean_per_m2 / before)
    }

    /// Whether the ranges of both counts lie apart, so that chance alone does not explain the
    /// change; `None` where a count has no range.
    pub fn is_clear(&self) -> Option<bool> {
        let before = self.before.reading.density?;
        let after = self.after.reading.density?;
        Some(before.low_per_m2 > after.high_per_m2 || after.low_per_m2 > before.high_per_m2)
    }
}

impl Counts {
    /// Sorts out a site's counts of a species up to `today`, held against the larvae per m² that
    /// the turf bears. Larvae counted from the day of egg lay on are the season's own brood.
    pub fn of(
        entries: &[Entry],
        species: &str,
        season: &Season,
        egg_lay: Option<NaiveDate>,
        today: NaiveDate,
        borne: (f64, f64),
    ) -> Self {
        let first = season.start - Days::new(AROUND_DAYS);
        let last = today.min(season.end + Days::new(AROUND_DAYS));
        let brood = |day: NaiveDate| {
            if egg_lay.is_none_or(|laid| day < laid) {
                Brood::Before
            } else if day <= season.end {
                Brood::This
            } else {
                Brood::Later
            }
        };
        let all = entries
            .iter()
            .filter(|entry| (first..=last).contains(&entry.day))
            .filter_map(|entry| match &entry.deed {
                Deed::Count { species: of, found } if of == species => Some(Counted {
                    number: entry.number,
                    day: entry.day,
                    brood: brood(entry.day),
                    found: found.clone(),
                    reading: Reading::of(found, borne),
                }),
                _ => None,
            })
            .collect();
        Self { all }
    }

    /// From the last count of the brood before to the last one of the season's own.
    pub fn from_brood_to_brood(&self) -> Option<Change<'_>> {
        let before = self.last_of(|one| one.brood == Brood::Before)?;
        let after = self.last_of(|one| one.brood != Brood::Before)?;
        Some(Change { before, after })
    }

    /// From the last count of the season's own brood up to a day to the last one after it.
    pub fn across(&self, day: NaiveDate) -> Option<Change<'_>> {
        let own = |one: &Counted| one.brood != Brood::Before;
        let before = self.last_of(|one| own(one) && one.day <= day)?;
        let after = self.last_of(|one| own(one) && one.day > day)?;
        Some(Change { before, after })
    }

    fn last_of(&self, is_wanted: impl Fn(&Counted) -> bool) -> Option<&Counted> {
        self.all.iter().rev().find(|one| is_wanted(one))
    }
}
