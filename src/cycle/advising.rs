//! Treatment: what to tell of it, and how applications are watered in. The decisions are the
//! domain's; this only brings it what is stored.

use super::evaluate::{Evaluation, SiteToday};
use super::site_states::SiteState;
use crate::config::Config;
use crate::domain::journal::{Application, Entry as Journal, JournalAction};
use crate::domain::place::site;
use crate::domain::telling::notice::{Notice, NoticeKind, TreatmentNotice};
use crate::domain::telling::notice_log::LoggedNotice;
use crate::domain::telling::site_species::SiteSpecies;
use crate::domain::telling::treatment_notice::treatment_decision;
use crate::domain::telling::watering_notice::watering_notice;
use crate::domain::treatment::coverage::Window;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::steps::{Step, StepsToday, advise};
use crate::domain::treatment::watering::{FOLLOWED_DAYS, Watering, Wet, watering, wet};
use crate::domain::treatment::weather_ahead::WeatherAhead;
use crate::domain::weather::rain::Rain;
use crate::store::milestones::Recording;
use crate::store::{Store, StoreError};
use chrono::{DateTime, Days, NaiveDate, Utc};

impl SiteState<'_> {
    /// What most notices are about.
    pub(super) fn site_species(&self) -> SiteSpecies<'_> {
        SiteSpecies {
            site: self.site,
            species: &self.species,
            state: &self.state,
        }
    }
}

/// The steps that are due today at sites of the same people.
pub(super) fn steps_today(sites: &[SiteToday<'_>]) -> StepsToday {
    let none = StepsToday::new();
    sites
        .iter()
        .flat_map(|site| advise(&site.plan, |option| site.log.last_step(option), &none))
        .map(|one| (one.option.id, one.step))
        .collect()
}

/// What there is to tell of treatments at a site, and what to keep of it.
pub(super) fn advise_site<'s>(
    store: &Store,
    SiteToday { case, plan, log }: &SiteToday<'s>,
    elsewhere: &StepsToday,
    now: DateTime<Utc>,
) -> Result<Option<(NoticeKind<'s>, Vec<LoggedNotice>)>, StoreError> {
    let Some(decision) = treatment_decision(plan, log, elsewhere) else {
        return Ok(None);
    };
    let logged = decision.logged(&case.site.id, case.season(), now);
    let (advice, instead) = decision.into_advice();
    let in_time = advice.iter().filter(|one| one.step != Step::TooLate);
    let options = in_time.map(|one| (&one.option, one.window));
    let weather = weather_here(store, case.site, options, plan.day)?;
    let calls = &plan.need.calls;
    let species = case.species.iter().enumerate();
    let notice = TreatmentNotice {
        species: species
            .filter(|(place, _)| calls.is_empty() || calls.contains(place))
            .map(|(_, species)| &*species.here.species)
            .collect(),
        need: plan.need.need,
        advice,
        instead,
        spread: case.spread.clone(),
        weather,
    };
    Ok(Some((NoticeKind::Treatment(Box::new(notice)), logged)))
}

/// What the weather at a site says of spreading on a day, and of rain for the first of these options
/// that it will water in.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn weather_here<'o>(
    store: &Store,
    site: &site::Site,
    options: impl IntoIterator<Item = (&'o TreatmentOption, Window)>,
    today: NaiveDate,
) -> Result<WeatherAhead, StoreError> {
    let measured = rain_at(store, site, today - Days::new(FOLLOWED_DAYS))?;
    let forecast = store.forecast(&site.station, today)?;
    Ok(WeatherAhead::of(
        &measured,
        forecast.as_ref(),
        options,
        today,
    ))
}

/// Why this is no day to water at a site.
fn wet_here(store: &Store, site: &site::Site, today: NaiveDate) -> Result<Option<Wet>, StoreError> {
    let since = today - Days::new(FOLLOWED_DAYS);
    let measured = rain_at(store, site, since)?;
    let forecast = store.forecast(&site.station, today)?;
    let to_come = forecast.map(|forecast| forecast.rain).unwrap_or_default();
    Ok(wet(&measured, &to_come, today))
}

/// The rain at a site: of its first station that has the day.
pub(super) fn rain_at(
    store: &Store,
    site: &site::Site,
    since: NaiveDate,
) -> Result<Rain, StoreError> {
    let mut rain = Rain::new();
    for station in site.stations() {
        for (day, mm) in store.rain_since(station, since)? {
            rain.entry(day).or_insert(mm);
        }
    }
    Ok(rain)
}

/// What there is to tell of how the applications of all sites are watered in.
pub(super) fn follow_watering<'c>(
    config: &'c Config,
    store: &Store,
    now: DateTime<Utc>,
    evaluation: &mut Evaluation<'c>,
) -> Result<(), StoreError> {
    let today = now.date_naive();
    for (member, site) in config.sites() {
        let Some(feed) = config.station(&site.station) else {
            continue;
        };
        let followed = waterings(config, store, site, today)?;
        if followed.is_empty() {
            continue;
        }
        let log = store.notices_of_site(&site.id)?;
        for Followed {
            number,
            option,
            watering,
        } in followed
        {
            let application = store.first_number(number)?;
            let Some(logged) = watering_notice(site, application, &watering, &log, now) else {
                continue;
            };
            evaluation.entries.push(Recording::Told(logged));
            evaluation.notices.push(Notice {
                member,
                site,
                station: &feed.station,
                need: None,
                kind: NoticeKind::Water {
                    option,
                    watering,
                    wet: wet_here(store, site, today)?,
                },
            });
        }
    }
    Ok(())
}

/// An application whose watering in is followed.
pub struct Followed<'c> {
    /// Its number in the journal.
    pub number: i64,
    /// What was spread.
    pub option: &'c TreatmentOption,
    /// How it stands with its water.
    pub watering: Watering,
}

/// How the applications of a site's last weeks stand with their water.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn waterings<'c>(
    config: &'c Config,
    store: &Store,
    site: &site::Site,
    today: NaiveDate,
) -> Result<Vec<Followed<'c>>, StoreError> {
    let since = today - Days::new(FOLLOWED_DAYS);
    let entries = store.entries(&site.id)?;
    let spread: Vec<(&Journal, &Application)> = entries
        .iter()
        .filter(|entry| (since..=today).contains(&entry.day))
        .filter_map(|entry| match &entry.action {
            JournalAction::Application(application) => Some((entry, application)),
            _ => None,
        })
        .collect();
    if spread.is_empty() {
        return Ok(Vec::new());
    }
    let rain = rain_at(store, site, since)?;
    let irrigation: Vec<(NaiveDate, f64)> = entries
        .iter()
        .filter_map(|entry| match entry.action {
            JournalAction::Irrigation { depth } => Some((entry.day, depth.mm())),
            _ => None,
        })
        .collect();
    Ok(spread
        .into_iter()
        .filter_map(|(entry, application)| {
            let option = config.options.get(&application.option)?;
            let how = &option.watering_in;
            Some(Followed {
                number: entry.number,
                option,
                watering: watering(how, entry.day, &rain, &irrigation, today),
            })
        })
        .collect())
}
