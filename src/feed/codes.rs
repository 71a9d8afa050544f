//! What fields say that is no measurement: codes for "no value", quality flags, and what rows are
//! of.

use crate::station_feed::dialect::{Dialect, FlagRule};

/// A finite decimal number. `NaN`, `inf` and hexadecimal floats are not numbers here.
pub(super) fn number(text: &str, decimal_comma: bool) -> Option<f64> {
    let plain = text
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E'));
    if decimal_comma && text.matches(',').count() == 1 && !text.contains('.') {
        return number(&text.replace(',', "."), false);
    }
    text.parse::<f64>()
        .ok()
        .filter(|number| plain && number.is_finite())
}

/// A list of codes, compared as text, and as numbers where both are some: `-999` is `-999.0`.
#[derive(Debug, Clone, Default)]
pub(super) struct Codes {
    texts: Vec<String>,
    numbers: Vec<f64>,
    decimal_comma: bool,
}

impl Codes {
    pub(super) fn new(texts: &[String], decimal_comma: bool) -> Self {
        Self {
            texts: texts.to_vec(),
            numbers: texts
                .iter()
                .filter_map(|text| number(text, decimal_comma))
                .collect(),
            decimal_comma,
        }
    }

    pub(super) fn hold(&self, text: &str) -> bool {
        self.texts.iter().any(|code| code == text)
            || (!self.numbers.is_empty()
                && number(text, self.decimal_comma).is_some_and(|n| self.numbers.contains(&n)))
    }
}

/// What tells a failed value by its flags.
pub(super) struct Flags {
    part: Option<usize>,
    rule: Rule,
}

enum Rule {
    AnyIsBad,
    Bad(Codes),
    Good(Codes),
}

impl Flags {
    pub(super) fn of(dialect: &Dialect) -> Self {
        let codes = |texts: &[String]| Codes::new(texts, false);
        Self {
            part: dialect.quality_part,
            rule: match &dialect.flag_rule {
                FlagRule::AnyIsBad => Rule::AnyIsBad,
                FlagRule::Bad(texts) => Rule::Bad(codes(texts)),
                FlagRule::Good(texts) => Rule::Good(codes(texts)),
            },
        }
    }

    /// The flag in a flags field, if it means that the value has failed.
    pub(super) fn failed(&self, field: &str) -> Option<String> {
        let flag = match self.part {
            Some(part) => field.split(',').nth(part).unwrap_or(""),
            None => field,
        };
        let flag = flag.trim();
        let failed = match &self.rule {
            Rule::AnyIsBad => !flag.is_empty() && flag != "null",
            Rule::Bad(codes) => codes.hold(flag),
            Rule::Good(codes) => !codes.hold(flag),
        };
        failed.then(|| flag.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_compared_as_numbers_where_both_are_some() {
        let codes = Codes::new(&["-999".into(), "M".into(), String::new()], false);
        for text in ["-999", "-999.0", "-999.000", "M", ""] {
            assert!(codes.hold(text), "{text}");
        }
        for text in ["-99.9", "999", "m", "0", "-1", "NaN"] {
            assert!(!codes.hold(text), "{text}");
        }
    }

    #[test]
    fn a_decimal_comma_is_read_only_where_it_is_due() {
        assert_eq!(number("12,5", true), Some(12.5));
        assert_eq!(number("-12", true), Some(-12.0));
        for (text, comma) in [("12,5", false), ("1.234,5", true), ("1,2,3", true)] {
            assert_eq!(number(text, comma), None, "{text}");
        }
    }
}
