//! Areas of turf, depths of water, and rates as labels state them, with their units.
//!
//! What people type is kept as they stated it; sums are made in m², mm, kg, litres and millions.

use crate::domain::scouting::M2_IN_FT2;
use std::fmt;
use std::str::FromStr;

/// Why a text is not an area, a depth or a rate.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AmountError {
    /// The text has no number and unit that are understood.
    #[error("\"{text}\" is not {what}; write {example}")]
    Text {
        /// The text.
        text: String,
        /// What it should be.
        what: &'static str,
        /// How to write it.
        example: &'static str,
    },
    /// The number cannot be.
    #[error("\"{text}\" cannot be {what}: {span}; check number and unit")]
    OutOfRange {
        /// The text.
        text: String,
        /// What it should be.
        what: &'static str,
        /// What is possible.
        span: &'static str,
    },
}

/// A unit with its spellings, the first of them the one shown, and its size in the base unit.
#[derive(Debug, PartialEq)]
pub(super) struct NamedUnit<K> {
    spellings: &'static [&'static str],
    pub(super) kind: K,
    pub(super) size: f64,
}

/// Units of area, in m². Acre and square foot are those of the international foot, exactly
/// (0.3048 m; NIST Special Publication 811, appendix B).
const AREAS: [NamedUnit<()>; 4] = [
    unit(&["m²", "m2", "sqm"], (), 1.0),
    unit(&["ha"], (), 10_000.0),
    unit(&["ft²", "ft2", "sqft"], (), M2_IN_FT2),
    unit(&["acre", "acres", "ac"], (), 4_046.856_422_4),
];

/// What an amount measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Weighed, kg.
    Mass,
    /// Measured out, litres.
    Volume,
    /// Counted, millions (nematodes).
    Number,
}

/// Units of amounts, in kg, litres and millions. Pound and ounce are avoirdupois; gallon, quart,
/// pint and fluid ounce those of the United States (NIST Special Publication 811, appendix B:
/// 0.453 592 37 kg and 3.785 411 784 l, exactly).
const AMOUNTS: [NamedUnit<Kind>; 12] = [
    unit(&["kg"], Kind::Mass, 1.0),
    unit(&["g"], Kind::Mass, 1e-3),
    unit(&["lb", "lbs"], Kind::Mass, 0.453_592_37),
    unit(&["oz"], Kind::Mass, 0.453_592_37 / 16.0),
    unit(&["l", "litre", "litres"], Kind::Volume, 1.0),
    unit(&["ml"], Kind::Volume, 1e-3),
    unit(&["gal"], Kind::Volume, 3.785_411_784),
    unit(&["qt"], Kind::Volume, 3.785_411_784 / 4.0),
    unit(&["pt"], Kind::Volume, 3.785_411_784 / 8.0),
    unit(&["fl oz", "floz"], Kind::Volume, 3.785_411_784 / 128.0),
    unit(&["million"], Kind::Number, 1.0),
    unit(&["billion"], Kind::Number, 1e3),
];

/// Units of depth, in mm. A litre on a square metre is a millimetre.
const DEPTHS: [NamedUnit<()>; 4] = [
    unit(&["mm"], (), 1.0),
    unit(&["cm"], (), 10.0),
    unit(&["in", "inch", "inches"], (), 25.4),
    unit(&["l/m²", "l/m2"], (), 1.0),
];

pub(super) const fn unit<K>(
    spellings: &'static [&'static str],
    kind: K,
    size: f64,
) -> NamedUnit<K> {
    NamedUnit {
        spellings,
        kind,
        size,
    }
}

impl<K> NamedUnit<K> {
    pub(super) fn name(&self) -> &'static str {
        self.spellings[0]
    }
}

