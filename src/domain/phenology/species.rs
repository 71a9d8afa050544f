//! A species: its degree-day model and the stages of its year, every number with its range, its
//! source and how solid it is. The numbers themselves are data, in `config/species/*.toml`.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::phenology::season_days::Day;
use crate::domain::sourced_value::{EvidenceGrade, SourcedValue};
use crate::domain::weather::degree_day::Model;
use chrono::NaiveDate;

/// A threshold in °C·d with the range it is known to.
pub type Threshold = SourcedValue;

/// The stage of a species' file at which about half of the larvae can be seen and counted.
pub const SECOND_INSTAR: &str = "second-instar";

/// One stage of a species' year.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Identifier, for example `first-flight`.
    pub id: String,
    /// The milestone this stage stands for, if people are told of it.
    pub milestone: Option<Milestone>,
    /// When it is reached.
    pub threshold: Threshold,
}

/// The latest date of the susceptible window, for seasons too cool to reach its threshold.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonEnd {
    /// The cap, northern hemisphere.
    pub cap: MonthDay,
    /// Beyond this latitude (degrees, either hemisphere) the earlier cap holds.
    pub north_of_latitude: f64,
    /// The earlier cap.
    pub north_cap: MonthDay,
    /// How solid it is.
    pub grade: EvidenceGrade,
    /// Where it comes from.
    pub source: String,
}

/// How many larvae turf tolerates: the range within which damage begins.
#[derive(Debug, Clone, PartialEq)]
pub struct ActionThreshold {
    /// Low end, larvae per m²; above 0.
    pub low_per_m2: f64,
    /// High end, larvae per m²; not below the low end.
    pub high_per_m2: f64,
    /// How solid it is.
    pub grade: EvidenceGrade,
    /// Where it comes from.
    pub source: String,
}

/// A species of white grub.
#[derive(Debug, Clone, PartialEq)]
pub struct Species {
    /// Identifier, for example `japanese-beetle`.
    pub id: String,
    /// Common name.
    pub name: String,
    /// Scientific name.
    pub scientific_name: String,
    /// What a turf keeper must know about this species' timing.
    pub note: String,
    /// The degree-day model its thresholds are made for.
    pub model: Model,
    /// Start of the sum, northern hemisphere.
    pub start: MonthDay,
    /// How solid base, method and start are.
    pub model_grade: EvidenceGrade,
    /// Where they come from.
    pub model_source: String,
    /// Date cap of the susceptible window.
    pub season_end: SeasonEnd,
    /// How many larvae turf tolerates.
    pub action_threshold: ActionThreshold,
    /// Soil temperature below which grown larvae leave the surface and a curative no longer meets
    /// them, °C, where that is known.
    pub leaves_surface_c: Option<SourcedValue>,
    /// The stages in order.
    pub stages: Vec<Stage>,
}

impl Species {
    /// The threshold of a milestone; every species has all four (the loader sees to it).
    pub fn threshold(&self, milestone: Milestone) -> &Threshold {
        self.stages
            .iter()
            .find(|stage| stage.milestone == Some(milestone))
            .map(|stage| &stage.threshold)
            .expect("every species has every milestone")
    }

    /// The sum over days without holes by this species' model, °C·d.
    pub fn sum_of(&self, days: &[Day]) -> f64 {
        self.model.daily(days.iter().map(|day| day.extremes)).sum()
    }

    /// The season that `day` falls in at `latitude` (degrees).
    pub fn season_on(&self, day: NaiveDate, latitude: f64) -> Season {
        Season::containing(day, self.start.at_latitude(latitude))
    }

    /// The threshold of a stage by its id, if the file has it.
    pub fn stage(&self, id: &str) -> Option<&Threshold> {
        let stage = self.stages.iter().find(|stage| stage.id == id)?;
        Some(&stage.threshold)
    }

    /// The date by which the susceptible window closes at `latitude`, warm or not.
    pub fn window_cap(&self, season: &Season, latitude: f64) -> NaiveDate {
        let end = &self.season_end;
        let cap = if latitude.abs() > end.north_of_latitude {
            end.north_cap
        } else {
            end.cap
        };
        season.first(cap.at_latitude(latitude))
    }
}
