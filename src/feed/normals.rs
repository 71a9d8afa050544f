//! Files of daily normals: one line for each calendar day, columns named as in the by-station files of
//! the U.S. Climate Normals.

use super::Rejection;
use crate::domain::weather::normals::{DAYS, Normal, Normals, SPREAD_C};
use chrono::{Datelike, NaiveDate};
use csv::StringRecord;

/// The columns read: day as `MM-DD`, mean maximum and minimum, °F, and the standard deviation of the
/// day's mean, °F, which may be left out.
const COLUMNS: [&str; 4] = [
    "DATE",
    "DLY-TMAX-NORMAL",
    "DLY-TMIN-NORMAL",
    "DLY-TAVG-STDDEV",
];

/// A normal maximum of the warmest day is nowhere on land outside of this, °C. A file in °C that is read
/// as °F lies far below.
const WARMEST_C: std::ops::RangeInclusive<f64> = 10.0..=50.0;

/// The same for the minimum of the coldest day.
const COLDEST_C: std::ops::RangeInclusive<f64> = -50.0..=27.0;

const WHAT_TO_DO: &str = "give the daily by-station file of the U.S. Climate Normals (columns DATE, DLY-TMAX-NORMAL, DLY-TMIN-NORMAL in °F)";

/// Reads the bytes of a file of normals.
///
/// # Errors
/// [`Rejection`] names the line and what is wrong: a column or a day that is missing, a value that is
/// none, normals in another unit.
pub fn parse(bytes: &[u8]) -> Result<Normals, Rejection> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(bytes);
    let broken = |error: csv::Error| Rejection::whole(format!("no table ({error})"), WHAT_TO_DO);
    let header = reader.headers().map_err(broken)?.clone();
    let place = |name: &str| header.iter().position(|column| column == name);
    let [date, max, min, spread] = COLUMNS.map(place);
    let needed = |place: Option<usize>, name: &str| {
        place.ok_or_else(|| Rejection::at(1, format!("no column {name}"), WHAT_TO_DO))
    };
    let date = needed(date, COLUMNS[0])?;
    let (max, min) = (needed(max, COLUMNS[1])?, needed(min, COLUMNS[2])?);
    let mut days: Vec<Option<Normal>> = vec![None; DAYS];
    for row in reader.into_records() {
        let row = row.map_err(broken)?;
        let line = row.position().map_or(0, csv::Position::line);
        let Some(place) = day(&row, date, line)? else {
            continue;
        };
        let (max, min) = (fahrenheit(&row, max, line)?, fahrenheit(&row, min, line)?);
        if min > max {
            let what = format!("the minimum lies above the maximum on {}", &row[date]);
            return Err(Rejection::at(line, what, WHAT_TO_DO));
        }
        let spread = match spread.map(|spread| number(&row, spread)) {
            Some(Some(spread)) if spread > 0.0 => spread / 1.8,
            _ => SPREAD_C,
        };
        days[place] = Some(Normal { min, max, spread });
    }
    let known: Vec<Normal> = days.into_iter().flatten().collect();
    let count = known.len();
    let normals = Normals::new(known).ok_or_else(|| {
        let what = format!("{count} of {DAYS} calendar days have both normals");
        Rejection::whole(what, WHAT_TO_DO)
    })?;
    let (warmest, coldest) = (normals.warmest(), normals.coldest());
    if !WARMEST_C.contains(&warmest) || !COLDEST_C.contains(&coldest) {
        let what = format!(
            "read as °F the warmest day has {warmest:.0} °C and the coldest night {coldest:.0} °C, so these are in another unit"
        );
        return Err(Rejection::whole(what, WHAT_TO_DO));
    }
    Ok(normals)
}

/// The place of a row's calendar day in the year; `None` for 29 February.
fn day(row: &StringRecord, column: usize, line: u64) -> Result<Option<usize>, Rejection> {
    let text = row.get(column).unwrap_or_default();
    if text == "02-29" {
        return Ok(None);
    }
    // 2023 is no leap year.
    NaiveDate::parse_from_str(&format!("2023-{text}"), "%Y-%m-%d")
        .map(|day| Some(day.ordinal0() as usize))
        .map_err(|_| {
            let what = format!("\"{text}\" is no calendar day like 06-15");
            Rejection::at(line, what, WHAT_TO_DO)
        })
}

/// A normal in °F as °C.
fn fahrenheit(row: &StringRecord, column: usize, line: u64) -> Result<f64, Rejection> {
    let fahrenheit = number(row, column).ok_or_else(|| {
        let text = row.get(column).unwrap_or_default();
        Rejection::at(line, format!("\"{text}\" is no normal"), WHAT_TO_DO)
    })?;
    Ok((fahrenheit - 32.0) / 1.8)
}

