//! A treatment option: an active ingredient with what decides its timing. The numbers are data, in
//! `config/options/*.toml`, each with its range, its source and how solid it is.

use crate::domain::sourced_value::{EvidenceGrade, SourcedValue};
use statrs::function::erf::erfc;

/// What an option is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Purpose {
    /// Put down before larvae have grown, on the strength of last year's counts.
    Preventive,
    /// Put down on larvae that were counted.
    Curative,
}

impl Purpose {
    /// Both with the name they have in option files.
    pub const NAMED: [(&'static str, Purpose); 2] = [
        ("preventive", Purpose::Preventive),
        ("curative", Purpose::Curative),
    ];

    /// The name in option files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }
}

/// How an option loses its strength.
#[derive(Debug, Clone, PartialEq)]
pub enum Decay {
    /// Half of it is gone after so many days.
    HalfLife(SourcedValue),
    /// Nine tenths of it are gone after so many days.
    NineTenthsGone(SourcedValue),
}

impl Decay {
    /// The figure it rests on, days.
    pub fn sourced_value(&self) -> &SourcedValue {
        match self {
            Decay::HalfLife(sourced_value) | Decay::NineTenthsGone(sourced_value) => sourced_value,
        }
    }

    /// The share left after `days`, by first-order decay.
    ///
    /// ```
    /// use hatchbell::domain::sourced_value::{SourcedValue, EvidenceGrade};
    /// use hatchbell::domain::treatment::option::Decay;
    /// let fortnight = SourcedValue { value: 14.0, range: None, grade: EvidenceGrade::Practice, source: String::new() };
    /// assert!((Decay::NineTenthsGone(fortnight.clone()).left_after(14.0) - 0.1).abs() < 1e-12);
    /// assert_eq!(Decay::HalfLife(fortnight).left_after(14.0), 0.5);
    /// ```
    pub fn left_after(&self, days: f64) -> f64 {
        match self {
            Decay::HalfLife(half) => 0.5_f64.powf(days / half.value),
            Decay::NineTenthsGone(gone) => 0.1_f64.powf(days / gone.value),
        }
    }
}

/// How open larvae are to an option as they enter each instar: 1 is as much as newly hatched ones
/// can be, 0 not at all. In between it changes evenly; it stays as it is from the third on. It
/// weighs the chance of each day ([`UPTAKE_PER_DAY`](super::coverage::UPTAKE_PER_DAY)), not the share
/// that is met in the end: over some weeks 0.1 meets about 0.4 of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Susceptibility {
    /// On entering the first, second and third instar, 0 to 1.
    pub by_instar: [f64; 3],
    /// How solid it is.
    pub grade: EvidenceGrade,
    /// Where it comes from.
    pub source: String,
}

impl Susceptibility {
    /// At a development of `instars`: 0 at hatch, 1 on entering the second instar, 2 the third.
    pub fn at(&self, instars: f64) -> f64 {
        let [first, second, third] = self.by_instar;
        match instars {
            early if early <= 0.0 => first,
            i if i < 1.0 => first + (second - first) * i,
            i if i < 2.0 => second + (third - second) * (i - 1.0),
            _ => third,
        }
    }
}

/// How it has to be watered in.
#[derive(Debug, Clone, PartialEq)]
pub struct WateringIn {
    /// Water that carries it through the thatch, mm.
    pub depth_mm: SourcedValue,
    /// Days within which that has to be done, counted from the application.
    pub within_days: SourcedValue,
}

/// Soil temperatures between which it works, °C.
#[derive(Debug, Clone, PartialEq)]
pub struct SoilLimits {
    /// Lowest, °C.
    pub lowest_c: SourcedValue,
    /// Highest, °C, if there is one.
    pub highest_c: Option<SourcedValue>,
}

