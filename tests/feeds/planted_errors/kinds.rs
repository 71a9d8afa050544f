//! The twelve kinds of error, as they get into a file in tenths of °C.

use super::region::{Region, tenths};
use chrono::{Datelike, Days, NaiveDate};
use std::collections::BTreeMap;

/// A year of a file: maximum and minimum in tenths of °C.
pub type FileYear = BTreeMap<NaiveDate, (Option<i32>, Option<i32>)>;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    OtherUnit,
    SignLost,
    Digit,
    Spike,
    DayBefore,
    Exchanged,
    Stuck,
    MonthOtherUnit,
    OtherStation,
    MonthMoved,
    WrongYear,
    Sentinel,
}

/// A small generator of random numbers (SplitMix64), so that a seed says it all.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) % end as u64) as usize
    }

    fn coin(&mut self) -> bool {
        self.below(2) == 1
    }
}

/// Values that stand for "missing" somewhere, after the unit: as tenths, °C, °F.
const SENTINELS: [i32; 8] = [-99, 999, -999, 990, -990, 372, -728, -733];

fn in_other_unit(tenths: i32, fahrenheit: bool) -> i32 {
    let celsius = f64::from(tenths) / 10.0;
    let other = if fahrenheit {
        celsius * 1.8 + 32.0
    } else {
        (celsius - 32.0) / 1.8
    };
    (other * 10.0).round() as i32
}

impl Kind {
    pub const ALL: [Kind; 12] = [
        Kind::OtherUnit,
        Kind::SignLost,
        Kind::Digit,
        Kind::Spike,
        Kind::DayBefore,
        Kind::Exchanged,
        Kind::Stuck,
        Kind::MonthOtherUnit,
        Kind::OtherStation,
        Kind::MonthMoved,
        Kind::WrongYear,
        Kind::Sentinel,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Kind::OtherUnit => "a day in °F for °C, or °C for °F",
            Kind::SignLost => "sign lost",
            Kind::Digit => "digit lost or doubled",
            Kind::Spike => "10 °C spike or dip",
            Kind::DayBefore => "values of the day before",
            Kind::Exchanged => "maximum and minimum exchanged",
            Kind::Stuck => "sensor stuck for 7 days",
            Kind::MonthOtherUnit => "a month in the other unit",
            Kind::OtherStation => "another station's week",
            Kind::MonthMoved => "a month moved by a day",
            Kind::WrongYear => "another year's days",
            Kind::Sentinel => "undeclared code for missing",
        }
    }

    /// The year with an error in it; `None` where the day that was drawn cannot have it.
    pub fn plant(
        self,
        region: &Region,
        place: usize,
        year: i32,
        dice: &mut Dice,
    ) -> Option<FileYear> {
        let station = &region.stations[place];
        let readings = &station.readings;
        let first = NaiveDate::from_ymd_opt(year, 1, 1)?;
        let mut file: FileYear = readings
            .range(first..)
            .take_while(|(day, _)| day.year() == year)
            .map(|(day, reading)| (*day, tenths(Some(reading))))
            .collect();
        let day = first + Days::new(dice.below(365) as u64);
        let (max, min) = *file.get(&day)?;
        let (max, min) = (max?, min?);
        let unit = dice.coin();
        let month: Vec<NaiveDate> = file
            .keys()
            .filter(|of| of.month() == day.month())
            .copied()
            .collect();
        match self {
            Kind::OtherUnit => {
                file.insert(
                    day,
                    (
                        Some(in_other_unit(max, unit)),
                        Some(in_other_unit(min, unit)),
                    ),
                );
            }
            Kind::SignLost => {
                if min >= 0 {
                    return None;
                }
                file.insert(day, (Some(max.abs()), Some(min.abs())));
            }
            Kind::Digit => {
                let of_max = dice.coin();
                let wrong = digit(if of_max { max } else { min }, dice)?;
                file.insert(
                    day,
                    if of_max {
                        (Some(wrong), Some(min))
                    } else {
                        (Some(max), Some(wrong))
                    },
                );
            }
            Kind::Spike => {
                let by = if dice.coin() { 100 } else { -100 };
                let of_max = dice.coin();
                file.insert(
                    day,
                    if of_max {
                        (Some(max + by), Some(min))
                    } else {
                        (Some(max), Some(min + by))
                    },
                );
            }
            Kind::DayBefore => {
                let before = tenths(readings.get(&day.pred_opt()?));
                file.insert(day, before);
            }
            Kind::Exchanged => {
                file.insert(day, (Some(min), Some(max)));
            }
            Kind::Stuck => {
                for day in day.iter_days().take(7).filter(|day| day.year() == year) {
                    file.insert(day, (Some(max), Some(min)));
                }
            }
            Kind::MonthOtherUnit => {
                for day in month {
                    let (max, min) = file[&day];
                    let turn = |value: i32| in_other_unit(value, unit);
                    file.insert(day, (max.map(turn), min.map(turn)));
                }
            }
            Kind::OtherStation => {
                let other = dice.below(region.stations.len());
                if other == place {
                    return None;
                }
                for day in day.iter_days().take(7).filter(|day| day.year() == year) {
                    file.insert(day, tenths(region.stations[other].readings.get(&day)));
                }
            }
            Kind::MonthMoved => {
                for day in month {
                    let from = if unit {
                        day.pred_opt()?
                    } else {
                        day.succ_opt()?
                    };
                    file.insert(day, tenths(readings.get(&from)));
                }
            }
            Kind::WrongYear => {
                let years = &station.clean_years;
                let other = years[dice.below(years.len())];
                if other == year {
                    return None;
                }
                let days: Vec<NaiveDate> = file.keys().copied().collect();
                for day in days {
                    let from = day.with_year(other);
                    file.insert(day, tenths(from.and_then(|from| readings.get(&from))));
                }
            }
            Kind::Sentinel => {
                let code = SENTINELS[dice.below(SENTINELS.len())];
                file.insert(day, (Some(code), Some(code)));
            }
        }
        Some(file)
    }
}

/// A number with one digit left out, or written twice.
fn digit(value: i32, dice: &mut Dice) -> Option<i32> {
    let digits = value.abs().to_string();
    let at = dice.below(digits.len());
    let wrong = if dice.coin() {
        format!("{}{}", &digits[..at], &digits[at + 1..])
    } else {
        format!("{}{}", &digits[..=at], &digits[at..])
    };
    let wrong: i32 = wrong.parse().ok()?;
    (wrong != value.abs()).then_some(wrong * value.signum())
}

/// The text of a file.
pub fn file_of(year: &FileYear) -> String {
    let cell = |value: &Option<i32>| value.unwrap_or(-9999);
    year.iter()
        .map(|(day, (max, min))| {
            format!(
                "{}\t{}\t{}\t0\n",
                day.format("%Y%m%d"),
                cell(max),
                cell(min)
            )
        })
        .collect()
}
