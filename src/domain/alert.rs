//! What to record and whom to tell: decisions, not deliveries.
//!
//! The promise: every milestone is recorded once per site, species and season and told at least
//! once; what happened before watching began is recorded and never told; one correction is sent
//! when a told date moves by [`CORRECTION_DAYS`] or more.

use super::blend::Part;
use super::coverage::Window;
use super::foretell::Early;
use super::milestone::{Crossing, Expectation, Hold, Milestone, Standing};
use super::need::Need;
use super::plan::{Advice, Spread};
use super::site::{Channel, Member, Recipient, Site, Station};
use super::species::Species;
use super::treatment::TreatmentOption;
use super::watering::{Watering, Wet};
use chrono::NaiveDate;

/// A told date that moves by at least this many days is corrected once.
pub const CORRECTION_DAYS: i64 = 2;

/// A station whose newest day lags behind its usual lag by more than this many days is stale.
pub const STALE_GRACE_DAYS: i64 = 3;

/// A crossing as the store has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recorded {
    /// Which milestone.
    pub milestone: Milestone,
    /// The date that was recorded first.
    pub on: NaiveDate,
    /// Whether people were told.
    pub told: bool,
    /// The date a correction has given, if one was sent.
    pub corrected_to: Option<NaiveDate>,
    /// Whether it was taken back: corrected days no longer reach it.
    pub withdrawn: bool,
}

/// What follows from a standing and what is already recorded.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Decision {
    /// Watching starts now, with data through this day.
    pub watch_from: Option<NaiveDate>,
    /// Crossings to record, and whether to tell people.
    pub record: Vec<(Crossing, bool)>,
    /// Corrections to send: the milestone as it was told, and the crossing as it stands.
    pub correct: Vec<(Recorded, Crossing)>,
    /// Told milestones to take back: the days as they stand do not reach them.
    pub withdraw: Vec<Recorded>,
}

/// Decides what to record, tell and correct for one site and species.
///
/// `watched_from` is the data-through day of the first evaluation that had data: everything up to
/// it is history, everything later is told, however late it is found.
pub fn decide(
    standing: &Standing,
    recorded: &[Recorded],
    watched_from: Option<NaiveDate>,
    today: NaiveDate,
) -> Decision {
    let Some(data_through) = standing.data_through.or(watched_from) else {
        return Decision::default();
    };
    let first_time = watched_from.is_none();
    let mut decision = Decision {
        watch_from: first_time.then_some(data_through),
        ..Decision::default()
    };
    for crossing in &standing.crossings {
        match recorded.iter().find(|r| r.milestone == crossing.milestone) {
            None => {
                let history = match watched_from {
                    None => crossing.on <= today,
                    Some(from) => crossing.on <= from,
                };
                decision.record.push((*crossing, !history));
            }
            Some(known) if needs_correction(known, crossing) => {
                decision.correct.push((*known, *crossing));
            }
            Some(_) => {}
        }
    }
    decision.withdraw = recorded
        .iter()
        .filter(|known| no_longer_reached(known, standing, data_through))
        .copied()
        .collect();
    decision
}

/// Whether a told milestone is not reached by days that are all known and go beyond it.
fn no_longer_reached(known: &Recorded, standing: &Standing, data_through: NaiveDate) -> bool {
    known.told
        && !known.withdrawn
        && known.corrected_to.is_none()
        && known.milestone != Milestone::WindowEnd
        && standing.hold.is_none()
        && (data_through - known.on).num_days() >= CORRECTION_DAYS
        && !standing
            .crossings
            .iter()
            .any(|crossing| crossing.milestone == known.milestone)
}

fn needs_correction(known: &Recorded, crossing: &Crossing) -> bool {
    known.told
        && known.corrected_to.is_none()
        && (known.withdrawn || (crossing.on - known.on).num_days().abs() >= CORRECTION_DAYS)
}

/// Whether a station's data are stale on `today`, given its newest complete day.
pub fn is_stale(station: &Station, newest: Option<NaiveDate>, today: NaiveDate) -> bool {
    newest.is_none_or(|day| {
        (today - day).num_days() > i64::from(station.usual_lag_days) + STALE_GRACE_DAYS
    })
}

/// One thing to tell about a site.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice<'a> {
    /// The member whose site it is.
    pub member: &'a Member,
    /// The site.
    pub site: &'a Site,
    /// The station its temperatures come from; the first one where there are several.
    pub station: &'a Station,
    /// What each of several stations gave to the newest days, and neighbours to missing ones; empty
    /// where all is measured at one station.
    pub parts: &'a [Part],
    /// Whether to treat at all, where that is known.
    pub need: Option<Need>,
    /// What happened.
    pub kind: NoticeKind<'a>,
}

