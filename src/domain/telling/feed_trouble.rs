//! What can be wrong with a station's feed, when it begins and when it is over, and when its data are
//! stale.

use crate::domain::place::site::Station;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

/// A feed that has failed for so long is told; servers are down for a night now and then.
pub const UNREACHABLE_AFTER: TimeDelta = TimeDelta::days(2);

/// A station whose newest day lags behind its usual lag by more than this many days is stale.
pub const STALE_GRACE_DAYS: i64 = 3;

/// Whether a station's data are stale on `today`, given its newest complete day.
pub fn is_stale(station: &Station, newest: Option<NaiveDate>, today: NaiveDate) -> bool {
    newest.is_none_or(|day| {
        (today - day).num_days() > i64::from(station.usual_lag_days) + STALE_GRACE_DAYS
    })
}

/// What can be wrong with a feed, for whoever runs hatchbell. Each is told once when it begins and
/// once when it is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trouble {
    /// The file's newest day is older than that of an earlier file.
    WentBack,
    /// Days are gone from the file.
    Shrunk,
    /// The header is another. This is told and over at once.
    Header,
    /// The file arrives and is refused as a whole.
    Refused,
    /// The file has not arrived for days.
    Unreachable,
    /// A value is far outside the station's own climate and is held out of sums.
    Outlier,
    /// The file arrives and no longer grows.
    Frozen,
    /// There is no forecast that may be used, and none has come for days.
    Forecast,
    /// The sensor looks as if it hung in the sun.
    Sunlit,
}

impl Trouble {
    /// Every trouble with the name it has in the store.
    pub const NAMED: [(&'static str, Trouble); 9] = [
        ("went-back", Trouble::WentBack),
        ("shrunk", Trouble::Shrunk),
        ("header", Trouble::Header),
        ("refused", Trouble::Refused),
        ("unreachable", Trouble::Unreachable),
        ("outlier", Trouble::Outlier),
        ("frozen", Trouble::Frozen),
        ("forecast", Trouble::Forecast),
        ("sunlit", Trouble::Sunlit),
    ];

    /// The name in the store.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// The trouble a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        crate::domain::named(&Self::NAMED, name)
    }
}

/// One thing to tell whoever runs hatchbell about a feed.
#[derive(Debug, Clone, PartialEq)]
pub struct FeedNotice<'a> {
    /// The station.
    pub station: &'a Station,
    /// What kind of trouble it is.
    pub trouble: Trouble,
    /// What was seen.
    pub what: String,
    /// Whether it begins or is over.
    pub begins: bool,
}

/// Something that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What kind of trouble it is.
    pub trouble: Trouble,
    /// What was seen, in a sentence or two.
    pub what: String,
}

/// A finding that is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KnownFinding {
    /// What kind of trouble it is.
    pub trouble: Trouble,
    /// What was seen.
    pub what: String,
    /// Since when.
    pub since: DateTime<Utc>,
}

/// Why no file was taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failure {
    /// One arrived and was refused.
    Refused,
    /// None has arrived since then.
    NotArrived {
        /// The first attempt of those that have failed one after the other, if it is known.
        since: Option<DateTime<Utc>>,
    },
}

/// What a look at a feed has found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeedCheck {
    /// The troubles it could see; those of them that were not found are over.
    judged: Vec<Trouble>,
    found: Vec<Finding>,
    /// What became of held values.
    released: String,
    /// Whether values are held that were not before: that is told again while others are held.
    holds_more: bool,
}

impl FeedCheck {
    /// A file was taken in: everything but the forecast could be seen. `released` says what became of values that
    /// were held, empty if nothing did; `holds_more` whether others are held now.
    pub fn of_new_file(found: Vec<Finding>, released: String, holds_more: bool) -> Self {
        Self {
            judged: Trouble::NAMED
                .map(|(_, trouble)| trouble)
                .into_iter()
                .filter(|trouble| *trouble != Trouble::Forecast)
                .collect(),
            found,
            released,
            holds_more,
        }
    }

    /// The forecast was asked for: nothing else could be seen.
    pub fn of_forecast(found: Option<Finding>) -> Self {
        Self {
            judged: vec![Trouble::Forecast],
            found: found.into_iter().collect(),
            released: String::new(),
            holds_more: false,
        }
    }

