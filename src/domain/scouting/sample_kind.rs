//! What is dug: flaps, or plugs of a cup cutter where a flap would scar fine turf.

use super::{MOST_SAMPLES, SampleArea, USUAL_PRECISION, USUAL_SAMPLE_FT2, samples_for_precision};
use crate::domain::journal::amount::Area;

/// A plug's area, m²: a hole of 108 mm across (the rules of golf give that size; from memory).
const PLUG_M2: f64 = 0.0092;

/// The area that one round of samples tells of, m². A choice: a field of a hectare; larger turf is dug
/// as several fields.
const FIELD_M2: f64 = 10_000.0;

/// What is dug for a count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SampleKind {
    /// Three sides of a square are cut and the turf is folded back.
    #[default]
    Flap,
    /// A plug is lifted with a cup cutter and put back.
    Plug,
}

/// How many samples to dig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Round {
    /// Samples of one field.
    pub samples: u32,
    /// Fields.
    pub fields: u32,
}

impl SampleKind {
    /// Both with the name they have in configuration files.
    pub const NAMED: [(&'static str, SampleKind); 2] =
        [("flaps", SampleKind::Flap), ("plugs", SampleKind::Plug)];

    /// The area of one, ft² as the trade gives it for flaps.
    pub fn area(self) -> SampleArea {
        let area = match self {
            SampleKind::Flap => SampleArea::from_ft2(USUAL_SAMPLE_FT2),
            SampleKind::Plug => SampleArea::from_m2(PLUG_M2),
        };
        area.unwrap_or_else(|_| unreachable!("both areas make sense"))
    }

    /// How it is written after `--area`.
    pub fn area_in_text(self) -> &'static str {
        match self {
            SampleKind::Flap => "0.25ft2",
            SampleKind::Plug => "92cm2",
        }
    }

    /// How many to dig where so many larvae per m² decide; `None` if that takes more than anybody
    /// digs.
    ///
    /// # Method
    /// Each field of a hectare, or the whole turf where it is smaller or its size is not known, has as
    /// many as make the standard error a quarter of the mean.
    ///
    /// # Units
    /// Larvae per m².
    ///
    /// # Valid range
    /// As [`samples_for_precision`].
    ///
    /// # References
    /// The precision: common practice, no source; a hectare a field: a choice.
    ///
    /// # Examples
    /// ```
    /// use hatchbell::domain::scouting::SampleKind;
    ///
    /// let pitches = "4.2 ha".parse().unwrap();
    /// let round = SampleKind::Flap.round(86.0, Some(pitches)).unwrap();
    /// assert_eq!((round.samples, round.fields), (19, 5));
    /// ```
    pub fn round(self, decisive_per_m2: f64, turf: Option<Area>) -> Option<Round> {
        let samples = samples_for_precision(decisive_per_m2, self.area(), USUAL_PRECISION)?;
        let fields = fields(turf);
        (fields <= MOST_SAMPLES).then_some(Round { samples, fields })
    }
}

/// As how many fields turf is dug: one, or one a hectare.
pub fn fields(turf: Option<Area>) -> u32 {
    turf.map_or(1, |turf| (turf.m2() / FIELD_M2).ceil().max(1.0) as u32)
}
