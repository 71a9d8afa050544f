//! The digest: what can wait, of all sites of a recipient in one message, the same things of several
//! sites together.

use crate::domain::phenology::milestone::Milestone;
use chrono::NaiveDate;

/// What is told of a site in a digest.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum DigestItem {
    /// An option may still be applied.
    Apply {
        /// The last good day.
        by: NaiveDate,
        /// Its name.
        option: String,
    },
    /// An application lacks its water.
    Water {
        /// The day by which it was or is due.
        by: NaiveDate,
        /// What was applied.
        option: String,
    },
    /// Grubs are to be counted and were not.
    Count {
        /// Whether that is said for the first time.
        is_new: bool,
    },
    /// A milestone was passed.
    Passed {
        /// The species' name.
        species: String,
        /// Which one.
        milestone: Milestone,
        /// The day.
        on: NaiveDate,
        /// Whether the calendar set it.
        by_calendar: bool,
    },
    /// The likely date of a milestone has moved.
    Moved {
        /// The species' name.
        species: String,
        /// Which one.
        milestone: Milestone,
        /// The date told before.
        from: NaiveDate,
        /// The date now.
        to: NaiveDate,
    },
    /// No new temperatures arrive.
    Stale {
        /// The station's name.
        station: String,
        /// Its newest day.
        newest: Option<NaiveDate>,
    },
}

/// A digest: each item with the names of the sites it holds for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Digest {
    /// In the order in which they are told: work first.
    pub items: Vec<(DigestItem, Vec<String>)>,
}

impl Digest {
    /// Of what there is to tell of each site; the same of several sites is put together.
    pub fn of(of_sites: impl Iterator<Item = (String, Vec<DigestItem>)>) -> Self {
        let mut items: Vec<(DigestItem, Vec<String>)> = Vec::new();
        for (site, told) in of_sites {
            for item in told {
                match items.iter_mut().find(|(known, _)| *known == item) {
                    Some((_, sites)) => sites.push(site.clone()),
                    None => items.push((item, vec![site.clone()])),
                }
            }
        }
        items.sort_by(|a, b| a.0.cmp(&b.0));
        Self { items }
    }

    /// Whether there is nothing new; such a digest is not sent. What is to be applied or counted was told
    /// when its time came, and goes with the next news; water that is lacking is news.
    pub fn has_no_news(&self) -> bool {
        let was_told = |item: &DigestItem| {
            matches!(
                item,
                DigestItem::Apply { .. } | DigestItem::Count { is_new: false }
            )
        };
        self.items.iter().all(|(item, _)| was_told(item))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COUNT: DigestItem = DigestItem::Count { is_new: false };

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn the_same_of_several_sites_is_one_item_and_work_comes_first() {
        let passed = |on| DigestItem::Passed {
            species: "Japanese beetle".to_owned(),
            milestone: Milestone::Hatch,
            on: day(on),
            by_calendar: false,
        };
        let of_sites = [
            ("east", vec![passed("2026-07-07")]),
            ("west", vec![passed("2026-07-07"), COUNT]),
            ("north", vec![passed("2026-07-09")]),
        ];
        let of_sites = of_sites.map(|(site, items)| (site.to_owned(), items));
        let digest = Digest::of(of_sites.into_iter());
        let seen: Vec<(bool, Vec<&str>)> = digest
            .items
            .iter()
            .map(|(item, sites)| {
                let sites = sites.iter().map(String::as_str).collect();
                (*item == COUNT, sites)
            })
            .collect();
        let expected = [
            (true, vec!["west"]),
            (false, vec!["east", "west"]),
            (false, vec!["north"]),
        ];
        assert_eq!(seen, expected);
        assert!(!digest.has_no_news());
        let count = [("west".to_owned(), vec![COUNT])];
        assert!(Digest::of(count.into_iter()).has_no_news());
    }
}
