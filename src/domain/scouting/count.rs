//! What was dug up: samples of one size and the larvae found in them.

use std::str::FromStr;

/// One square foot in m², exactly.
pub const M2_IN_FT2: f64 = 0.092_903_04;

/// One square centimetre in m².
const M2_IN_CM2: f64 = 1e-4;

/// Smallest sample that makes sense, m²: a core of 3.6 cm across.
const SMALLEST_M2: f64 = 0.001;

/// Largest sample that makes sense, m²; nobody lifts more turf for one sample.
const LARGEST_M2: f64 = 2.0;

/// Most samples of one count.
pub const MOST_SAMPLES: u32 = 1_000;

/// Most larvae a sample, on average, that a count may have.
const MOST_LARVAE_A_SAMPLE: u32 = 500;

/// Highest density that is believed, larvae per m²; turf is killed far below it.
const MOST_LARVAE_PER_M2: f64 = 10_000.0;

/// Why something is not a count.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CountError {
    /// Nothing was dug.
    #[error("a count needs at least one sample; say how many were dug")]
    NoSamples,
    /// More samples than anybody digs.
    #[error("{samples} samples are more than {MOST_SAMPLES}; check the number")]
    TooManySamples {
        /// How many were given.
        samples: u32,
    },
    /// A size no sample has.
    #[error(
        "a sample of {m2} m² cannot be: one sample is {SMALLEST_M2} to {LARGEST_M2} m²; check number and unit"
    )]
    Area {
        /// The size given, m².
        m2: f64,
    },
    /// A text that does not say a size.
    #[error(
        "\"{text}\" is not the area of a sample; write a number with a point and ft2, cm2 or m2, like 0.25ft2, 93cm2 or 0.1m2"
    )]
    AreaText {
        /// The text.
        text: String,
    },
    /// More larvae than fit.
    #[error(
        "{larvae} larvae in {samples} samples are more than {MOST_LARVAE_A_SAMPLE} a sample; check both numbers"
    )]
    TooManyLarvae {
        /// Larvae in all.
        larvae: u32,
        /// Samples dug.
        samples: u32,
    },
    /// A density no turf has.
    #[error(
        "{per_m2} larvae per m² cannot be: it is 0 to {MOST_LARVAE_PER_M2}; check number and unit"
    )]
    Density {
        /// The density given, larvae per m².
        per_m2: f64,
    },
    /// The list of samples is too short or too long.
    #[error("the list has {listed} samples, the count {samples}; give one number for each sample")]
    ListLength {
        /// Numbers in the list.
        listed: usize,
        /// Samples dug.
        samples: u32,
    },
    /// The list of samples comes to another total.
    #[error("the list adds up to {sum} larvae, not {larvae}; check the list and the total")]
    ListSum {
        /// Sum of the list.
        sum: u64,
        /// Larvae in all.
        larvae: u32,
    },
}

/// The area of one sample, 0.001 to 2 m².
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct SampleArea(f64);

impl SampleArea {
    /// From m².
    ///
    /// # Errors
    /// [`CountError::Area`] outside 0.001 to 2 m² or not a number.
    pub fn from_m2(m2: f64) -> Result<Self, CountError> {
        if (SMALLEST_M2..=LARGEST_M2).contains(&m2) {
            Ok(Self(m2))
        } else {
            Err(CountError::Area { m2 })
        }
    }

    /// From cm².
    ///
    /// # Errors
    /// As [`SampleArea::from_m2`].
    pub fn from_cm2(cm2: f64) -> Result<Self, CountError> {
        Self::from_m2(cm2 * M2_IN_CM2)
    }

    /// From ft².
    ///
    /// # Errors
    /// As [`SampleArea::from_m2`].
    pub fn from_ft2(ft2: f64) -> Result<Self, CountError> {
        Self::from_m2(ft2 * M2_IN_FT2)
    }

    /// In m².
    pub fn m2(self) -> f64 {
        self.0
    }
}

impl FromStr for SampleArea {
    type Err = CountError;

    /// A number and a unit: `0.25ft2`, `93 cm²`, `0.1m2`.
    fn from_str(text: &str) -> Result<Self, CountError> {
        type From = fn(f64) -> Result<SampleArea, CountError>;
        // cm2 before m2, which ends it.
        let units: [(&str, From); 3] = [
            ("ft2", Self::from_ft2),
            ("cm2", Self::from_cm2),
            ("m2", Self::from_m2),
        ];
        let plain = text.trim().to_lowercase().replace('²', "2");
        units
            .iter()
            .find_map(|(unit, from)| Some((plain.strip_suffix(unit)?, from)))
            .and_then(|(number, from)| Some((number.trim().parse::<f64>().ok()?, from)))
            .ok_or_else(|| CountError::AreaText {
                text: text.to_owned(),
            })
            .and_then(|(number, from)| from(number))
    }
}

/// Larvae found in samples of one size.
#[derive(Debug, Clone, PartialEq)]
pub struct Count {
    samples: u32,
    area: SampleArea,
    larvae: u32,
    each: Option<Vec<u32>>,
}