/// A treatment option, by active ingredient.
#[derive(Debug, Clone, PartialEq)]
pub struct TreatmentOption {
    /// Identifier, for example `imidacloprid`.
    pub id: String,
    /// The active ingredient's name in text.
    pub name: String,
    /// Group it belongs to, for example `neonicotinoid`; sites may choose by group.
    pub group: String,
    /// Group of its mode of action by the Insecticide Resistance Action Committee, for example
    /// `4A`; `None` where it has none (nematodes).
    pub mode_of_action: Option<String>,
    /// What it is for.
    pub purpose: Purpose,
    /// Whether a preventive is also of use after a count, on larvae that are still small.
    pub also_curative: bool,
    /// Whether it is restricted or forbidden in many places; such an option is used only where a
    /// site names it or its group.
    pub restricted: bool,
    /// Days before first hatch between which practice has it spread: the low end is the latest, the
    /// high end the earliest; `None` where practice names no lead.
    pub practice_lead_days: Option<SourcedValue>,
    /// Days from watering in until it has reached the root zone, in the middle of the turf: median
    /// and the span that holds 80 of 100 places.
    pub arrival_days: SourcedValue,
    /// How it loses its strength.
    pub decay: Decay,
    /// Which larvae it acts on.
    pub susceptibility: Susceptibility,
    /// How it is watered in.
    pub watering_in: WateringIn,
    /// Soil temperatures it needs, if they matter.
    pub soil: Option<SoilLimits>,
    /// Days ahead of the best day on which people are told, so that they can get it.
    pub told_ahead_days: u32,
    /// How reliable it is, in a sentence.
    pub reliability: String,
    /// Cautions of its own, beside the general ones.
    pub cautions: Vec<String>,
    /// What is known of the law, in general words.
    pub legal: String,
}

impl TreatmentOption {
    /// Whether it is of use for a purpose.
    pub fn serves(&self, purpose: Purpose) -> bool {
        self.purpose == purpose || (purpose == Purpose::Curative && self.also_curative)
    }

    /// The main group of its mode of action, all that shares one target: rotation changes this.
    ///
    /// ```
    /// use hatchbell::config::option_file;
    /// let mut carbaryl = option_file::read(option_file::BUILT_IN[1].0, option_file::BUILT_IN[1].1).unwrap();
    /// assert_eq!(carbaryl.mode_of_action.as_deref(), Some("1A"));
    /// assert_eq!(carbaryl.main_group(), Some("1"));
    /// carbaryl.mode_of_action = Some("UNF".into());
    /// assert_eq!(carbaryl.main_group(), Some("UNF"));
    /// ```
    pub fn main_group(&self) -> Option<&str> {
        let group = self.mode_of_action.as_deref()?;
        let digits = group.trim_end_matches(|c: char| c.is_ascii_uppercase());
        Some(if digits.is_empty() { group } else { digits })
    }

    /// The share of places it has reached `days` after watering in: log-normal on either side of
    /// its median, so that the ends of the range are its 10 and 90 % points however lopsided it is.
    ///
    /// ```
    /// use hatchbell::config::option_file;
    /// let (file, text) = option_file::BUILT_IN[2];
    /// let slow = option_file::read(file, text).unwrap();
    /// assert_eq!(slow.arrival_days.range, Some((14.0, 65.0)));
    /// for (days, share) in [(14.0, 0.1), (47.0, 0.5), (65.0, 0.9)] {
    ///     assert!((slow.arrived_after(days) - share).abs() < 1e-6);
    /// }
    /// ```
    pub fn arrived_after(&self, days: f64) -> f64 {
        if days <= 0.0 {
            return 0.0;
        }
        let median = self.arrival_days.value;
        let (low, high) = self.arrival_days.range.unwrap_or((median, median));
        let side = if days < median {
            median / low
        } else {
            high / median
        };
        if side <= 1.0 {
            return if days >= median { 1.0 } else { 0.0 };
        }
        let spread = side.ln() / crate::domain::sourced_value::NORMAL_90;
        0.5 * erfc(-(days / median).ln() / spread / std::f64::consts::SQRT_2)
    }

    /// What is at work in the root zone `days` after watering in, as a share of all that was put
    /// down.
    pub fn at_work_after(&self, days: f64) -> f64 {
        self.arrived_after(days) * self.decay.left_after(days)
    }
}
