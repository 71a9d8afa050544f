//! When and of what a recipient hears: topics, quiet hours, a pause, and the hours of digests.
//!
//! Hours are the recipient's own, in a zone of the IANA time zone database. Clocks are put forward and
//! back, so an hour may be missing from a day or come twice:
//!
//! * a time that does not exist stands for the first instant after the gap;
//! * of a time that comes twice, quiet hours begin at the first and end at the second, so that they are
//!   never cut short; a pause ends and a digest is due at the first.

use chrono::{
    DateTime, Datelike, Days, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc,
    Weekday,
};
use chrono_tz::{GapInfo, Tz};
use thiserror::Error;

/// A kind of thing that people are told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Topic {
    /// What is to be done, and by when.
    Work,
    /// Milestones ahead and passed.
    Milestones,
    /// What can wait, in one message.
    Digest,
    /// Whether temperatures arrive.
    Data,
}

impl Topic {
    /// Every topic with the name it has in configuration files.
    pub const NAMED: [(&'static str, Topic); 4] = [
        ("work", Topic::Work),
        ("milestones", Topic::Milestones),
        ("digest", Topic::Digest),
        ("data", Topic::Data),
    ];
}

/// The topics that a recipient hears of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Topics {
    work: bool,
    milestones: bool,
    digest: bool,
    data: bool,
}

impl Topics {
    /// All of them.
    pub const ALL: Self = Self {
        work: true,
        milestones: true,
        digest: true,
        data: true,
    };

    /// These and no others.
    pub fn only(topics: &[Topic]) -> Self {
        Self {
            work: topics.contains(&Topic::Work),
            milestones: topics.contains(&Topic::Milestones),
            digest: topics.contains(&Topic::Digest),
            data: topics.contains(&Topic::Data),
        }
    }

    /// Whether a topic is among them.
    pub fn hears(self, topic: Topic) -> bool {
        match topic {
            Topic::Work => self.work,
            Topic::Milestones => self.milestones,
            Topic::Digest => self.digest,
            Topic::Data => self.data,
        }
    }
}

impl Default for Topics {
    fn default() -> Self {
        Self::ALL
    }
}

/// How often a digest comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cadence {
    /// Every week.
    Week,
    /// In the weeks with an even number by ISO 8601. A year of 53 weeks has three weeks between its
    /// last and the next year's first.
    TwoWeeks,
}

impl Cadence {
    /// Every cadence with the name it has in configuration files.
    pub const NAMED: [(&'static str, Cadence); 2] =
        [("week", Cadence::Week), ("two-weeks", Cadence::TwoWeeks)];

    /// The time between two digests.
    fn span(self) -> TimeDelta {
        match self {
            Self::Week => TimeDelta::weeks(1),
            Self::TwoWeeks => TimeDelta::weeks(2),
        }
    }

    /// Whether a digest comes in the week of a day.
    fn includes(self, day: NaiveDate) -> bool {
        match self {
            Self::Week => true,
            Self::TwoWeeks => day.iso_week().week().is_multiple_of(2),
        }
    }
}

/// When digests come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DigestRhythm {
    /// How often.
    pub every: Cadence,
    /// On which day.
    pub day: Weekday,
    /// At what time of day.
    pub at: NaiveTime,
    /// Whether they are of the sites of all members, for a coordinator.
    pub all_members: bool,
}

/// Hours of the day in which nothing is sent. They may go past midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuietHours {
    from: NaiveTime,
    to: NaiveTime,
    /// Whether urgent messages are sent all the same.
    pub urgent: bool,
}

/// Why times of day are no quiet hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum QuietHoursError {
    /// They begin when they end.
    #[error("quiet hours that begin and end at the same time are none, or all; give two times")]
    Empty,
    /// There is too little of a day left to send anything in.
    #[error(
        "quiet hours leave less than {} hours of a day in which anything can be sent; shorten them, \
         or give pause_until to hear nothing until a date",
        QuietHours::FEWEST_HOURS_LEFT
    )]
    TooLong,
}

impl QuietHours {
    /// Hours of a day that must be left: more than clocks are ever put forward or back by, or nothing
    /// could be sent on that day.
    const FEWEST_HOURS_LEFT: i64 = 3;

    /// Quiet hours from a time of day to the next time it is `to`.
    ///
    /// # Errors
    /// [`QuietHoursError`] if there are none, or less than three hours are left.
    pub fn new(from: NaiveTime, to: NaiveTime, urgent: bool) -> Result<Self, QuietHoursError> {
        let left = (from - to).num_seconds().rem_euclid(24 * 3600);
        if left == 0 {
            return Err(QuietHoursError::Empty);
        }
        if left < Self::FEWEST_HOURS_LEFT * 3600 {
            return Err(QuietHoursError::TooLong);
        }
        Ok(Self { from, to, urgent })
    }