/// What there is to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum NoticeKind<'a> {
    /// A milestone was passed.
    Passed {
        /// Of which species.
        species: &'a Species,
        /// The milestone and its date.
        crossing: Crossing,
        /// Data through this day.
        data_through: Option<NaiveDate>,
        /// What comes next.
        next: Option<Expectation>,
        /// Milestones passed so far this season, this one included.
        passed: Vec<Milestone>,
        /// Days from the milestone to the day it is told.
        days_ago: i64,
    },
    /// A told milestone is taken back.
    Withdrawn {
        /// Of which species.
        species: &'a Species,
        /// Which milestone.
        milestone: Milestone,
        /// The date that was told.
        told: NaiveDate,
        /// Data through this day.
        data_through: Option<NaiveDate>,
    },
    /// Milestones of a species are held back.
    Held {
        /// Of which species.
        species: &'a Species,
        /// Why.
        hold: Hold,
    },
    /// They are no longer held back.
    Released {
        /// Of which species.
        species: &'a Species,
    },
    /// A milestone is foretold.
    Foretold {
        /// Of which species.
        species: &'a Species,
        /// What is told.
        early: Early,
    },
    /// A told date has moved.
    Moved {
        /// Of which species.
        species: &'a Species,
        /// The date that was told.
        told: NaiveDate,
        /// The crossing as it stands now.
        crossing: Crossing,
        /// Data through this day.
        data_through: Option<NaiveDate>,
    },
    /// A treatment step is due.
    Treatment(Box<TreatmentNotice<'a>>),
    /// The larvae are large enough to be counted and not yet too large.
    CountNow {
        /// Of which species.
        species: &'a Species,
        /// What the turf bears, larvae per m².
        borne: (f64, f64),
    },
    /// How an application stands with its water.
    Water {
        /// What was spread.
        option: &'a TreatmentOption,
        /// How it stands.
        watering: Watering,
        /// Why this is no day to water.
        wet: Option<Wet>,
    },
    /// The station has stopped sending days.
    Stale {
        /// Its newest complete day.
        newest: Option<NaiveDate>,
    },
    /// A stale station sends days again.
    Fresh {
        /// Its newest complete day.
        newest: NaiveDate,
    },
}

/// What to tell of the treatment of a species at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct TreatmentNotice<'a> {
    /// Against which species.
    pub species: &'a Species,
    /// Why to treat at all.
    pub need: Need,
    /// The steps due, the option that meets most first.
    pub advice: Vec<Advice>,
    /// Options of the site's choice that are still in time.
    pub instead: Vec<Instead>,
    /// What was spread this season.
    pub spread: Vec<Spread<'a>>,
    /// Why this is no day to spread.
    pub wet: Option<Wet>,
}

/// An option that is still in time.
#[derive(Debug, Clone, PartialEq)]
pub struct Instead {
    /// Its name.
    pub name: String,
    /// The days worth it.
    pub window: Window,
    /// What the best day left would meet, mean, 0 to 1.
    pub share: f64,
}

impl NoticeKind<'_> {
    fn species_id(&self) -> Option<&str> {
        match self {
            NoticeKind::Passed { species, .. }
            | NoticeKind::Foretold { species, .. }
            | NoticeKind::Withdrawn { species, .. }
            | NoticeKind::Held { species, .. }
            | NoticeKind::Released { species }
            | NoticeKind::CountNow { species, .. }
            | NoticeKind::Moved { species, .. } => Some(&species.id),
            NoticeKind::Treatment(notice) => Some(&notice.species.id),
            NoticeKind::Water { .. } | NoticeKind::Stale { .. } | NoticeKind::Fresh { .. } => None,
        }
    }
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
}

impl Trouble {
    /// Every trouble with the name it has in the store.
    pub const NAMED: [(&'static str, Trouble); 7] = [
        ("went-back", Trouble::WentBack),
        ("shrunk", Trouble::Shrunk),
        ("header", Trouble::Header),
        ("refused", Trouble::Refused),
        ("unreachable", Trouble::Unreachable),
        ("outlier", Trouble::Outlier),
        ("frozen", Trouble::Frozen),
    ];

    /// The name in the store.
    pub fn name(self) -> &'static str {
        super::name_of(&Self::NAMED, self)
    }

    /// The trouble a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        super::named(&Self::NAMED, name)
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

/// The notices that one recipient gets through one channel in one message.
#[derive(Debug, Clone, PartialEq)]
pub struct Bundle<'n, 'a> {
    /// Who is told.
    pub recipient: &'a Recipient,
    /// By which way.
    pub channel: Channel,
    /// What they are told.
    pub notices: Vec<&'n Notice<'a>>,
}

/// Sorts notices into one message per recipient and channel. Recipients hear of their own
/// member's sites only.
pub fn bundles<'n, 'a>(members: &'a [Member], notices: &'n [Notice<'a>]) -> Vec<Bundle<'n, 'a>> {
    let mut bundles = Vec::new();
    for member in members {
        for recipient in &member.recipients {
            let wanted: Vec<&Notice<'a>> = notices
                .iter()
                .filter(|notice| notice.member.id == member.id)
                .filter(|notice| recipient.hears_of(&notice.site.id, notice.kind.species_id()))
                .collect();
            if wanted.is_empty() {
                continue;
            }
            bundles.extend(recipient.channels.iter().map(|channel| Bundle {
                recipient,
                channel: *channel,
                notices: wanted.clone(),
            }));
        }
    }
    bundles
}