    /// The file is the one that was taken in last: it arrives, is not refused, and may be frozen.
    pub fn of_known_file(frozen: Option<Finding>) -> Self {
        Self {
            judged: vec![Trouble::Refused, Trouble::Unreachable, Trouble::Frozen],
            found: frozen.into_iter().collect(),
            released: String::new(),
            holds_more: false,
        }
    }

    /// No file arrived, or one that was refused; `what` says why. `known` are the findings that are
    /// not over.
    pub fn of_failure(
        failure: Failure,
        what: String,
        known: &[KnownFinding],
        now: DateTime<Utc>,
    ) -> Self {
        let is_known = |trouble| known.iter().any(|known| known.trouble == trouble);
        let (trouble, judged) = match failure {
            Failure::Refused => (
                Some(Trouble::Refused),
                vec![Trouble::Refused, Trouble::Unreachable],
            ),
            // What cannot be reached may still be what would be refused.
            Failure::NotArrived { since } => {
                let long = since.is_some_and(|since| now - since >= UNREACHABLE_AFTER);
                let told = is_known(Trouble::Refused);
                ((long && !told).then_some(Trouble::Unreachable), Vec::new())
            }
        };
        Self {
            judged,
            found: trouble
                .map(|trouble| Finding { trouble, what })
                .into_iter()
                .collect(),
            released: String::new(),
            holds_more: false,
        }
    }

    /// What changes for findings that are known and not over.
    pub fn against<'c>(&'c self, known: &'c [KnownFinding]) -> TroubleChanges<'c> {
        let is_known =
            |finding: &&Finding| known.iter().any(|known| known.trouble == finding.trouble);
        let (going_on, begun): (Vec<&Finding>, Vec<&Finding>) =
            self.found.iter().partition(is_known);
        let again = going_on
            .iter()
            .filter(|finding| self.holds_more && finding.trouble == Trouble::Outlier)
            .copied()
            .collect();
        let over = known
            .iter()
            .filter(|known| {
                self.judged.contains(&known.trouble)
                    && !self.found.iter().any(|f| f.trouble == known.trouble)
            })
            .map(|known| Finding {
                trouble: known.trouble,
                what: self.ended(known),
            })
            .collect();
        TroubleChanges {
            begun,
            going_on,
            again,
            over,
        }
    }

    /// What to say of a finding that is over.
    fn ended(&self, known: &KnownFinding) -> String {
        if known.trouble == Trouble::Outlier && !self.released.is_empty() {
            return self.released.clone();
        }
        format!(
            "What was found on {} is over. It was: {}",
            known.since.format("%-d %B %Y"),
            known.what
        )
    }
}

/// What begins, goes on and is over.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct TroubleChanges<'a> {
    /// Findings that begin.
    pub begun: Vec<&'a Finding>,
    /// Findings that go on, with what is seen now.
    pub going_on: Vec<&'a Finding>,
    /// Those of them that are told again, because there is more.
    pub again: Vec<&'a Finding>,
    /// Troubles that are over, with what to say of each.
    pub over: Vec<Finding>,
}

