//! Guarding the intake: what a file's look says, what is told of it, and when it is over.

use super::{Engine, Report};
use crate::config::{Config, StationFeed};
use crate::domain::telling::feed_trouble::{FeedNotice, STALE_GRACE_DAYS, Trouble, is_stale};
use crate::domain::weather::reading::Readings;
use crate::feed::fetch::Origin;
use crate::feed::guard::{
    FileProfile, Finding, HeldValue, compare, take_out, to_hold, unlikely, value_name,
};
use crate::feed::reader::IntakeError;
use crate::notify::wording::feed_message;
use crate::store::StoreError;
use crate::store::findings::{Changes, KnownFinding};
use crate::store::outbox::Draft;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use tracing::{info, warn};

/// A feed that has failed for so long is told; servers are down for a night now and then.
const UNREACHABLE_AFTER: TimeDelta = TimeDelta::days(2);

/// Values named in one message; more are counted.
const VALUES_SHOWN: usize = 3;

/// What the guards say of a file.
pub(super) struct Guarded {
    findings: Vec<Finding>,
    profile: FileProfile,
    held: Vec<HeldValue>,
    /// What became of values that were held before.
    released: String,
}

impl Guarded {
    /// Whether values are held, so that the file must be looked at again.
    pub fn holds(&self) -> bool {
        !self.held.is_empty()
    }
}

/// What a look at a feed has found.
struct Looked<'a> {
    /// The troubles it could see; those of them that were not found are over.
    judged: &'a [Trouble],
    found: &'a [Finding],
    profile: Option<&'a FileProfile>,
    held: Option<&'a [HeldValue]>,
    /// What became of held values.
    released: &'a str,
}

impl Engine {
    /// Holds a file against the last good one and the station's climate, and takes what is held
    /// out of its readings. `profile` comes with whether the file is read as the last one was.
    pub(super) fn guard(
        &self,
        feed: &StationFeed,
        readings: &mut Readings,
        stored: &Readings,
        (profile, same): (FileProfile, bool),
        now: DateTime<Utc>,
    ) -> Result<Guarded, StoreError> {
        let id = &feed.station.id;
        let last = self.store.profile(id)?.filter(|_| same);
        let shrunk_since = self
            .store
            .open_findings(id)?
            .iter()
            .find(|known| known.trouble == Trouble::Shrunk)
            .map(|known| known.since);
        let mut comparison = compare(
            readings,
            profile,
            last.as_ref(),
            &feed.binding,
            shrunk_since,
            now,
        );
        if let Some(remark) = comparison.remark {
            info!(station = id, "the header has changed: {remark}");
        }
        let before = self.store.held_values(id)?;
        let strange = unlikely(readings, stored);
        let neighbours = match strange.first() {
            Some(first) => self.neighbours_since(feed, first.day)?,
            None => Vec::new(),
        };
        let held = to_hold(&strange, &before, &neighbours, now);
        let released = released(&before, &held, readings);
        take_out(readings, &held);
        if !held.is_empty() {
            let words: Vec<String> = strange
                .iter()
                .filter(|one| {
                    held.iter()
                        .any(|held| held.day == one.day && held.element == one.element)
                })
                .map(|one| one.in_words())
                .collect();
            comparison.findings.push(Finding {
                trouble: Trouble::Outlier,
                what: format!("The file says: {}.", some(&words)),
            });
        }
        Ok(Guarded {
            findings: comparison.findings,
            profile: comparison.keep,
            held,
            released,
        })
    }

    fn neighbours_since(
        &self,
        feed: &StationFeed,
        day: NaiveDate,
    ) -> Result<Vec<Readings>, StoreError> {
        feed.station
            .neighbours
            .iter()
            .map(|id| self.store.readings_since(id, day))
            .collect()
    }

    /// Notes a file that was taken in.
    pub(super) fn arrived(
        &mut self,
        feed: &StationFeed,
        guarded: Guarded,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let mut found = guarded.findings;
        found.extend(self.frozen(feed, now)?);
        self.note(
            feed,
            &Looked {
                judged: &Trouble::NAMED.map(|(_, trouble)| trouble),
                found: &found,
                profile: Some(&guarded.profile),
                held: Some(&guarded.held),
                released: &guarded.released,
            },
            now,
            report,
        )
    }

    /// Notes that the file is the one that was taken in last.
    pub(super) fn arrived_unchanged(
        &mut self,
        feed: &StationFeed,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let found: Vec<Finding> = self.frozen(feed, now)?.into_iter().collect();
        let looked = Looked {
            judged: &[Trouble::Refused, Trouble::Unreachable, Trouble::Frozen],
            found: &found,
            profile: None,
            held: None,
            released: "",
        };
        self.note(feed, &looked, now, report)
    }

    /// Notes that no file arrived, or one that was refused.
    pub(super) fn did_not_arrive(
        &mut self,
        feed: &StationFeed,
        error: &IntakeError,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let refused = matches!(error, IntakeError::Refused { .. });
        let failing_since = self.store.feed(&feed.station.id)?.failing_since;
        let known = self.store.open_findings(&feed.station.id)?;
        let told = known.iter().any(|known| known.trouble == Trouble::Refused);
        let long = failing_since.is_some_and(|since| now - since >= UNREACHABLE_AFTER);
        let trouble = match (refused, told) {
            (true, _) => Some(Trouble::Refused),
            (false, false) if long => Some(Trouble::Unreachable),
            _ => None,
        };
        let found: Vec<Finding> = trouble
            .map(|trouble| Finding {
                trouble,
                what: format!("{error}."),
            })
            .into_iter()
            .collect();
        // What cannot be reached may still be what would be refused.
        let judged: &[Trouble] = if refused {
            &[Trouble::Refused, Trouble::Unreachable]
        } else {
            &[]
        };
        let looked = Looked {
            judged,
            found: &found,
            profile: None,
            held: None,
            released: "",
        };
        self.note(feed, &looked, now, report)
    }

