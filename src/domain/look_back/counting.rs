//! What was counted before, during and after a season.

use crate::domain::journal::{Entry, JournalAction};
use crate::domain::phenology::season::Season;
use crate::domain::scouting::CountReading;
use crate::domain::scouting::Found;
use crate::domain::treatment::need::{self, Broods};
use chrono::{Days, NaiveDate};

/// Counts this long before and after the season still speak of it, days: half a year, in which the
/// larvae of one brood live on.
const AROUND_DAYS: u64 = 183;

/// Whose larvae were counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountedBrood {
    /// Those of the year before.
    Before,
    /// Those that hatched in the season, too few or too small to be counted.
    TooSoon,
    /// Those that hatched in the season.
    This,
    /// The same after the season's last day.
    Later,
}

impl CountedBrood {
    /// Every brood with its name.
    pub const NAMED: [(&'static str, CountedBrood); 4] = [
        ("before", CountedBrood::Before),
        ("too-soon", CountedBrood::TooSoon),
        ("this", CountedBrood::This),
        ("later", CountedBrood::Later),
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
    pub brood: CountedBrood,
    /// What was found.
    pub found: Found,
    /// What it says of the turf.
    pub reading: CountReading,
}

impl Counted {
    /// Whether it tells of the season's own larvae.
    pub fn is_own(&self) -> bool {
        matches!(self.brood, CountedBrood::This | CountedBrood::Later)
    }
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
    /// the turf tolerates. What was dug while this season's larvae were too small
    /// says nothing of them.
    pub fn of(
        entries: &[Entry],
        species: &str,
        season: &Season,
        broods: &Broods,
        today: NaiveDate,
        tolerance: (f64, f64),
    ) -> Self {
        let first = season.start - Days::new(AROUND_DAYS);
        let last = today.min(season.end + Days::new(AROUND_DAYS));
        let brood = |day: NaiveDate| match broods.on(day) {
            need::Brood::Earlier => None,
            need::Brood::TooSoon => Some(CountedBrood::TooSoon),
            need::Brood::Last => Some(CountedBrood::Before),
            need::Brood::This if day <= season.end => Some(CountedBrood::This),
            need::Brood::This => Some(CountedBrood::Later),
        };
        let all = entries
            .iter()
            .filter(|entry| (first..=last).contains(&entry.day))
            .filter_map(|entry| match &entry.action {
                JournalAction::Count { species: of, found } if of == species => Some(Counted {
                    number: entry.number,
                    day: entry.day,
                    brood: brood(entry.day)?,
                    found: found.clone(),
                    reading: CountReading::of(found, tolerance),
                }),
                _ => None,
            })
            .collect();
        Self { all }
    }

    /// From the last count of the brood before to the last one of the season's own.
    pub fn from_brood_to_brood(&self) -> Option<Change<'_>> {
        let before = self.last_of(|one| one.brood == CountedBrood::Before)?;
        let after = self.last_of(Counted::is_own)?;
        Some(Change { before, after })
    }

    /// From the last count of the season's own brood up to a day to the last one after it.
    pub fn across(&self, day: NaiveDate) -> Option<Change<'_>> {
        let before = self.last_of(|one| one.is_own() && one.day <= day)?;
        let after = self.last_of(|one| one.is_own() && one.day > day)?;
        Some(Change { before, after })
    }

    fn last_of(&self, is_wanted: impl Fn(&Counted) -> bool) -> Option<&Counted> {
        self.all.iter().rev().find(|one| is_wanted(one))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::phenology::season::MonthDay;
    use crate::domain::scouting::SampleArea;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// A count of so many larvae in twelve samples of a square foot.
    fn count(number: i64, on: &str, larvae: u32) -> Entry {
        let area = SampleArea::from_ft2(1.0).unwrap();
        Entry {
            number,
            site: "lawn".into(),
            day: day(on),
            action: JournalAction::Count {
                species: "japanese-beetle".into(),
                found: Found::of_samples(12, area, larvae, None).unwrap(),
            },
            remark: None,
        }
    }

    fn counts(entries: &[Entry], egg_lay: Option<&str>, today: &str) -> Counts {
        let season = Season::starting_in(2026, MonthDay::parse("01-01").unwrap());
        let tolerance = (86.0, 161.0);
        // Eggs, and six weeks later larvae that can be counted.
        let broods = Broods {
            last_from: day("2025-07-02"),
            egg_lay: egg_lay.map(day),
            countable: egg_lay.map(|laid| day(laid) + Days::new(41)),
        };
        Counts::of(
            entries,
            "japanese-beetle",
            &season,
            &broods,
            day(today),
            tolerance,
        )
    }

    fn broods(counts: &Counts) -> Vec<(i64, CountedBrood)> {
        counts
            .all
            .iter()
            .map(|one| (one.number, one.brood))
            .collect()
    }

    #[test]
    fn the_sums_part_the_broods_and_the_season_s_end_what_is_later() {
        let entries = [
            count(1, "2025-06-20", 50),
            count(2, "2025-09-20", 210),
            count(3, "2026-06-24", 90),
            count(4, "2026-06-25", 0),
            count(5, "2026-08-25", 30),
            count(6, "2027-04-20", 20),
            count(7, "2027-08-20", 400),
        ];
        let all = counts(&entries, Some("2026-06-25"), "2027-09-01");
        assert_eq!(
            broods(&all),
            [
                (2, CountedBrood::Before),
                (3, CountedBrood::Before),
                (4, CountedBrood::TooSoon),
                (5, CountedBrood::This),
                (6, CountedBrood::Later)
            ],
            "counts of other years are left out"
        );
        let seen_then = counts(&entries, Some("2026-06-25"), "2026-12-31");
        assert_eq!(broods(&seen_then).last(), Some(&(5, CountedBrood::This)));
    }

    #[test]
    fn without_egg_lay_all_larvae_are_the_year_before_s() {
        let all = counts(&[count(1, "2026-08-25", 30)], None, "2026-12-31");
        assert_eq!(broods(&all), [(1, CountedBrood::Before)]);
        assert_eq!(all.from_brood_to_brood(), None);
    }

    #[test]
    fn a_change_is_clear_only_if_the_ranges_lie_apart() {
        let of = |before, after| {
            let entries = [
                count(1, "2025-09-20", before),
                count(2, "2026-08-25", after),
            ];
            let all = counts(&entries, Some("2026-06-25"), "2026-12-31");
            let change = all.from_brood_to_brood().unwrap();
            (change.ratio(), change.is_clear())
        };
        assert_eq!(of(240, 24), (Some(0.1), Some(true)));
        assert_eq!(of(40, 30), (Some(0.75), Some(false)));
        assert_eq!(of(0, 30).0, None, "nothing is no measure");
    }

    #[test]
    fn around_an_application_only_the_season_s_own_larvae_are_compared() {
        let entries = [
            count(1, "2025-09-20", 210),
            count(2, "2026-08-10", 240),
            count(3, "2026-09-05", 40),
        ];
        let all = counts(&entries, Some("2026-06-25"), "2026-12-31");
        let change = all.across(day("2026-08-12")).unwrap();
        assert_eq!((change.before.number, change.after.number), (2, 3));
        assert_eq!(all.across(day("2026-06-01")), None);
    }
}
