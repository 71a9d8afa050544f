//! What a season has had of an option, against the most that the user's label allows.

use super::{Application, Entry, JournalAction};
use crate::domain::journal::amount::{Rate, SeasonTotal, season_total};
use crate::domain::phenology::season::Season;

/// What a season has had of one option at one site.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonUse {
    /// How often it was spread.
    pub times: usize,
    /// Numbers of the applications without a rate, which no sum holds.
    pub without_rate: Vec<i64>,
    /// Numbers of the applications whose rate is of another kind than the maximum, which no sum holds.
    pub not_comparable: Vec<i64>,
    /// The most a season may have, the smallest stated this season, else the latest.
    pub most: Option<Rate>,
    /// The sum of the rates against it; `None` without a maximum, or without any rate.
    pub total: Option<SeasonTotal>,
}

/// What a season has had of an option, by the entries of one site.
///
/// # Method
/// The rates of the season's applications by [`season_total`]. The maximum is the
/// smallest stated this season, else that of the latest application that has one.
///
/// # Units
/// As [`season_total`].
///
/// # Valid range
/// Two products with one active ingredient count as one, with the smallest maximum.
///
/// # References
/// Arithmetic; the maximum is the one on the user's own label.
///
/// # Examples
/// ```
/// use hatchbell::domain::journal::amount::SeasonTotal;
/// use hatchbell::domain::journal::{Application, JournalAction, Entry, season_use};
/// use hatchbell::domain::phenology::season::{MonthDay, Season};
///
/// let spread = Application {
///     option: "imidacloprid".into(),
///     area: "450 m2".parse().unwrap(),
///     rate: Some("3 oz/1000ft2".parse().unwrap()),
///     most_a_season: Some("4 oz/1000ft2".parse().unwrap()),
///     record: Default::default(),
/// };
/// let entry = Entry {
///     number: 1,
///     site: "lawn".into(),
///     day: "2026-06-08".parse().unwrap(),
///     action: JournalAction::Application(spread),
///     remark: None,
/// };
/// let season = Season::containing(entry.day, MonthDay::parse("01-01").unwrap());
/// let used = season_use(&[entry], "imidacloprid", &season);
/// assert!(matches!(used.total, Some(SeasonTotal::Within(share)) if (share - 0.75).abs() < 1e-12));
/// ```
pub fn season_use(entries: &[Entry], option: &str, season: &Season) -> SeasonUse {
    let of_option = || {
        entries.iter().filter_map(|entry| match &entry.action {
            JournalAction::Application(spread) if spread.option == option => Some((entry, spread)),
            _ => None,
        })
    };
    let in_season: Vec<(&Entry, &Application)> = of_option()
        .filter(|(entry, _)| (season.start..=season.end).contains(&entry.day))
        .collect();
    let rates: Vec<Rate> = in_season
        .iter()
        .filter_map(|(_, spread)| spread.rate)
        .collect();
    let latest = of_option()
        .filter_map(|(entry, spread)| Some(((entry.day, entry.number), spread.most_a_season?)))
        .max_by_key(|(place, _)| *place)
        .map(|(_, most)| most);
    let most = in_season
        .iter()
        .filter_map(|(_, spread)| spread.most_a_season)
        .min_by(|a, b| a.per_m2().total_cmp(&b.per_m2()))
        .or(latest);
    SeasonUse {
        times: in_season.len(),
        without_rate: in_season
            .iter()
            .filter(|(_, spread)| spread.rate.is_none())
            .map(|(entry, _)| entry.number)
            .collect(),
        not_comparable: in_season
            .iter()
            .filter(|(_, spread)| {
                let kinds = spread.rate.zip(most);
                kinds.is_some_and(|(rate, most)| rate.kind() != most.kind())
            })
            .map(|(entry, _)| entry.number)
            .collect(),
        most,
        total: most
            .filter(|_| !rates.is_empty())
            .map(|most| season_total(&rates, most)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::phenology::season::MonthDay;

    fn rate(text: &str) -> Option<Rate> {
        Some(text.parse().unwrap())
    }

    fn spread(number: i64, on: &str, of: Option<Rate>, most: Option<Rate>) -> Entry {
        Entry {
            number,
            site: "lawn".into(),
            day: on.parse().unwrap(),
            action: JournalAction::Application(Application {
                option: "imidacloprid".into(),
                area: "450 m2".parse().unwrap(),
                rate: of,
                most_a_season: most,
                record: Default::default(),
            }),
            remark: None,
        }
    }

    fn used(entries: &[Entry]) -> SeasonUse {
        let january = MonthDay::parse("01-01").unwrap();
        season_use(entries, "imidacloprid", &Season::starting_in(2026, january))
    }

    #[test]
    fn only_this_seasons_applications_of_the_option_add_up() {
        let mut other = spread(3, "2026-06-09", rate("9 kg/ha"), None);
        if let JournalAction::Application(spread) = &mut other.action {
            spread.option = "clothianidin".into();
        }
        let entries = [
            spread(1, "2025-06-08", rate("2 kg/ha"), rate("4 kg/ha")),
            spread(2, "2026-06-08", rate("2 kg/ha"), None),
            other,
            spread(4, "2026-07-01", rate("1 kg/ha"), None),
        ];
        let used = used(&entries);
        assert_eq!(used.times, 2);
        assert_eq!(used.total, Some(SeasonTotal::Within(0.75)));
    }

    #[test]
    fn the_smallest_maximum_stated_this_season_holds() {
        let entries = [
            spread(1, "2026-06-08", rate("2 kg/ha"), rate("4 kg/ha")),
            spread(9, "2026-05-20", rate("2 kg/ha"), rate("3 kg/ha")),
            spread(3, "2026-07-01", None, None),
        ];
        assert_eq!(used(&entries).most, rate("3 kg/ha"));
    }

    #[test]
    fn an_application_in_a_unit_of_another_kind_is_named_whatever_the_others_add_up_to() {
        for of in ["3 kg/ha", "5 kg/ha"] {
            let used = used(&[
                spread(7, "2026-06-08", rate(of), rate("4 kg/ha")),
                spread(8, "2026-06-09", rate("2 l/ha"), None),
                spread(9, "2026-06-10", None, None),
            ]);
            assert_eq!(used.not_comparable, [8], "{of}");
            assert_eq!(used.without_rate, [9], "{of}");
        }
    }

    #[test]
    fn an_application_without_a_rate_is_named_and_not_taken_for_nothing() {
        let most = rate("4 kg/ha");
        let alone = used(&[spread(7, "2026-06-08", None, most)]);
        assert_eq!((alone.total, alone.without_rate), (None, vec![7]));
        let beside = used(&[
            spread(7, "2026-06-08", None, most),
            spread(8, "2026-06-09", rate("4 kg/ha"), None),
        ]);
        assert_eq!(beside.total, Some(SeasonTotal::Within(1.0)));
        assert_eq!(beside.without_rate, [7]);
    }
}
