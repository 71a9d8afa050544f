//! The day that a row is about.

use super::Rejection;
use super::table::Row;
use chrono::{Datelike, NaiveDate};

/// Before this year nobody kept a thermometer's daily extremes.
const EARLIEST_YEAR: i32 = 1700;

/// Where the day stands.
#[derive(Debug, Clone, Copy)]
pub(super) enum DayPlace {
    /// In one column.
    One(usize),
    /// In columns for year, month and day.
    Parts([usize; 3]),
}

impl DayPlace {
    /// What a row says of its day; parts are written as one date.
    pub(super) fn text(self, row: &Row) -> String {
        match self {
            Self::One(index) => row.field(index).into_owned(),
            Self::Parts([year, month, day]) => format!(
                "{}-{:0>2}-{:0>2}",
                row.field(year),
                row.field(month),
                row.field(day)
            ),
        }
    }

    /// The day, or `None` if the text is none.
    pub(super) fn day(self, text: &str, formats: &[String]) -> Option<NaiveDate> {
        match self {
            Self::One(_) => parse_date(text, formats),
            Self::Parts(_) => parse_date(text, &["%Y-%m-%d".to_owned()]),
        }
    }
}

/// A date in one of the forms, or `None`; a time of day is cut off. Forms that chrono would read
/// loosely (`%Y` takes a short year) are held to years of four digits.
pub(super) fn parse_date(text: &str, formats: &[String]) -> Option<NaiveDate> {
    let mut runs = text.split(|c: char| !c.is_ascii_digit());
    if text.len() < 8 || !runs.any(|run| matches!(run.len(), 4 | 8..)) {
        return None;
    }
    formats
        .iter()
        .find_map(|format| {
            let plain = || NaiveDate::parse_from_str(text, format).ok();
            match format.as_str() {
                "%Y-%m-%d" | "%Y%m%d" => of_fixed_places(text, format).or_else(plain),
                _ => plain(),
            }
        })
        .filter(|day| (EARLIEST_YEAR..=9999).contains(&day.year()))
}

/// A date that is written with four, two and two digits, with or without hyphens as the form wants
/// it, as most files have it: a tenth of the time that chrono takes for a form it first has to read.
/// `None` for any other text.
fn of_fixed_places(text: &str, format: &str) -> Option<NaiveDate> {
    let ([y1, y2, y3, y4], [m1, m2], [d1, d2]) = match (text.as_bytes(), format) {
        (&[y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2], "%Y-%m-%d")
        | (&[y1, y2, y3, y4, m1, m2, d1, d2], "%Y%m%d") => ([y1, y2, y3, y4], [m1, m2], [d1, d2]),
        _ => return None,
    };
    let number = |digits: &[u8]| {
        digits.iter().try_fold(0_u32, |number, digit| {
            let digit = digit.is_ascii_digit().then(|| u32::from(digit - b'0'))?;
            Some(10 * number + digit)
        })
    };
    let year = i32::try_from(number(&[y1, y2, y3, y4])?).ok()?;
    NaiveDate::from_ymd_opt(year, number(&[m1, m2])?, number(&[d1, d2])?)
}

/// Monthly and hourly files come under the same names as daily ones.
///
/// # Errors
/// [`Rejection`] if a text that is no day shows that the whole file is of another cadence.
pub(super) fn refuse_other_cadence(line: u64, text: &str) -> Result<(), Rejection> {
    // Words are none: a line of totals, a note.
    if !text.starts_with(|c: char| c.is_ascii_digit()) {
        return Ok(());
    }
    let digits = text.chars().filter(char::is_ascii_digit).count();
    let mut remedy = "name the station's daily file; files of other cadences have the same name in other folders";
    let cadence = if text.contains('T') || text.contains(':') || digits > 8 {
        remedy = "name the station's daily file; or, if this one has a row a day, let the dialect's date_formats go on with the time, for example %H:%M";
        "hours: this is an hourly file"
    } else if digits == 6 {
        "months: this is a monthly file"
    } else if digits == 4 && text.len() == 5 {
        "days of no year: this is a file of long-term normals"
    } else {
        return Ok(());
    };
    Err(Rejection::at(
        line,
        format!("\"{text}\" where a day is due; the rows are {cadence}"),
        remedy,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        #[test]
        fn a_date_by_its_places_is_the_one_that_chrono_reads(
            text in "[0-9]{4}-?[0-9]{2}-?[0-9]{2}|[0-9 +-]{8,10}|[12][0-9]{3}-?[01][0-9]-?[0-3][0-9][0-9T]?",
            format in proptest::sample::select(vec!["%Y-%m-%d", "%Y%m%d"]),
        ) {
            let read = NaiveDate::parse_from_str(&text, format).ok();
            if let Some(day) = of_fixed_places(&text, format) {
                proptest::prop_assert_eq!(Some(day), read);
            }
            let loosely = parse_date(&text, &[format.to_owned()]);
            proptest::prop_assert!(loosely.is_none() || loosely == read);
        }
    }

    #[test]
    fn a_date_by_its_places_has_hyphens_only_where_its_form_has_them() {
        let day = NaiveDate::from_ymd_opt(2014, 1, 9);
        assert_eq!(of_fixed_places("2014-01-09", "%Y-%m-%d"), day);
        assert_eq!(of_fixed_places("20140109", "%Y%m%d"), day);
        assert_eq!(of_fixed_places("2014-01-09", "%Y%m%d"), None);
        assert_eq!(of_fixed_places("20140109", "%Y-%m-%d"), None);
    }

    #[test]
    fn words_where_a_day_is_due_tell_of_no_cadence() {
        for words in ["TOTAL", "Total: 31", "", "note of 2026-07-01T09:00"] {
            assert_eq!(refuse_other_cadence(9, words), Ok(()), "{words}");
        }
        for cadence in ["2026-07-01T00:51", "2026-07", "07-01"] {
            assert!(refuse_other_cadence(9, cadence).is_err(), "{cadence}");
        }
    }

    #[test]
    fn days_are_read_in_the_forms_of_a_dialect_and_no_others() {
        let read = |text, format: &str| parse_date(text, &[format.to_owned()]);
        let first_of_july = NaiveDate::from_ymd_opt(2026, 7, 1);
        for (text, format) in [
            ("20260701", "%Y%m%d"),
            ("2026-07-01", "%Y-%m-%d"),
            ("2026/7/1", "%Y/%m/%d"),
            ("01.07.2026 00:00", "%d.%m.%Y %H:%M"),
            ("2026-07-01 09:00:00", "%Y-%m-%d %H:%M:%S"),
            ("7/1/2026", "%m/%d/%Y"),
        ] {
            assert_eq!(read(text, format), first_of_july, "{text}");
        }
        for (text, format) in [
            ("26-07-01", "%Y-%m-%d"),
            ("2026-07", "%Y-%m-%d"),
            ("01.07.26 00:00", "%d.%m.%Y %H:%M"),
            ("01.07.2026", "%d.%m.%Y %H:%M"),
            ("2026-02-30", "%Y-%m-%d"),
            ("2026071", "%Y%m%d"),
        ] {
            assert_eq!(read(text, format), None, "{text}");
        }
    }
}
