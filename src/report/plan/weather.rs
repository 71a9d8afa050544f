//! What the weather says of spreading at a site.

use crate::config::Config;
use crate::cycle::weather_here;
use crate::domain::notation::Notation;
use crate::domain::place::site::Site;
use crate::domain::treatment::coverage::Window;
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use crate::domain::treatment::site_plan::SitePlan;
use crate::domain::treatment::weather_ahead::RainAhead;
use crate::domain::weather::forecast::is_current;
use crate::notify::wording::weather_words;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

/// What the weather says of spreading at a site.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct WeatherHere {
    /// A sentence each.
    pub sentences: Vec<String>,
    /// Rain for the best option that it will water in.
    pub rain: Option<RainToUse>,
    /// The newest forecast of the site's station.
    pub forecast: Option<NewestForecast>,
}

/// Rain that will water an option in.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct RainToUse {
    /// The option's id.
    pub option: String,
    /// The day it is forecast to rain on.
    pub day: NaiveDate,
    /// Forecast for that day, mm.
    pub mm: f64,
    /// The day to spread on.
    pub spread_on: NaiveDate,
}

/// The newest forecast of a station.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct NewestForecast {
    /// When it was taken in.
    pub issued: DateTime<Utc>,
    /// Whether the plan uses it.
    pub is_used: bool,
}

impl WeatherHere {
    pub(super) fn of(
        (config, store): (&Config, &Store),
        site: &Site,
        plan: Option<&SitePlan<'_>>,
        today: NaiveDate,
    ) -> Result<Self, StoreError> {
        // Where nothing is called for, nothing is to be spread before any rain.
        let called_for = plan.and_then(|plan| Some((plan, plan.need.purpose()?)));
        let options = called_for
            .into_iter()
            .flat_map(|(plan, purpose)| in_time(plan, purpose));
        let weather = weather_here(store, site, options, today)?;
        let has_feed = config
            .station(&site.station)
            .is_some_and(|feed| feed.forecast.is_some());
        let issued = match weather.forecast_of {
            None if has_feed => store.forecast_issued(&site.station)?,
            known => known,
        };
        Ok(Self {
            sentences: weather_words(&weather, &config.service.notation),
            rain: weather.rain.map(RainToUse::of),
            forecast: issued.map(|issued| NewestForecast {
                issued,
                is_used: is_current(issued, today),
            }),
        })
    }
}

/// The options of a plan that serve what is called for and have a good day left.
fn in_time<'p>(
    plan: &'p SitePlan<'_>,
    purpose: Purpose,
) -> impl Iterator<Item = (&'p TreatmentOption, Window)> {
    let planned = plan.options.iter().map(|one| &one.planned);
    planned
        .filter(move |one| one.purpose == purpose && one.in_time(plan.day))
        .map(|one| (one.option, one.window))
}

impl RainToUse {
    fn of(rain: RainAhead) -> Self {
        Self {
            option: rain.option,
            day: rain.on,
            mm: rain.mm,
            spread_on: rain.spread_on,
        }
    }
}

impl NewestForecast {
    /// Of which day it is, and that it is too old where that is so; nothing where one looks back at days
    /// before it.
    pub(super) fn in_words(self, today: NaiveDate, notation: &Notation) -> Option<String> {
        let issued = self.issued.date_naive();
        let of = notation.day(issued);
        if self.is_used {
            Some(format!("The newest forecast is a model's, of {of}."))
        } else if issued <= today {
            Some(format!(
                "The newest forecast is of {of}: too old, it is not used."
            ))
        } else {
            None
        }
    }
}