impl TroubleChanges<'_> {
    /// What to tell whoever runs hatchbell.
    pub fn notices<'s>(&self, station: &'s Station) -> Vec<FeedNotice<'s>> {
        let notice = |finding: &Finding, begins| FeedNotice {
            station,
            trouble: finding.trouble,
            what: finding.what.clone(),
            begins,
        };
        let begun = self.begun.iter().chain(&self.again);
        let begins = begun.map(|finding| notice(finding, true));
        begins
            .chain(self.over.iter().map(|finding| notice(finding, false)))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn known(trouble: Trouble) -> KnownFinding {
        KnownFinding {
            trouble,
            what: "As it was seen.".into(),
            since: at("2026-06-10T06:00:00Z"),
        }
    }

    fn found(trouble: Trouble) -> Finding {
        Finding {
            trouble,
            what: "As it is seen.".into(),
        }
    }

    fn over(changes: &TroubleChanges<'_>) -> Vec<Trouble> {
        changes.over.iter().map(|over| over.trouble).collect()
    }

    fn all_known() -> Vec<KnownFinding> {
        Trouble::NAMED
            .iter()
            .map(|(_, trouble)| known(*trouble))
            .collect()
    }

    #[test]
    fn a_feed_that_does_not_arrive_is_told_from_the_second_day_on() {
        let since = at("2026-06-10T12:00:00Z");
        let on = |now: &str, known: &[KnownFinding]| {
            let failure = Failure::NotArrived { since: Some(since) };
            let check = FeedCheck::of_failure(failure, "Gone.".into(), known, at(now));
            let begun = check.against(known).begun.into_iter();
            begun.map(|begun| begun.trouble).collect::<Vec<_>>()
        };
        assert_eq!(on("2026-06-12T11:59:59Z", &[]), []);
        assert_eq!(on("2026-06-12T12:00:00Z", &[]), [Trouble::Unreachable]);
        let refused = [known(Trouble::Refused)];
        assert_eq!(on("2026-06-20T12:00:00Z", &refused), []);
        let never = Failure::NotArrived { since: None };
        let check = FeedCheck::of_failure(never, "Gone.".into(), &[], since);
        assert!(check.against(&[]).begun.is_empty());
    }

    #[test]
    fn a_file_that_does_not_arrive_ends_nothing() {
        let failure = Failure::NotArrived { since: None };
        let now = at("2026-06-20T12:00:00Z");
        let known = all_known();
        let check = FeedCheck::of_failure(failure, "Gone.".into(), &known, now);
        assert_eq!(over(&check.against(&known)), []);
    }

    #[test]
    fn a_refused_file_has_arrived_and_says_nothing_of_other_troubles() {
        let now = at("2026-06-20T12:00:00Z");
        let known = all_known();
        let check = FeedCheck::of_failure(Failure::Refused, "Torn.".into(), &known, now);
        let changes = check.against(&known);
        assert_eq!(over(&changes), [Trouble::Unreachable]);
        assert_eq!(changes.going_on[0].what, "Torn.");
        assert!(changes.begun.is_empty());
    }

    #[test]
    fn the_known_file_ends_what_its_arrival_can_end() {
        let known = all_known();
        let still = FeedCheck::of_known_file(Some(found(Trouble::Frozen)));
        let changes = still.against(&known);
        assert_eq!(over(&changes), [Trouble::Refused, Trouble::Unreachable]);
        assert_eq!(changes.going_on, [&found(Trouble::Frozen)]);
        let grown = FeedCheck::of_known_file(None);
        let changes = grown.against(&known);
        assert_eq!(over(&changes).last(), Some(&Trouble::Frozen));
    }

    #[test]
    fn a_new_file_ends_every_trouble_that_is_not_found_in_it() {
        let known = all_known();
        let check = FeedCheck::of_new_file(vec![found(Trouble::Shrunk)], String::new(), false);
        let changes = check.against(&known);
        assert_eq!(changes.over.len(), known.len() - 2);
        assert!(!over(&changes).contains(&Trouble::Shrunk));
        assert!(!over(&changes).contains(&Trouble::Forecast));
    }

    #[test]
    fn a_forecast_ends_and_begins_nothing_but_its_own_trouble() {
        let known = all_known();
        let good = FeedCheck::of_forecast(None);
        assert_eq!(over(&good.against(&known)), [Trouble::Forecast]);
        let bad = FeedCheck::of_forecast(Some(found(Trouble::Forecast)));
        assert_eq!(over(&bad.against(&known)), []);
        assert_eq!(bad.against(&[]).begun, [&found(Trouble::Forecast)]);
    }

    #[test]
    fn values_that_are_held_anew_are_told_while_others_are_held() {
        let known = [known(Trouble::Outlier), known(Trouble::Shrunk)];
        let found = vec![found(Trouble::Outlier), found(Trouble::Shrunk)];
        let told = |holds_more: bool| -> Vec<Trouble> {
            let check = FeedCheck::of_new_file(found.clone(), String::new(), holds_more);
            let changes = check.against(&known);
            assert_eq!(changes.going_on.len(), 2);
            changes.again.iter().map(|again| again.trouble).collect()
        };
        assert_eq!(told(true), [Trouble::Outlier]);
        assert_eq!(told(false), []);
    }

    #[test]
    fn what_is_over_says_what_it_was_and_of_held_values_what_became_of_them() {
        let known = [known(Trouble::Outlier), known(Trouble::Refused)];
        let check = FeedCheck::of_new_file(Vec::new(), "It is taken in.".into(), false);
        let changes = check.against(&known);
        assert_eq!(changes.over[0].what, "It is taken in.");
        let plain = "What was found on 10 June 2026 is over. It was: As it was seen.";
        assert_eq!(changes.over[1].what, plain);
        let check = FeedCheck::of_new_file(Vec::new(), String::new(), false);
        assert_eq!(check.against(&known).over[0].what, plain);
    }
}
