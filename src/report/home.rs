//! A site as a home server shows it: what is due there, why, and how the season stands; and what of it
//! is a sensor of its own.

use super::BRIEF_CAUTIONS;
use super::plan::PlanReport;
use super::status::{NextMilestone, SiteStatus, StatusSite};
use crate::config::Config;
use crate::cycle::{SiteCase, with_plans_and_hatches};
use crate::domain::place::site::Site;
use crate::domain::treatment::site_plan::SitePlan;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use serde::Serialize;

/// A site on a day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HomeState {
    /// The site's id.
    pub site: String,
    /// The site's name.
    pub name: String,
    /// The name of the member whose it is.
    pub member: String,
    /// The day that it is made for.
    pub day: NaiveDate,
    /// What is due, by its name for scripts.
    pub task: &'static str,
    /// What is due and by when, in words.
    pub decision: String,
    /// The option that it is about, by its id.
    pub option: Option<String>,
    /// The last day for it.
    pub deadline: Option<NaiveDate>,
    /// `preventive`, `curative`, `count-more` or `nothing`.
    pub treat: &'static str,
    /// Why.
    pub reason: String,
    /// What to mind; nothing where nothing is applied or watered in.
    pub cautions: Vec<String>,
    /// The soil's mean of seven days, estimated from air temperatures, °C.
    pub soil_c: Option<f64>,
    /// The newest day, if it is too old.
    pub stale_since: Option<NaiveDate>,
    /// Each of its species.
    pub species: Vec<HomeSpecies>,
}

/// A site's season with one of its species.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HomeSpecies {
    /// The species' id.
    pub species: String,
    /// The species' name.
    pub name: String,
    /// The newest day of the sum.
    pub data_through: Option<NaiveDate>,
    /// °C·d
    pub degree_days: f64,
    /// Days of the sum that are estimated.
    pub estimated_days: u32,
    /// Why milestones are held back.
    pub held: Option<String>,
    /// The milestone that comes next.
    pub next_milestone: Option<NextMilestone>,
}

/// A value of a site that a home server shows by itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HomeSensor {
    /// Its id within the site.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Where it stands in the state, as fields from the outside in, with numbers for places in a list.
    pub path: String,
    /// What it is measured in.
    pub unit: Option<&'static str>,
    /// What kind of value it is, where home servers know a name for it.
    pub class: Option<&'static str>,
}

impl HomeState {
    /// The wanted sites that have a species, in the order of the configuration.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of_all(
        config: &Config,
        store: &Store,
        today: NaiveDate,
        wanted: impl Fn(&Site) -> bool,
    ) -> Result<Vec<Self>, StoreError> {
        let see =
            |case: &SiteCase<'_>, plan: &SitePlan<'_>| StatusSite::of(config, store, case, plan);
        let made = with_plans_and_hatches(config, store, today, wanted, see, |case, status| {
            let of = (case.member, case.site);
            let plan = PlanReport::of_case(config, store, of, Some(case), today)?;
            Ok(Self::of(&status.rows, plan))
        })?;
        Ok(made.into_iter().flatten().collect())
    }

    /// By its rows of the status and its plan; none without a species.
    fn of(rows: &[SiteStatus], plan: PlanReport) -> Option<Self> {
        let first = rows.first()?;
        let due = &first.due;
        let cautions = match due.option {
            Some(_) => {
                let usual = BRIEF_CAUTIONS.into_iter().map(str::to_owned);
                usual.chain(plan.what_to_mind).collect()
            }
            None => Vec::new(),
        };
        Some(Self {
            site: plan.site,
            name: plan.site_name,
            member: plan.member,
            day: plan.day,
            task: due.what,
            decision: due.words.clone(),
            option: due.option.clone(),
            deadline: due.by,
            treat: plan.treat,
            reason: plan.why,
            cautions,
            soil_c: plan.soil.map(|soil| soil.week_mean_c),
            stale_since: first.stale_since,
            species: rows.iter().map(HomeSpecies::of).collect(),
        })
    }

    /// What of it is shown by itself.
    pub fn sensors(&self) -> Vec<HomeSensor> {
        let of_site = |id: &str, name: &str, path: &str| HomeSensor {
            id: id.to_owned(),
            name: name.to_owned(),
            path: path.to_owned(),
            unit: None,
            class: None,
        };
        let mut sensors = vec![
            of_site("decision", "What is due", "decision"),
            HomeSensor {
                class: Some("date"),
                ..of_site("deadline", "Deadline", "deadline")
            },
            HomeSensor {
                unit: Some("°C"),
                class: Some("temperature"),
                ..of_site("soil", "Soil, estimated", "soil_c")
            },
        ];
        for (place, one) in self.species.iter().enumerate() {
            let (id, name) = (&one.species, &one.name);
            sensors.push(HomeSensor {
                unit: Some("°C·d"),
                ..of_site(
                    &format!("{id}-degree-days"),
                    &format!("{name}, degree-days"),
                    &format!("species[{place}].degree_days"),
                )
            });
            for (key, word) in [("title", "next milestone"), ("likely", "its likely day")] {
                sensors.push(HomeSensor {
                    class: (key == "likely").then_some("date"),
                    ..of_site(
                        &format!("{id}-next-{key}"),
                        &format!("{name}, {word}"),
                        &format!("species[{place}].next_milestone.{key}"),
                    )
                });
            }
        }
        sensors
    }
}

impl HomeSpecies {
    fn of(row: &SiteStatus) -> Self {
        Self {
            species: row.species.clone(),
            name: row.species_name.clone(),
            data_through: row.data_through,
            degree_days: row.degree_days,
            estimated_days: row.estimated_days,
            held: row.held.clone(),
            next_milestone: row.next_milestone.clone(),
        }
    }
}
