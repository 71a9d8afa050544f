//! What there is to tell, and who is told of it.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Crossing, Expectation, Hold};
use crate::domain::phenology::species::Species;
use crate::domain::place::site::{Channel, Member, Recipient, Site, Station};
use crate::domain::telling::meaning::Meaning;
use crate::domain::telling::reception::Topic;
use crate::domain::telling::season_letter::SpeciesAhead;
use crate::domain::treatment::coverage::Window;
use crate::domain::treatment::need::Need;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::settled::Spread;
use crate::domain::treatment::steps::{Advice, Step};
use crate::domain::treatment::watering::{Watering, Wet};
use crate::domain::treatment::weather_ahead::WeatherAhead;
use chrono::NaiveDate;
use std::collections::{HashMap, HashSet};

/// Who has more sites hears of milestones and of counting in a digest, a weekly one unless the
/// configuration says otherwise. A choice.
pub const MOST_SITES_AT_ONCE: usize = 5;

/// One thing to tell about a site.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice<'a> {
    /// The member whose site it is.
    pub member: &'a Member,
    /// The site.
    pub site: &'a Site,
    /// The station its temperatures come from; the first one where there are several.
    pub station: &'a Station,
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
        /// What comes next.
        next: Option<Expectation>,
        /// What it means for the work now.
        meaning: Meaning,
    },
    /// A told milestone is taken back.
    Withdrawn {
        /// Of which species.
        species: &'a Species,
        /// Which milestone.
        milestone: Milestone,
        /// The date that was told.
        told: NaiveDate,
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
    /// The season ahead.
    SeasonAhead {
        /// The milestones of each species.
        species: Vec<SpeciesAhead<'a>>,
        /// The options that serve what is called for, with their days.
        ready: Vec<Instead>,
    },
    /// A told date has moved.
    Moved {
        /// Of which species.
        species: &'a Species,
        /// The date that was told.
        told: NaiveDate,
        /// The crossing as it stands now.
        crossing: Crossing,
    },
    /// Milestones that are likely within two weeks, each with its likely date.
    Soon {
        /// Of which species.
        species: &'a Species,
        /// In order.
        milestones: Vec<(Milestone, NaiveDate)>,
    },
    /// A treatment step is due.
    Treatment(Box<TreatmentNotice<'a>>),
    /// The larvae are large enough to be counted and not yet too large.
    CountNow {
        /// Of which species, each with the larvae per m² that the turf tolerates.
        species: Vec<(&'a Species, (f64, f64))>,
        /// From which day on, where that is to come.
        from: Option<NaiveDate>,
    },
    /// A count calls for nothing, or cannot tell.
    Counted {
        /// The day of the count.
        on: NaiveDate,
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

/// What to tell of treatments at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct TreatmentNotice<'a> {
    /// The species that call for it; all of the site where nothing does any more.
    pub species: Vec<&'a Species>,
    /// Why to treat at all.
    pub need: Need,
    /// The steps due, the option that meets most first.
    pub advice: Vec<Advice>,
    /// Options of the site's choice that are still in time.
    pub instead: Vec<Instead>,
    /// What was spread this season.
    pub spread: Vec<Spread<'a>>,
    /// What the weather says of spreading.
    pub weather: WeatherAhead,
}

/// What a notice of treatments is about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TreatmentSubject<'n> {
    /// Steps are due; this one leaves the least time.
    Step(&'n Advice),
    /// A count calls for a curative, and nothing that the site would use works.
    NothingLeft,
    /// What was told no longer holds.
    HoldBack,
}

impl TreatmentNotice<'_> {
    /// What it is about.
    pub fn subject(&self) -> TreatmentSubject<'_> {
        let urgent = self.advice.iter().min_by_key(|advice| match advice.step {
            Step::LastCall => 0,
            Step::BestAhead => 1,
            Step::Opens => 2,
            Step::TooLate => 3,
        });
        match urgent {
            Some(first) => TreatmentSubject::Step(first),
            None if self.need.purpose().is_some() => TreatmentSubject::NothingLeft,
            None => TreatmentSubject::HoldBack,
        }
    }

    /// Whether it only tells that days are over; a digest names what is open instead.
    fn is_over(&self) -> bool {
        let is_too_late = |advice: &Advice| advice.step == Step::TooLate;
        !self.advice.is_empty() && self.advice.iter().all(is_too_late)
    }

    /// Whether to say what could be used instead: something is too late, or nothing is due.
    pub fn names_others(&self) -> bool {
        let is_too_late = |advice: &Advice| advice.step == Step::TooLate;
        self.advice.is_empty() || self.advice.iter().any(is_too_late)
    }
}

/// An option that is still in time.
#[derive(Debug, Clone, PartialEq)]
pub struct Instead {
    /// Its name.
    pub name: String,
    /// The days worth it.
    pub window: Window,
}

impl NoticeKind<'_> {
    /// What it is called where messages are listed, for example `apply`.
    pub fn name(&self) -> &'static str {
        match self {
            NoticeKind::SeasonAhead { .. } => "season",
            NoticeKind::Passed { .. } => "passed",
            NoticeKind::Moved { .. } => "moved",
            NoticeKind::Withdrawn { .. } => "withdrawn",
            NoticeKind::Treatment(notice) => match notice.subject() {
                TreatmentSubject::Step(advice) => advice.step.name(),
                TreatmentSubject::NothingLeft => "nothing-left",
                TreatmentSubject::HoldBack => "hold-back",
            },
            NoticeKind::Soon { .. } => "soon",
            NoticeKind::CountNow { .. } => "count",
            NoticeKind::Counted { .. } => "counted",
            NoticeKind::Water { .. } => "water",
            NoticeKind::Held { .. } => "held",
            NoticeKind::Released { .. } => "released",
            NoticeKind::Stale { .. } => "stale",
            NoticeKind::Fresh { .. } => "fresh",
        }
    }

    /// What it is about, for those who choose.
    fn topic(&self) -> Topic {
        match self {
            NoticeKind::Treatment(_)
            | NoticeKind::CountNow { .. }
            | NoticeKind::Counted { .. }
            | NoticeKind::Water { .. } => Topic::Work,
            NoticeKind::Passed { .. }
            | NoticeKind::Moved { .. }
            | NoticeKind::Withdrawn { .. }
            | NoticeKind::Soon { .. }
            | NoticeKind::SeasonAhead { .. } => Topic::Milestones,
            NoticeKind::Held { .. }
            | NoticeKind::Released { .. }
            | NoticeKind::Stale { .. }
            | NoticeKind::Fresh { .. } => Topic::Data,
        }
    }

    /// Whether it is told in a digest to those who have one, by how many sites they have.
    fn can_wait(&self, sites: usize) -> bool {
        match self {
            NoticeKind::Passed { .. } | NoticeKind::Moved { .. } | NoticeKind::Soon { .. } => true,
            NoticeKind::Treatment(notice) => notice.is_over(),
            NoticeKind::CountNow { .. } => sites > MOST_SITES_AT_ONCE,
            _ => false,
        }
    }

    /// The ids of the species it is about; `None` where it is about the site or its data.
    fn species_ids(&self) -> Option<Vec<&str>> {
        match self {
            NoticeKind::Passed { species, .. }
            | NoticeKind::Withdrawn { species, .. }
            | NoticeKind::Held { species, .. }
            | NoticeKind::Released { species }
            | NoticeKind::Soon { species, .. }
            | NoticeKind::Moved { species, .. } => Some(vec![&species.id]),
            NoticeKind::SeasonAhead { species, .. } => {
                Some(species.iter().map(|one| one.species.id.as_str()).collect())
            }
            NoticeKind::CountNow { species, .. } => Some(
                species
                    .iter()
                    .map(|(species, _)| species.id.as_str())
                    .collect(),
            ),
            NoticeKind::Treatment(notice) => Some(
                notice
                    .species
                    .iter()
                    .map(|species| species.id.as_str())
                    .collect(),
            ),
            NoticeKind::Counted { .. }
            | NoticeKind::Water { .. }
            | NoticeKind::Stale { .. }
            | NoticeKind::Fresh { .. } => None,
        }
    }
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