/// A number with its unit, if there is one.
pub(super) type NumberWithUnit<K> = Option<(f64, &'static NamedUnit<K>)>;

/// A number and a unit of the table, whatever the spaces and capitals.
pub(super) fn measured<K>(text: &str, units: &'static [NamedUnit<K>]) -> NumberWithUnit<K> {
    let plain: String = text.to_lowercase().split_whitespace().collect();
    let end = plain
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .unwrap_or(plain.len());
    let (number, name) = plain.split_at(end);
    let number: f64 = number.parse().ok()?;
    Some((number, named(name, units)?))
}

fn named<K>(name: &str, units: &'static [NamedUnit<K>]) -> Option<&'static NamedUnit<K>> {
    let spelled = |spelling: &&str| spelling.replace(' ', "") == name;
    units.iter().find(|unit| unit.spellings.iter().any(spelled))
}

/// An area of turf as stated, above 0 and up to 1000 ha.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    value: f64,
    unit: &'static NamedUnit<()>,
}

impl Area {
    /// What a text must look like.
    const WHAT: &'static str = "an area of turf";
    /// Largest area of one site, m².
    const LARGEST_M2: f64 = 1e7;

    /// In m².
    pub fn m2(self) -> f64 {
        self.value * self.unit.size
    }
}

impl FromStr for Area {
    type Err = AmountError;

    /// A number and a unit: `450 m2`, `0.5 ha`, `5000 ft2`, `1.2 acres`.
    fn from_str(text: &str) -> Result<Self, AmountError> {
        let (value, unit) = measured(text, &AREAS).ok_or_else(|| AmountError::Text {
            text: text.to_owned(),
            what: Self::WHAT,
            example: "a number with a point and m2, ha, ft2 or acres, like 450m2 or 0.5ha",
        })?;
        let area = Self { value, unit };
        if value > 0.0 && area.m2() <= Self::LARGEST_M2 {
            Ok(area)
        } else {
            Err(AmountError::OutOfRange {
                text: text.to_owned(),
                what: Self::WHAT,
                span: "it is above 0 and at most 1000 ha",
            })
        }
    }
}

impl fmt::Display for Area {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit.name())
    }
}

/// A depth of water as stated, above 0 and up to 200 mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    value: f64,
    unit: &'static NamedUnit<()>,
}

impl Depth {
    const WHAT: &'static str = "a depth of water";
    /// More than anybody waters at once, mm.
    const DEEPEST_MM: f64 = 200.0;

    /// In mm.
    pub fn mm(self) -> f64 {
        self.value * self.unit.size
    }
}

impl FromStr for Depth {
    type Err = AmountError;

    /// A number and a unit: `12mm`, `0.5in`, `12 l/m2`.
    fn from_str(text: &str) -> Result<Self, AmountError> {
        let (value, unit) = measured(text, &DEPTHS).ok_or_else(|| AmountError::Text {
            text: text.to_owned(),
            what: Self::WHAT,
            example: "a number with a point and mm, cm, in or l/m2, like 12mm or 0.5in",
        })?;
        let depth = Self { value, unit };
        if value > 0.0 && depth.mm() <= Self::DEEPEST_MM {
            Ok(depth)
        } else {
            Err(AmountError::OutOfRange {
                text: text.to_owned(),
                what: Self::WHAT,
                span: "it is above 0 and at most 200 mm",
            })
        }
    }
}

impl fmt::Display for Depth {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit.name())
    }
}

/// An amount of what is spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Amount {
    value: f64,
    unit: &'static NamedUnit<Kind>,
}

impl fmt::Display for Amount {
    /// Three digits that count, so that it can be measured out.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whole = if self.value > 0.0 {
            self.value.log10().floor() as i32 + 1
        } else {
            1
        };
        let decimals = usize::try_from(3 - whole).unwrap_or(0);
        let text = format!("{:.decimals$}", self.value);
        let text = if text.contains('.') {
            text.trim_end_matches('0').trim_end_matches('.')
        } else {
            &text
        };
        write!(f, "{text} {}", self.unit.name())
    }
}

/// A rate as a label states it: an amount for an area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    amount: Amount,
    per: f64,
    unit: &'static NamedUnit<()>,
}

impl Rate {
    const WHAT: &'static str = "a rate";

    /// What it measures.
    pub fn kind(self) -> Kind {
        self.amount.unit.kind
    }

    /// kg, litres or millions on a square metre.
    pub fn per_m2(self) -> f64 {
        self.amount.value * self.amount.unit.size / (self.per * self.unit.size)
    }

    /// What an area takes, in the unit the rate is stated in.
    ///
    /// ```
    /// use hatchbell::domain::journal::amount::{Area, Rate};
    /// let rate: Rate = "0.2 kg/100m2".parse().unwrap();
    /// let lawn: Area = "450 m2".parse().unwrap();
    /// assert_eq!(rate.on(lawn).to_string(), "0.9 kg");
    /// ```
    pub fn on(self, area: Area) -> Amount {
        Amount {
            value: self.amount.value * area.m2() / (self.per * self.unit.size),
            unit: self.amount.unit,
        }
    }
}

