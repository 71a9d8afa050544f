//! What a calendar shows of a site: milestones as ranges, the days of the options that are called for and
//! their last one, the day by which something is watered in, and the days to count on.

use super::BRIEF_CAUTIONS;
use super::outlook::{MilestoneDates, MilestoneOutlook, SpeciesOutlook};
use super::plan::{HELD_BACK, WateringStatus, counting, decision};
use crate::config::Config;
use crate::cycle::{SiteCase, waterings, with_hatches};
use crate::domain::notation::Notation;
use crate::domain::place::site::{Member, PageAccess, Recipient, Site};
use crate::domain::telling::calendar::{CalendarEvent, CalendarToday, PublishedEvent, published};
use crate::domain::treatment::planned::Planned;
use crate::domain::treatment::site_plan::PlanScope;
use crate::store::{Store, StoreError};
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use std::borrow::Borrow;
use std::collections::{BTreeMap, HashSet};

/// What the title of an event begins with that no longer holds, for programs that show those as well.
pub const CALLED_OFF: &str = "Called off";

/// What a day holds for a site, whoever reads it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteCalendar {
    /// The site's id.
    pub site: String,
    /// The name of the member whose it is.
    member: String,
    holds: CalendarToday,
}

impl SiteCalendar {
    /// The wanted sites, in the order of the configuration. A site of which nothing is known for now is
    /// not there.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of_all(
        config: &Config,
        store: &Store,
        today: NaiveDate,
        wanted: impl Fn(&Site) -> bool,
    ) -> Result<Vec<Self>, StoreError> {
        with_hatches(config, store, today, wanted, |case| {
            Ok(Self {
                site: case.site.id.clone(),
                member: case.member.name.clone(),
                holds: site_calendar(config, store, case, today)?,
            })
        })
    }
}

/// What a day holds for a reader.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ReaderCalendar {
    /// Ids of the sites that they are told of.
    pub sites: HashSet<String>,
    /// What is known of these, by their ids.
    pub known: Vec<(String, CalendarToday)>,
}

impl ReaderCalendar {
    /// Of all sites that a recipient is told of, or that they see on the page: of those of their own member
    /// which they chose, of the members that they manage, and all for whoever coordinates the members or
    /// runs the service. `known` is asked for what the day holds for these.
    ///
    /// # Errors
    /// Those of `known`.
    pub fn of<S: Borrow<SiteCalendar>>(
        config: &Config,
        of: (&Member, &Recipient),
        known: impl FnOnce(&HashSet<String>) -> Result<Vec<S>, StoreError>,
    ) -> Result<Self, StoreError> {
        let (_, reader) = of;
        let told = config.sites();
        let told = told.filter(|(whose, site)| tells(config, of, whose, site));
        let mut members = HashSet::new();
        let mut sites = HashSet::new();
        for (member, site) in told {
            members.insert(&member.id);
            sites.insert(site.id.clone());
        }
        let hears = |event: &CalendarEvent| match (&event.species, &reader.species) {
            (Some(of), Some(wanted)) => wanted.contains(of),
            _ => true,
        };
        let known = known(&sites)?.into_iter().map(|one| {
            let SiteCalendar {
                site,
                member,
                mut holds,
            } = one.borrow().clone();
            holds.events.retain(hears);
            if members.len() > 1 {
                for event in &mut holds.events {
                    event.words = format!("{member}. {}", event.words);
                }
            }
            (site, holds)
        });
        let known = known.collect();
        Ok(Self { sites, known })
    }

    /// The events to publish, by site, after those that the reader has seen: what is no longer told them
    /// is called off, and what is not known for now stays.
    pub fn published(
        &self,
        before: BTreeMap<String, Vec<PublishedEvent>>,
        today: NaiveDate,
        now: DateTime<Utc>,
    ) -> BTreeMap<String, Vec<PublishedEvent>> {
        let mut events = before;
        for (site, seen) in &mut events {
            if !self.sites.contains(site) {
                let nothing = CalendarToday::default();
                *seen = published(std::mem::take(seen), nothing, today, now);
            }
        }
        for (site, holds) in &self.known {
            let seen = events.remove(site).unwrap_or_default();
            events.insert(site.clone(), published(seen, holds.clone(), today, now));
        }
        events
    }
}

