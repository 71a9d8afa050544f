//! Scouting: what was dug up, how dense the grubs are, whether the turf tolerates them, and how much
//! more to dig.

mod count;
mod density;
mod found;
mod reading;
mod sample_kind;
mod tolerance;

pub use count::{Count, CountError, M2_IN_FT2, MOST_SAMPLES, SampleArea, checked_density};
pub use density::{
    CONFIDENCE, Density, PATCHINESS, Risk, TurfCondition, USUAL_PRECISION, USUAL_SAMPLE_FT2,
    Verdict, chance_of_at_most, risk_before_count, samples_for_precision,
};
pub use found::Found;
pub use reading::{CountReading, More};
pub use sample_kind::{Round, SampleKind, fields};
pub use tolerance::{tolerance, verdict};