    /// A feed that arrives but whose newest day is older than it should be.
    fn frozen(
        &self,
        feed: &StationFeed,
        now: DateTime<Utc>,
    ) -> Result<Option<Finding>, StoreError> {
        let today = now.date_naive();
        let Some(newest) = self.store.newest_day(&feed.station.id)? else {
            return Ok(None);
        };
        if !is_stale(&feed.station, Some(newest), today) {
            return Ok(None);
        }
        let cause = match feed.origin {
            Origin::Url(_) => {
                "The station's id has likely been renamed or retired: services go on serving the old file."
            }
            Origin::File(_) => "Whatever writes the file has likely stopped.",
            Origin::ByHand => return Ok(None),
        };
        Ok(Some(Finding {
            trouble: Trouble::Frozen,
            what: format!(
                "The file arrives without error, but the newest whole day is {}, {} days ago; up to {} are usual. {cause}",
                newest.format("%-d %B %Y"),
                (today - newest).num_days(),
                i64::from(feed.station.usual_lag_days) + STALE_GRACE_DAYS
            ),
        }))
    }

    /// Writes down what begins, goes on and is over, and tells the operator of the first and last.
    fn note(
        &mut self,
        feed: &StationFeed,
        looked: &Looked<'_>,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let station = &feed.station;
        let known = self.store.open_findings(&station.id)?;
        let is_known =
            |finding: &&Finding| known.iter().any(|known| known.trouble == finding.trouble);
        let (going_on, begun): (Vec<&Finding>, Vec<&Finding>) =
            looked.found.iter().partition(is_known);
        let over: Vec<&KnownFinding> = known
            .iter()
            .filter(|known| {
                looked.judged.contains(&known.trouble)
                    && !looked.found.iter().any(|f| f.trouble == known.trouble)
            })
            .collect();
        for finding in &begun {
            let (id, trouble) = (&station.id, finding.trouble.name());
            warn!(station = id, trouble, "begins: {}", finding.what);
        }
        for known in &over {
            let (id, trouble) = (&station.id, known.trouble.name());
            warn!(station = id, trouble, "over: {}", ended(known, looked));
        }
        let begins = begun.iter().map(|finding| FeedNotice {
            station,
            trouble: finding.trouble,
            what: finding.what.clone(),
            begins: true,
        });
        let ends = over.iter().map(|known| FeedNotice {
            station,
            trouble: known.trouble,
            what: ended(known, looked),
            begins: false,
        });
        let notices: Vec<FeedNotice<'_>> = begins.chain(ends).collect();
        let drafts = operator_drafts(&self.config, &notices);
        report.messages += drafts.len();
        let changes = Changes {
            begun,
            going_on,
            over: over.iter().map(|known| known.trouble).collect(),
            profile: looked.profile,
            held: looked.held,
        };
        self.store
            .note_findings(&station.id, &changes, &drafts, now)
    }
}

/// What to say of a finding that is over.
fn ended(known: &KnownFinding, looked: &Looked<'_>) -> String {
    if known.trouble == Trouble::Outlier && !looked.released.is_empty() {
        return looked.released.to_owned();
    }
    format!(
        "What was found on {} is over. It was: {}",
        known.since.format("%-d %B"),
        known.what
    )
}

/// What became of values that were held and are no longer.
fn released(before: &[HeldValue], held: &[HeldValue], readings: &Readings) -> String {
    let words: Vec<String> = before
        .iter()
        .filter(|old| {
            !held
                .iter()
                .any(|held| held.day == old.day && held.element == old.element)
        })
        .map(|old| {
            let name = value_name(old.day, old.element);
            let now = readings
                .get(&old.day)
                .and_then(|reading| old.element.of(reading));
            match now {
                Some(now) => format!(
                    "{name} was held at {:.1} °C and is taken in at {now:.1} °C",
                    old.celsius
                ),
                None => format!(
                    "{name} was held at {:.1} °C, and the file no longer says it",
                    old.celsius
                ),
            }
        })
        .collect();
    if words.is_empty() {
        return String::new();
    }
    format!("The {}.", some(&words))
}

/// The first few, and how many more there are.
fn some(words: &[String]) -> String {
    let shown = words.iter().take(VALUES_SHOWN).cloned().collect::<Vec<_>>();
    let more = words.len() - shown.len();
    let shown = shown.join("; ");
    if more > 0 {
        format!("{shown}; and {more} more")
    } else {
        shown
    }
}

/// The messages that tell the operator, if the configuration names one.
fn operator_drafts<'c>(config: &'c Config, notices: &[FeedNotice<'_>]) -> Vec<Draft<'c>> {
    let operator = config
        .members
        .iter()
        .flat_map(|member| &member.recipients)
        .find(|recipient| Some(&recipient.id) == config.service.operator.as_ref());
    let Some(operator) = operator.filter(|_| !notices.is_empty()) else {
        return Vec::new();
    };
    operator
        .channels
        .iter()
        .map(|channel| {
            let message = feed_message(&config.service.name, &operator.name, *channel, notices);
            Draft {
                recipient: &operator.id,
                channel: *channel,
                title: message.title,
                body: message.body,
            }
        })
        .collect()
}