impl<'a> Bundle<'_, 'a> {
    /// What it is about: the name of each kind once, in order.
    pub fn kinds(&self) -> Vec<&'static str> {
        once(self.notices.iter().map(|notice| notice.kind.name()))
    }

    /// The ids of the sites it is about, each once, in order.
    pub fn site_ids(&self) -> Vec<&'a str> {
        once(self.notices.iter().map(|notice| notice.site.id.as_str()))
    }

    /// What it is about, if that is one task: a newer message of the same can take its place.
    pub fn task(&self) -> Option<String> {
        let [notice] = self.notices.as_slice() else {
            return None;
        };
        let site = &notice.site.id;
        match &notice.kind {
            NoticeKind::Treatment(treatment) => match treatment.advice.as_slice() {
                [advice] => Some(format!("apply {site} {}", advice.option.id)),
                _ => None,
            },
            NoticeKind::CountNow { .. } | NoticeKind::Counted { .. } => {
                Some(format!("count {site}"))
            }
            NoticeKind::Water { option, .. } => Some(format!("water {site} {}", option.id)),
            NoticeKind::Stale { .. } | NoticeKind::Fresh { .. } => Some(format!("data {site}")),
            _ => None,
        }
    }

    /// The last day on which any of it can still be done; none if there is no such day for all of it.
    pub fn deadline(&self) -> Option<NaiveDate> {
        let days = self.notices.iter().map(|notice| match &notice.kind {
            NoticeKind::Treatment(treatment) => {
                let last = treatment.advice.iter().map(|advice| match advice.step {
                    Step::TooLate => None,
                    _ => Some(advice.window.last),
                });
                last.collect::<Option<Vec<_>>>()?.into_iter().max()
            }
            NoticeKind::Water { watering, .. } => Some(watering.deadline),
            _ => None,
        });
        days.collect::<Option<Vec<_>>>()?.into_iter().max()
    }

    /// Whether it has work in it, which quiet hours may let through.
    pub fn is_urgent(&self) -> bool {
        self.notices
            .iter()
            .any(|notice| notice.kind.topic() == Topic::Work)
    }
}

