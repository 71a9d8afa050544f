//! What can be wrong with a station's feed, and when its data are stale.

use crate::domain::place::site::Station;
use chrono::NaiveDate;

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