    /// The end of the quiet hours that an instant lies in.
    fn end(&self, zone: Tz, instant: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let today = instant.with_timezone(&zone).date_naive();
        // Those of yesterday evening, of today, and of a tomorrow that a clock put back has begun.
        let begins = [today - Days::new(1), today, today + Days::new(1)];
        begins.into_iter().find_map(|day| {
            let past_midnight = Days::new(u64::from(self.to < self.from));
            let begin = first_instant(zone, day.and_time(self.from));
            let end = last_instant(zone, (day + past_midnight).and_time(self.to));
            (begin..end).contains(&instant).then_some(end)
        })
    }
}

/// When and of what a recipient hears.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reception {
    /// Of what.
    pub topics: Topics,
    /// When digests come, if any do.
    pub digest: Option<DigestRhythm>,
    /// When nothing is sent.
    pub quiet: Option<QuietHours>,
    /// The zone of these hours and of the pause.
    pub zone: Tz,
    /// Nothing is sent before the beginning of this day.
    pub pause_until: Option<NaiveDate>,
}

impl Default for Reception {
    /// Everything at any hour, and no digests.
    fn default() -> Self {
        Self {
            topics: Topics::ALL,
            digest: None,
            quiet: None,
            zone: Tz::UTC,
            pause_until: None,
        }
    }
}

impl Reception {
    /// From when on a message of `now` may be sent: now, or the end of the pause or of quiet hours.
    /// What is urgent breaks quiet hours where they say so, and never a pause.
    pub fn not_before(&self, now: DateTime<Utc>, urgent: bool) -> DateTime<Utc> {
        let pause_ends = self
            .pause_until
            .map(|day| first_instant(self.zone, day.and_time(NaiveTime::MIN)));
        let mut instant = pause_ends.map_or(now, |end| end.max(now));
        let Some(quiet) = self.quiet.filter(|quiet| !(urgent && quiet.urgent)) else {
            return instant;
        };
        while let Some(end) = quiet.end(self.zone, instant) {
            instant = end;
        }
        instant
    }

    /// Since when a digest gathers that is due: its time came after the last one and no later than
    /// `now`. With no last one there is none due yet: who keeps the log notes `now` in its place, so
    /// that the first comes at the next time of a digest and brings what was left for it since. Because
    /// only the last one counts, another rhythm loses and repeats nothing: its first digest brings what
    /// came after the last of the rhythm before. A last one more than a day ahead was noted by a clock
    /// that was wrong: then one is due, of what came since its usual span.
    pub fn digest_due(
        &self,
        last: Option<DateTime<Utc>>,
        now: DateTime<Utc>,
    ) -> Option<DateTime<Utc>> {
        let rhythm = self.digest.filter(|_| self.topics.hears(Topic::Digest))?;
        let last = last?;
        if last > now + TimeDelta::days(1) {
            return Some(now - rhythm.every.span());
        }
        let newest = rhythm.newest(self.zone, now)?;
        (newest > last).then_some(last)
    }
}

impl DigestRhythm {
    /// Every Monday morning: for those who have many sites and say nothing of digests.
    pub const USUAL: Self = Self {
        every: Cadence::Week,
        day: Weekday::Mon,
        at: NaiveTime::MIN,
        all_members: false,
    };

    /// Days within which a time of a digest lies, whatever the rhythm.
    const DAYS_WITH_ONE: usize = 3 * 7 + 2;

    /// The newest time of a digest that is not after an instant.
    fn newest(&self, zone: Tz, instant: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let today = instant.with_timezone(&zone).date_naive();
        today
            .iter_days()
            .rev()
            .take(Self::DAYS_WITH_ONE)
            .filter(|day| day.weekday() == self.day && self.every.includes(*day))
            .map(|day| first_instant(zone, day.and_time(self.at)))
            .find(|time| *time <= instant)
    }
}

/// The first instant that a clock shows a time; of a time that it skips, the first after the gap.
fn first_instant(zone: Tz, time: NaiveDateTime) -> DateTime<Utc> {
    let shown = zone.from_local_datetime(&time).earliest();
    shown.unwrap_or_else(|| after_gap(zone, time)).to_utc()
}

/// The last instant that a clock shows a time; of a time that it skips, the first after the gap.
fn last_instant(zone: Tz, time: NaiveDateTime) -> DateTime<Utc> {
    let shown = zone.from_local_datetime(&time).latest();
    shown.unwrap_or_else(|| after_gap(zone, time)).to_utc()
}

fn after_gap(zone: Tz, time: NaiveDateTime) -> DateTime<Tz> {
    GapInfo::new(&time, &zone)
        .and_then(|gap| gap.end)
        .expect("a time that is not shown lies in a gap, and after a gap there is time")
}