fn once<'t>(texts: impl Iterator<Item = &'t str>) -> Vec<&'t str> {
    let mut seen = HashSet::new();
    texts.filter(|text| seen.insert(*text)).collect()
}

/// Sorts notices into one message per recipient and channel. Recipients hear of their own
/// member's sites only.
pub fn bundles<'n, 'a>(members: &'a [Member], notices: &'n [Notice<'a>]) -> Vec<Bundle<'n, 'a>> {
    let mut of_members: HashMap<&str, Vec<&Notice<'a>>> = HashMap::new();
    for notice in notices {
        let of_member = of_members.entry(&notice.member.id).or_default();
        of_member.push(notice);
    }
    let mut bundles = Vec::new();
    for member in members {
        let Some(of_member) = of_members.get(member.id.as_str()) else {
            continue;
        };
        for recipient in &member.recipients {
            let wanted: Vec<&Notice<'a>> = of_member
                .iter()
                .copied()
                .filter(|notice| recipient.reception.topics.hears(notice.kind.topic()))
                .filter(|notice| {
                    !(recipient.gathers() && notice.kind.can_wait(recipient.sites.len()))
                })
                .filter(|notice| {
                    let species = notice.kind.species_ids();
                    recipient.hears_of(&notice.site.id, species.as_deref())
                })
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
