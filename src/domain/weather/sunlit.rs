//! Whether a sensor hangs in the sun, by its days beside a station's nearby.

use crate::domain::weather::daily_readings::DailyReadings;
use chrono::{Days, NaiveDate};

/// The last days that are looked at.
pub const DAYS: u64 = 60;

/// Fewest common days among them.
pub const FEWEST_DAYS: usize = 20;

/// By how much the daily range must be wider, °C, on average. A choice: stations in Illinois and
/// Indiana, each beside another one anywhere in these states, hardly ever are as much wider over 60 summer
/// days (`tests/dates/sunlit.rs` counts them).
pub const WIDER_BY_C: f64 = 4.0;

/// Below this it is no longer so, °C: less than [`WIDER_BY_C`], so that it is not told one day and taken back
/// the next.
pub const OVER_BELOW_C: f64 = 3.0;

/// Most that the minima may differ, °C: the sun does not shine at night, and a frost hollow is no fault.
pub const MINIMA_ALIKE_C: f64 = 2.0;

/// What a sensor's days say beside a neighbour's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sunlit {
    /// Days compared.
    pub days: usize,
    /// By how much its maxima are higher on average, °C.
    pub maxima_above_c: f64,
    /// By how much its daily range is wider, °C.
    pub wider_by_c: f64,
}

/// Looks whether a sensor's days up to `today` are those of one in the sun; `known` is whether it was so when
/// it was looked at last.
///
/// # Method
/// Over the common days of the last [`DAYS`]: the daily range is wider than the neighbour's by more than
/// [`WIDER_BY_C`] on average, the maxima are higher, and the minima are alike. Where it is known to be so, it
/// remains so until the range is wider by less than [`OVER_BELOW_C`].
///
/// # Units
/// °C.
///
/// # Valid range
/// `None` where it is not so, or with fewer than [`FEWEST_DAYS`] common days. In winter the sun is low and
/// little is seen.
///
/// # References
/// That sensors without a screen read too warm by day: common practice, no source. The bounds are ours.
pub fn sunlit(
    own: &DailyReadings,
    neighbour: &DailyReadings,
    today: NaiveDate,
    known: bool,
) -> Option<Sunlit> {
    let from = today - Days::new(DAYS);
    let (mut days, mut minima, mut maxima) = (0, 0.0, 0.0);
    for (day, own, other) in own.overlap(neighbour) {
        let is_recent = from < day && day <= today;
        if let Some((own, other)) = own.extremes().zip(other.extremes()).filter(|_| is_recent) {
            days += 1;
            minima += own.min() - other.min();
            maxima += own.max() - other.max();
        }
    }
    let (minima, maxima) = (minima / days as f64, maxima / days as f64);
    let wider = maxima - minima;
    let bound = if known { OVER_BELOW_C } else { WIDER_BY_C };
    let is_so = days >= FEWEST_DAYS && wider > bound && minima.abs() <= MINIMA_ALIKE_C;
    is_so.then_some(Sunlit {
        days,
        maxima_above_c: maxima,
        wider_by_c: wider,
    })
}

/// The same as something to tell of a feed whose neighbour has this name.
pub fn sunlit_words(sunlit: &Sunlit, neighbour: &str) -> String {
    format!(
        "Over {} days its maxima were {:.1} °C above those of {neighbour} and its minima alike: it looks as if its sensor hung in the sun.",
        sunlit.days, sunlit.maxima_above_c
    )
}
