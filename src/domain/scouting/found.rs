//! What a digging found, as it is logged.

use super::{Count, CountError, SampleArea, checked_density};

/// What a count found.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// Larvae in samples of one size.
    Samples(Count),
    /// Only a density was noted, larvae per m²; how sure it is is not known.
    Density(f64),
}

impl Found {
    /// Mean density, larvae per m².
    pub fn mean_per_m2(&self) -> f64 {
        match self {
            Found::Samples(count) => count.mean_per_sample() / count.area().m2(),
            Found::Density(per_m2) => *per_m2,
        }
    }

    /// From samples, or from a list of them.
    ///
    /// # Errors
    /// [`CountError`].
    pub fn of_samples(
        samples: u32,
        area: SampleArea,
        larvae: u32,
        each: Option<Vec<u32>>,
    ) -> Result<Self, CountError> {
        Count::new(samples, area, larvae, each).map(Found::Samples)
    }

    /// From a density alone, larvae per m².
    ///
    /// # Errors
    /// [`CountError::Density`].
    pub fn of_density(per_m2: f64) -> Result<Self, CountError> {
        checked_density(per_m2).map(Found::Density)
    }
}