impl FromStr for Rate {
    type Err = AmountError;

    /// An amount, a stroke and an area: `0.2 kg/100m2`, `3 oz/1000ft2`, `2 l/ha`,
    /// `0.6 fl oz/1000 ft2`, `2.5 billion/ha`.
    fn from_str(text: &str) -> Result<Self, AmountError> {
        let wrong = || AmountError::Text {
            text: text.to_owned(),
            what: Self::WHAT,
            example: "an amount (kg, g, lb, oz, l, ml, gal, qt, pt, fl oz, million, billion), a stroke and an area, like 0.2kg/100m2 or 3oz/1000ft2",
        };
        let (amount, area) = text.split_once('/').ok_or_else(wrong)?;
        let (value, amount_unit) = measured(amount, &AMOUNTS).ok_or_else(wrong)?;
        let area = area.trim();
        // "2 l/ha" is for one hectare.
        let (per, unit) = measured(area, &AREAS)
            .or_else(|| Some((1.0, named(&area.to_lowercase(), &AREAS)?)))
            .ok_or_else(wrong)?;
        if value > 0.0 && per > 0.0 {
            Ok(Self {
                amount: Amount {
                    value,
                    unit: amount_unit,
                },
                per,
                unit,
            })
        } else {
            Err(AmountError::OutOfRange {
                text: text.to_owned(),
                what: Self::WHAT,
                span: "amount and area are above 0",
            })
        }
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let amount = self.amount;
        write!(f, "{} {}/", amount.value, amount.unit.name())?;
        if self.per != 1.0 {
            write!(f, "{} ", self.per)?;
        }
        write!(f, "{}", self.unit.name())
    }
}

/// How the rates spread in a season stand to the most that a label allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SeasonTotal {
    /// Within the maximum: the share of it that is used up.
    Within(f64),
    /// Over it: the total as a multiple of it.
    Over(f64),
    /// A rate is of another kind than the maximum, so it cannot be added, and the others are within
    /// it.
    NotComparable,
}