/// A number; -9999 and the like stand for a normal that is not given.
fn number(row: &StringRecord, column: usize) -> Option<f64> {
    let number: f64 = row.get(column)?.parse().ok()?;
    (number > -900.0 && number.is_finite()).then_some(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file in °F: 20 to 40 °F in January, 65 to 85 °F in July.
    fn file(change: impl Fn(usize, String) -> String) -> String {
        let first = NaiveDate::from_ymd_opt(2024, 1, 1).unwrap();
        let mut text =
            "\"DATE\",\"DLY-TMAX-NORMAL\",\"DLY-TMIN-NORMAL\",\"DLY-TAVG-STDDEV\"\n".to_owned();
        for (place, day) in first.iter_days().take(366).enumerate() {
            let course = (std::f64::consts::TAU * place as f64 / 366.0).cos();
            let max = 62.5 - 22.5 * course;
            let row = format!(
                "\"{}\",\"  {max:.1}\",\"  {:.1}\",\"  9.0\"\n",
                day.format("%m-%d"),
                max - 20.0
            );
            text += &change(place, row);
        }
        text
    }

    fn refused(text: &str) -> Rejection {
        parse(text.as_bytes()).expect_err("it is wrong")
    }

    #[test]
    fn normals_are_read_by_the_names_of_their_columns_and_29_february_is_left_out() {
        let normals = parse(file(|_, row| row).as_bytes()).unwrap();
        assert!((normals.warmest() - (85.0 - 32.0) / 1.8).abs() < 0.01);
        assert!((normals.coldest() - (20.0 - 32.0) / 1.8).abs() < 0.01);
    }

    #[test]
    fn a_spread_that_is_not_given_is_the_stated_one() {
        let without = file(|_, row| row.replace("\"  9.0\"", "\"-9999.0\""));
        let normals = parse(without.as_bytes()).unwrap();
        let given = parse(file(|_, row| row).as_bytes()).unwrap();
        let wide = |normals: &Normals| {
            let days: Vec<f64> = normals
                .seasons(0)
                .iter()
                .map(|season| season[200].max())
                .collect();
            days.iter()
                .fold(0.0, |most: f64, max| most.max(max - normals.warmest()))
        };
        // 9 °F are 5 °C.
        assert!((wide(&normals) / wide(&given) - SPREAD_C / 5.0).abs() < 0.02);
    }

    #[test]
    fn normals_in_celsius_are_refused_with_what_they_would_mean() {
        let celsius = file(|_, row| {
            let cells: Vec<String> = row
                .trim()
                .split(',')
                .map(|cell| {
                    let cell = cell.trim_matches('"').trim();
                    match cell.parse::<f64>() {
                        Ok(fahrenheit) => format!("{:.1}", (fahrenheit - 32.0) / 1.8),
                        Err(_) => cell.to_owned(),
                    }
                })
                .collect();
            cells.join(",") + "\n"
        });
        let refused = refused(&celsius);
        assert!(refused.what.contains("another unit"), "{refused:?}");
        assert!(refused.remedy.contains("°F"));
    }

    #[test]
    fn what_is_missing_or_no_normal_is_named_with_its_line() {
        assert_eq!(
            refused(&file(|_, row| row).replace("DLY-TMIN-NORMAL", "TMIN")).what,
            "no column DLY-TMIN-NORMAL"
        );
        let short = refused(&file(
            |place, row| if place > 299 { String::new() } else { row },
        ));
        assert_eq!(short.what, "299 of 365 calendar days have both normals");
        let wrong = refused(&file(|place, row| {
            if place == 9 {
                "\"01-10\",\"-9999.0\",\"20\",\"9\"\n".into()
            } else {
                row
            }
        }));
        assert_eq!(
            (wrong.line, wrong.what.as_str()),
            (Some(11), "\"-9999.0\" is no normal")
        );
        let swapped = refused(&file(|place, row| {
            if place == 9 {
                "\"01-10\",\"20\",\"30\",\"9\"\n".into()
            } else {
                row
            }
        }));
        assert!(
            swapped.what.contains("above the maximum on 01-10"),
            "{swapped:?}"
        );
        let monthly = refused(&file(|place, row| {
            if place == 0 {
                "\"01\",\"20\",\"10\",\"9\"\n".into()
            } else {
                row
            }
        }));
        assert!(monthly.what.contains("no calendar day"), "{monthly:?}");
        assert!(parse(b"").is_err());
        assert!(parse(&[0xff, 0xfe, 0, 1, 2]).is_err());
    }
}