impl Count {
    /// A count of `larvae` in all, found in so many `samples` of one `area`; `each` lists them
    /// sample by sample if that was written down.
    ///
    /// # Errors
    /// Without samples, with impossibly many samples or larvae, or if the list does not fit the
    /// number of samples or the total.
    pub fn new(
        samples: u32,
        area: SampleArea,
        larvae: u32,
        each: Option<Vec<u32>>,
    ) -> Result<Self, CountError> {
        if samples == 0 {
            return Err(CountError::NoSamples);
        }
        if samples > MOST_SAMPLES {
            return Err(CountError::TooManySamples { samples });
        }
        if larvae > samples * MOST_LARVAE_A_SAMPLE {
            return Err(CountError::TooManyLarvae { larvae, samples });
        }
        if let Some(each) = &each {
            if each.len() != samples as usize {
                let listed = each.len();
                return Err(CountError::ListLength { listed, samples });
            }
            let sum = each.iter().copied().map(u64::from).sum();
            if sum != u64::from(larvae) {
                return Err(CountError::ListSum { sum, larvae });
            }
        }
        Ok(Self {
            samples,
            area,
            larvae,
            each,
        })
    }

    /// Samples dug; at least one.
    pub fn samples(&self) -> u32 {
        self.samples
    }

    /// The area of one sample.
    pub fn area(&self) -> SampleArea {
        self.area
    }

    /// Larvae found in all samples together.
    pub fn larvae(&self) -> u32 {
        self.larvae
    }

    /// Larvae of each sample, if they were written down.
    pub fn each(&self) -> Option<&[u32]> {
        self.each.as_deref()
    }

    /// Mean larvae a sample.
    pub fn mean_per_sample(&self) -> f64 {
        f64::from(self.larvae) / f64::from(self.samples)
    }
}

/// A density that can be, larvae per m².
///
/// # Errors
/// [`CountError::Density`] outside 0 to 10 000 or not a number.
pub fn checked_density(per_m2: f64) -> Result<f64, CountError> {
    if (0.0..=MOST_LARVAE_PER_M2).contains(&per_m2) {
        Ok(per_m2)
    } else {
        Err(CountError::Density { per_m2 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn core() -> SampleArea {
        SampleArea::from_cm2(93.0).unwrap()
    }

    #[test]
    fn one_area_in_three_units_is_one_area() {
        let ft2 = SampleArea::from_ft2(1.0).unwrap();
        assert_eq!(ft2.m2(), 0.092_903_04);
        let cm2 = SampleArea::from_cm2(929.0304).unwrap();
        assert!((ft2.m2() - cm2.m2()).abs() < 1e-15);
        assert_eq!(SampleArea::from_m2(0.1).unwrap().m2(), 0.1);
    }

    #[test]
    fn an_area_is_read_with_its_unit() {
        for (text, m2) in [
            ("0.25ft2", 0.023_225_76),
            (" 0.25 ft² ", 0.023_225_76),
            ("1FT2", 0.092_903_04),
            ("93cm2", 0.0093),
            ("93 cm²", 0.0093),
            ("0.1m2", 0.1),
            (".1 M²", 0.1),
        ] {
            let area: SampleArea = text.parse().unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((area.m2() - m2).abs() < 1e-15, "{text}: {area:?}");
        }
    }

    #[test]
    fn a_text_without_number_or_unit_is_refused_with_an_example() {
        for text in [
            "", "ft2", "0.25", "0.25ft", "0,25ft2", "1 in2", "2", "²", "mm2", "0.1km2",
        ] {
            let error = text.parse::<SampleArea>().expect_err(text);
            assert!(matches!(error, CountError::AreaText { .. }), "{text}");
            assert!(error.to_string().contains("like 0.25ft2"), "{error}");
        }
    }

    #[test]
    fn an_area_no_sample_has_is_refused() {
        for text in [
            "0m2", "-1ft2", "9cm2", "93m2", "22ft2", "infm2", "nanm2", "1e9cm2",
        ] {
            let error = text.parse::<SampleArea>().expect_err(text);
            assert!(matches!(error, CountError::Area { .. }), "{text}: {error}");
        }
        assert!(SampleArea::from_m2(0.001).is_ok() && SampleArea::from_m2(2.0).is_ok());
    }

    #[test]
    fn a_count_needs_samples_and_believable_numbers() {
        let count = |samples, larvae| Count::new(samples, core(), larvae, None);
        assert_eq!(count(0, 0), Err(CountError::NoSamples));
        assert_eq!(
            count(1001, 0),
            Err(CountError::TooManySamples { samples: 1001 })
        );
        assert_eq!(
            count(2, 1001),
            Err(CountError::TooManyLarvae {
                larvae: 1001,
                samples: 2
            })
        );
        assert_eq!(count(10, 25).unwrap().mean_per_sample(), 2.5);
    }

    #[test]
    fn a_density_no_turf_has_is_refused() {
        assert_eq!(checked_density(0.0), Ok(0.0));
        assert_eq!(checked_density(64.5), Ok(64.5));
        for per_m2 in [-1.0, 10_001.0, f64::NAN, f64::INFINITY] {
            let refused = checked_density(per_m2).unwrap_err();
            assert!(refused.to_string().contains("check number and unit"));
        }
    }

    #[test]
    fn a_list_must_fit_the_number_of_samples_and_the_total() {
        let count = |each| Count::new(3, core(), 7, Some(each));
        assert_eq!(
            count(vec![3, 4]),
            Err(CountError::ListLength {
                listed: 2,
                samples: 3
            })
        );
        assert_eq!(
            count(vec![3, 4, 1]),
            Err(CountError::ListSum { sum: 8, larvae: 7 })
        );
        assert_eq!(
            count(vec![u32::MAX, u32::MAX, 9]).unwrap_err(),
            CountError::ListSum {
                sum: 8_589_934_599,
                larvae: 7
            }
        );
        assert_eq!(count(vec![3, 4, 0]).unwrap().each(), Some(&[3, 4, 0][..]));
    }
}