/// Compares the rates of a season with the most a season may have, all taken to lie on the same
/// turf.
///
/// # Method
/// `Σ rate / maximum`, each per m².
///
/// # Units
/// kg, litres or millions per m², cancelled.
///
/// # Valid range
/// Rates of one kind. What lay side by side on parts of a site counts as if it lay on one spot:
/// the safe side.
///
/// # References
/// Arithmetic; the maximum is the one on the user's own label.
///
/// # Examples
/// ```
/// use hatchbell::domain::journal::amount::{Rate, SeasonTotal, season_total};
/// let rate: Rate = "3 oz/1000ft2".parse().unwrap();
/// let most: Rate = "4 oz/1000ft2".parse().unwrap();
/// let twice = season_total(&[rate, rate], most);
/// assert!(matches!(twice, SeasonTotal::Over(over) if (over - 1.5).abs() < 1e-12));
/// ```
pub fn season_total(rates: &[Rate], most: Rate) -> SeasonTotal {
    let comparable = || rates.iter().filter(|rate| rate.kind() == most.kind());
    let share = comparable().map(|rate| rate.per_m2()).sum::<f64>() / most.per_m2();
    // A sum that is the maximum itself, but for rounding, is within it.
    if share > 1.0 + 1e-9 {
        SeasonTotal::Over(share)
    } else if comparable().count() < rates.len() {
        SeasonTotal::NotComparable
    } else {
        SeasonTotal::Within(share.min(1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(text: &str) -> Rate {
        text.parse().unwrap_or_else(|e| panic!("{text}: {e}"))
    }

    /// NIST Special Publication 811 (2008), appendix B.9, factors as printed there: acre (based on
    /// US survey foot) is not used; square foot 9.290 304 E-02 m², pound 4.535 924 E-01 kg, ounce
    /// (avoirdupois) 2.834 952 E-02 kg, gallon (US) 3.785 412 l, quart 9.463 529 E-01 l, pint
    /// 4.731 765 E-01 l, fluid ounce 2.957 353 E-02 l, inch 25.4 mm (values from memory).
    #[test]
    fn units_have_their_published_sizes() {
        for (text, per_m2) in [
            ("1 lb/m2", 0.453_592_4),
            ("1 oz/m2", 0.028_349_52),
            ("1 gal/m2", 3.785_412),
            ("1 qt/m2", 0.946_352_9),
            ("1 pt/m2", 0.473_176_5),
            ("1 fl oz/m2", 0.029_573_53),
        ] {
            let off = rate(text).per_m2() / per_m2 - 1.0;
            assert!(off.abs() < 2e-7, "{text}: {off}");
        }
        let inch: Depth = "1 in".parse().unwrap();
        assert_eq!(inch.mm(), 25.4);
        let acre: Area = "1 acre".parse().unwrap();
        let feet: Area = "43560 ft2".parse().unwrap();
        assert!(
            (acre.m2() - feet.m2()).abs() < 1e-6,
            "43 560 ft² are an acre"
        );
    }

    #[test]
    fn what_was_stated_is_shown_and_read_back_as_stated() {
        for (text, shown) in [
            ("0.2kg/100m2", "0.2 kg/100 m²"),
            ("3 OZ / 1000 ft2", "3 oz/1000 ft²"),
            ("2 l/ha", "2 l/ha"),
            ("0.6 fl oz/1000 sqft", "0.6 fl oz/1000 ft²"),
            ("2.5 billion/ha", "2.5 billion/ha"),
        ] {
            assert_eq!(rate(text).to_string(), shown);
            assert_eq!(rate(shown), rate(text));
        }
        for text in ["450 m²", "0.5 ha", "5000 ft²", "1.2 acre"] {
            assert_eq!(text.parse::<Area>().unwrap().to_string(), text);
        }
        for text in ["12 mm", "0.5 in", "3 l/m²"] {
            assert_eq!(text.parse::<Depth>().unwrap().to_string(), text);
        }
    }

    #[test]
    fn amounts_for_an_area_keep_the_unit_of_the_label() {
        for (label, area, amount) in [
            ("3 oz/1000ft2", "5000 ft2", "15 oz"),
            ("2 l/ha", "450 m2", "0.09 l"),
            ("8 fl oz/acre", "0.5 ha", "9.88 fl oz"),
            ("150 g/ha", "40 ha", "6000 g"),
            ("2.5 billion/ha", "450 m2", "0.113 billion"),
        ] {
            let area: Area = area.parse().unwrap();
            assert_eq!(rate(label).on(area).to_string(), amount, "{label}");
        }
    }

    #[test]
    fn a_negative_empty_or_enormous_area_is_refused_with_what_is_possible() {
        for text in ["-450m2", "0 m2", "1001 ha", "-0.1 ha"] {
            let error = text.parse::<Area>().unwrap_err().to_string();
            assert!(error.contains("above 0"), "{text}: {error}");
        }
        for text in [
            "450", "m2", "450 yd2", "4,5 ha", "", "1-2 ha", "nan m2", "inf ha",
        ] {
            let error = text.parse::<Area>().unwrap_err().to_string();
            assert!(error.contains("like 450m2"), "{text}: {error}");
        }
    }

    #[test]
    fn a_rate_needs_an_amount_and_an_area() {
        for text in [
            "3 oz",
            "3/1000ft2",
            "oz/1000ft2",
            "3 oz/",
            "3 oz/1000",
            "3 stone/ha",
        ] {
            let error = text.parse::<Rate>().unwrap_err().to_string();
            assert!(error.contains("like 0.2kg/100m2"), "{text}: {error}");
        }
        for text in ["-3 oz/ha", "0 kg/ha", "3 oz/0 ha"] {
            let error = text.parse::<Rate>().unwrap_err().to_string();
            assert!(error.contains("above 0"), "{text}: {error}");
        }
    }

    #[test]
    fn a_season_may_have_as_much_as_the_label_says_and_no_more() {
        let most = rate("4 oz/1000ft2");
        assert_eq!(season_total(&[], most), SeasonTotal::Within(0.0));
        assert_eq!(season_total(&[most], most), SeasonTotal::Within(1.0));
        // 4 oz on 1000 ft² are 1.2206 g on 1 m².
        let metric = [rate("0.61 g/m2"), rate("0.62 g/m2")];
        assert!(matches!(season_total(&metric, most), SeasonTotal::Over(over) if over < 1.01));
        let litres = rate("1 l/ha");
        assert_eq!(season_total(&[litres], most), SeasonTotal::NotComparable);
        let over = season_total(&[litres, most, most], most);
        assert!(
            matches!(over, SeasonTotal::Over(_)),
            "what can be added is too much already"
        );
    }
}