/// Whether a reader's calendar shows a site.
fn tells(
    config: &Config,
    (member, reader): (&Member, &Recipient),
    whose: &Member,
    site: &Site,
) -> bool {
    let sees = reader.page != PageAccess::None;
    let runs = config.service.operator.as_ref() == Some(&reader.id);
    (whose.id == member.id && reader.sites.contains(&site.id))
        || reader.coordinates()
        || (sees && (runs || reader.manages.contains(&whose.id)))
}

/// The events of a site as seen on `today`.
fn site_calendar(
    config: &Config,
    store: &Store,
    case: &SiteCase<'_>,
    today: NaiveDate,
) -> Result<CalendarToday, StoreError> {
    let site = case.site;
    let notation = &config.service.notation;
    let mut calendar = CalendarToday::default();
    for species in &case.species {
        let is_held = species.here.state.hold.is_some();
        let outlook = SpeciesOutlook::of(&species.here, None, notation);
        for milestone in &outlook.milestones {
            take_milestone(
                &mut calendar,
                (site, &outlook, is_held),
                milestone,
                notation,
            );
        }
    }
    let plan = case.plan(config, today, PlanScope::CalledFor);
    let need = plan.need.need;
    let in_time = plan.options.iter().map(|one| &one.planned);
    for option in in_time.filter(|one| need.purpose().is_some() && one.in_time(today)) {
        let words = format!("{} {}", decision(&need, notation), BRIEF_CAUTIONS.join(" "));
        calendar
            .events
            .extend(option_events(site, option, case.season(), &words));
    }
    let words = counting(&need, site, &case.species, plan.counting, notation);
    if let (Some((first, last)), Some(words)) = (plan.counting, words) {
        calendar.events.push(CalendarEvent {
            id: format!("{}.count", case.season()),
            species: None,
            first,
            last,
            title: format!("{}: count grubs", site.name),
            words,
        });
    }
    for one in waterings(config, store, site, today)? {
        let status = WateringStatus::of(&one, notation);
        if status.state == "due" {
            calendar.events.push(water(site, &status, &one.option.name));
        }
    }
    Ok(calendar)
}

/// Takes in a milestone, which may have no days.
fn take_milestone(
    calendar: &mut CalendarToday,
    (site, outlook, is_held): (&Site, &SpeciesOutlook, bool),
    milestone: &MilestoneOutlook,
    notation: &Notation,
) {
    let id = format!(
        "{}.{}.{}",
        outlook.season, outlook.species, milestone.milestone
    );
    let (first, last, words) = match milestone.dates {
        MilestoneDates::NotThisSeason => return,
        MilestoneDates::AheadWithoutDates | MilestoneDates::NotKnown => {
            return calendar.unknown.push(id);
        }
        MilestoneDates::Passed { on, .. } => (on, on, "It has come.".to_owned()),
        MilestoneDates::Ahead(ahead) => {
            let Some(first) = ahead.early else {
                return calendar.unknown.push(id);
            };
            let likely = ahead.likely.map_or(String::new(), |day| {
                format!("Likely {}. ", notation.day(day))
            });
            let last = ahead.late.unwrap_or(outlook.season_end).max(first);
            let words = format!("{likely}An estimate: 8 of 10 seasons fall within these days.");
            (first, last, words)
        }
    };
    let held = if is_held { HELD_BACK } else { "" };
    calendar.events.push(CalendarEvent {
        id,
        species: Some(outlook.species.clone()),
        first,
        last,
        title: format!("{}: {}, {}", site.name, outlook.name, milestone.title),
        words: format!("{words} {held}").trim_end().to_owned(),
    });
}

/// The days of an option, and its last one.
fn option_events(
    site: &Site,
    planned: &Planned<'_>,
    season: i32,
    words: &str,
) -> [CalendarEvent; 2] {
    let (option, window) = (planned.option, planned.window);
    let event = |kind: &str, first, title: String| CalendarEvent {
        id: format!("{season}.{kind}.{}", option.id),
        species: None,
        first,
        last: window.last,
        title: format!("{}: {title}", site.name),
        words: words.to_owned(),
    };
    [
        event(
            "days",
            window.first,
            format!("days to apply {}", option.name),
        ),
        event(
            "last-day",
            window.last,
            format!("last day to apply {}", option.name),
        ),
    ]
}

/// The day by which an application must be watered in.
fn water(site: &Site, watering: &WateringStatus, option: &str) -> CalendarEvent {
    CalendarEvent {
        id: format!("{}.water.{}", watering.spread.year(), watering.number),
        species: None,
        first: watering.deadline,
        last: watering.deadline,
        title: format!("{}: water in {option}", site.name),
        words: watering.in_words.clone(),
    }
}
