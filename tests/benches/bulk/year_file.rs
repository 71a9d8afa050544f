//! An invented by_year file: the same seed writes the same bytes.

use chrono::{Datelike, NaiveDate};
use std::io::{self, Write};

/// Stations with thermometers.
const WITH_TEMPERATURE: u64 = 12_500;
/// Stations with a rain gauge only.
const RAIN_ONLY: u64 = 7_500;
/// The year; it does not matter which.
const YEAR: i32 = 1965;

/// Vigna's splitmix64: one number after another from a seed.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// True this many times in a thousand.
    fn in_thousand(&mut self, times: u64) -> bool {
        self.next() % 1000 < times
    }

    /// A whole number from 0 to below `end`.
    fn below(&mut self, end: u64) -> i64 {
        (self.next() % end) as i64
    }
}

struct Station {
    code: String,
    thermometer: bool,
    /// Days with a report, in a thousand.
    diligence: u64,
    /// Mean temperature, tenths of °C.
    mean: i64,
    source: char,
    time: &'static str,
}

fn stations(chance: &mut Chance) -> Vec<Station> {
    let networks = ["USC00", "CA00", "ASN000", "GME000", "ZZ0000"];
    let mut stations: Vec<Station> = (0..WITH_TEMPERATURE + RAIN_ONLY)
        .map(|index| {
            let network = networks[(chance.next() % 5) as usize];
            let digits = 11 - network.len();
            let coop = network == "USC00";
            Station {
                code: format!("{network}{:0digits$}", index + 10_000),
                thermometer: index < WITH_TEMPERATURE,
                diligence: if chance.in_thousand(350) { 970 } else { 250 },
                mean: chance.below(250) - 30,
                source: if coop { '0' } else { 'S' },
                time: if coop { "0700" } else { "" },
            }
        })
        .collect();
    stations.sort_by(|a, b| a.code.cmp(&b.code));
    stations
}

/// Writes the file and returns its rows: eleven million from seed 1.
pub fn write(seed: u64, to: &mut impl Write) -> io::Result<u64> {
    let mut chance = Chance(seed);
    let stations = stations(&mut chance);
    let mut rows = 0;
    let first = NaiveDate::from_ymd_opt(YEAR, 1, 1).expect("a date");
    for day in first.iter_days().take_while(|day| day.year() == YEAR) {
        let date = day.format("%Y%m%d").to_string();
        let course = -(f64::from(day.ordinal0()) * std::f64::consts::TAU / 365.0).cos();
        for station in &stations {
            if !chance.in_thousand(station.diligence) {
                continue;
            }
            let mut row = |element: &str, value: i64, measured: &str, flagged: bool| {
                rows += 1;
                writeln!(
                    to,
                    "{},{date},{element},{value},{measured},{},{},{}",
                    station.code,
                    if flagged { "I" } else { "" },
                    station.source,
                    station.time,
                )
            };
            let failed = |chance: &mut Chance| chance.in_thousand(3);
            if station.thermometer {
                let max = station.mean + (110.0 * course) as i64 + chance.below(160);
                let min = max - 20 - chance.below(140);
                if chance.in_thousand(985) {
                    row("TMAX", max, "", failed(&mut chance))?;
                }
                if chance.in_thousand(985) {
                    row("TMIN", min, "", failed(&mut chance))?;
                }
                if chance.in_thousand(450) {
                    row("TOBS", (max + min) / 2, "", failed(&mut chance))?;
                }
            }
            if !station.thermometer || chance.in_thousand(900) {
                let wet = chance.in_thousand(300);
                let rain = if wet { chance.below(250) } else { 0 };
                let trace = if wet && rain == 0 { "T" } else { "" };
                row("PRCP", rain, trace, failed(&mut chance))?;
            }
            if chance.in_thousand(380) {
                row("SNOW", 0, "", false)?;
            }
            if chance.in_thousand(300) {
                row("SNWD", 0, "", false)?;
            }
        }
    }
    to.flush()?;
    Ok(rows)
}
