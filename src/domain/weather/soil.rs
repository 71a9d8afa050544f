//! The temperature of the soil, estimated from that of the air. How good the estimate is stands in
//! DEVELOPERS.md, "Soil temperature".

/// What of a day's frost reaches the ground, as a share: a mean of −10 °C counts as −2 °C. Water that
/// freezes, snow and thatch keep out the rest.
const FROST_SHARE: f64 = 0.2;

/// Weight of the newest day in the mean of the last days.
const FAST_WEIGHT: f64 = 0.5;

/// Weight of the newest day in the mean of the last weeks.
const SLOW_WEIGHT: f64 = 0.1;

/// Share of the soil's temperature that follows the last days.
const FAST_SHARE: f64 = 0.40;

/// Share that follows the last weeks.
const SLOW_SHARE: f64 = 0.56;

/// What these shares leave out, °C: under the sun, soil is warmer than air over the year.
const OFFSET_C: f64 = 1.3;

/// Days that a record needs before it no longer matters where it begins: by then that makes less than
/// 0.2 °C for 19 of 20 starts and a third of a degree at most (measured as in DEVELOPERS.md).
pub const SPIN_UP_DAYS: usize = 30;

/// A mean of the days so far in which older days count less and less. The first days are averaged
/// plainly, so that the very first one does not stand for all before it.
struct RunningMean {
    weight: f64,
    days: u32,
    mean: f64,
}

impl RunningMean {
    fn new(weight: f64) -> Self {
        Self {
            weight,
            days: 0,
            mean: 0.0,
        }
    }

    fn with(&mut self, value: f64) -> f64 {
        self.days += 1;
        let share = self.weight.max(1.0 / f64::from(self.days));
        self.mean += share * (value - self.mean);
        self.mean
    }
}

/// Mean soil temperature at 10 cm under turf, °C, of each day, estimated from daily mean air
/// temperatures, °C, of consecutive days. It is an estimate, not a measurement.
///
/// # Method
/// `S = 1.3 + 0.40 F + 0.56 W`. `F` (fast) and `W` (slow) are exponentially weighted means of the
/// days up to and including the one in question, with weights of 0.5 and 0.1 for the newest day; a
/// mean below 0 °C enters them as a fifth of itself. In the first 2 and 10 days they are plain means of
/// the days so far. Only earlier days count, so a course that is cut off gives the same values. Above
/// frost the method is linear: the soil of a mean course is the mean of the soils of its courses.
/// Constant air of `T ≥ 0` gives constant soil of `1.3 + 0.96 T`: warmer than air below 32.5 °C.
///
/// # Units
/// °C in, °C out. A day's air mean is half the sum of its extremes.
///
/// # Valid range
/// Fitted to one station only (silty soil under grass, 39° N in Kansas, 2009 to 2017). March to
/// November, unfrozen ground, from [`SPIN_UP_DAYS`] days after the first one; every value finite, so
/// missing days are to be completed before. There, from April to October, its error was
/// 1.1 °C (RMS) and for one day in twenty more than 2.1 °C; other soils, shade, irrigation and slopes
/// add to that. Frozen ground and snow are outside the range.
///
/// # References
/// The form, one fast and one slow mean, and its constants are this project's own. The share of frost
/// is that of Kätterer and Andrén 2009, Acta Agric. Scand. B 59:77–86 (read in the documentation of an
/// R package, not in the article). Lagged weighted means of air and rain: Horton and Corkrey 2011, Soil
/// Research 49:305–314, with an RMSD of 1.21 to 1.85 °C in Australia, more for maxima near the surface
/// (abstract read, coefficients not).
///
/// # Examples
/// ```
/// use hatchbell::domain::weather::soil::soil_temperatures;
/// // A month at 15 °C, then one day of 25 °C: the soil follows by a quarter.
/// let air = [15.0; 30].into_iter().chain([25.0]);
/// let soil = soil_temperatures(air);
/// assert!((soil[29] - 15.7).abs() < 1e-9);
/// assert!((soil[30] - 18.26).abs() < 1e-9);
/// ```
pub fn soil_temperatures(air_means: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let (mut fast, mut slow) = (RunningMean::new(FAST_WEIGHT), RunningMean::new(SLOW_WEIGHT));
    air_means
        .into_iter()
        .map(|air| {
            let felt = if air < 0.0 { FROST_SHARE * air } else { air };
            OFFSET_C + FAST_SHARE * fast.with(felt) + SLOW_SHARE * slow.with(felt)
        })
        .collect()
}

/// Mean of each day and the six before it (fewer at the start), °C.
///
/// ```
/// use hatchbell::domain::weather::soil::weekly_means;
/// assert_eq!(weekly_means(&[7.0, 9.0, 11.0]), [7.0, 8.0, 9.0]);
/// ```
pub fn weekly_means(soil: &[f64]) -> Vec<f64> {
    (0..soil.len())
        .map(|last| {
            let week = &soil[last.saturating_sub(6)..=last];
            week.iter().sum::<f64>() / week.len() as f64
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9
    }

    #[test]
    fn constant_air_gives_constant_soil_from_the_first_day_on() {
        for (air, due) in [(0.0, 1.3), (10.0, 10.9), (20.0, 20.5), (30.0, 30.1)] {
            let soil = soil_temperatures([air; 60]);
            assert!(soil.iter().all(|soil| close(*soil, due)), "{air}: {soil:?}");
        }
    }

    #[test]
    fn a_fifth_of_frost_reaches_the_ground() {
        let soil = soil_temperatures([-10.0; 40]);
        assert!(close(soil[39], 1.3 - 0.96 * 2.0), "{}", soil[39]);
    }

    #[test]
    fn a_step_is_followed_without_a_turn_and_with_a_lag() {
        let air = [5.0; 60].into_iter().chain([15.0; 90]);
        let soil = soil_temperatures(air);
        let after = &soil[59..];
        assert!(after.windows(2).all(|days| days[1] > days[0]));
        // By hand: 0.40 · (1 − 0.5^n) + 0.56 · (1 − 0.9^n) of the step after n days.
        for (days, risen) in [(1, 2.56), (2, 4.064), (7, 6.890_3)] {
            assert!((after[days] - after[0] - risen).abs() < 1e-4, "{days}");
        }
        assert!((after[90] - after[0] - 9.6).abs() < 1e-3);
    }

    #[test]
    fn the_first_days_are_plain_means_of_what_is_known() {
        let soil = soil_temperatures([4.0, 8.0, 12.0]);
        assert!(close(soil[0], 1.3 + 0.96 * 4.0));
        assert!(close(soil[1], 1.3 + 0.96 * 6.0));
        assert!(close(soil[2], 1.3 + 0.40 * 9.0 + 0.56 * 8.0));
    }

    #[test]
    fn no_day_gives_no_soil() {
        assert!(soil_temperatures([]).is_empty());
        assert!(weekly_means(&[]).is_empty());
    }

    #[test]
    fn a_week_is_the_day_and_the_six_before_it() {
        let soil: Vec<f64> = (0..9).map(f64::from).collect();
        let due = [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0];
        assert_eq!(weekly_means(&soil), due);
    }

    /// Four years of a sine of the year; the amplitude of its last year and the day of its peak.
    fn last_year(course: &[f64]) -> (f64, usize) {
        let year = &course[3 * 365..];
        let (mut low, mut high, mut peak) = (f64::MAX, f64::MIN, 0);
        for (day, value) in year.iter().enumerate() {
            low = low.min(*value);
            if *value > high {
                (high, peak) = (*value, day);
            }
        }
        ((high - low) / 2.0, peak)
    }

    fn years(mean: f64, amplitude: f64) -> Vec<f64> {
        (0..4 * 365)
            .map(|day| mean - amplitude * (f64::from(day) / 365.0 * TAU).cos())
            .collect()
    }

    #[test]
    fn the_warmest_soil_comes_about_six_days_after_the_warmest_air() {
        // Lags of slow change: (1 − w)/w is 1 day and 9 days; shares 0.40 and 0.56 make 5.7 days.
        let air = years(15.0, 12.0);
        let lag = last_year(&soil_temperatures(air.iter().copied())).1 - last_year(&air).1;
        assert!((5..=7).contains(&lag), "{lag}");
    }

    proptest! {
        #[test]
        fn the_year_of_the_soil_is_narrower_than_that_of_the_air(
            mean in -10.0..30.0f64,
            amplitude in 0.5..25.0f64,
        ) {
            let air = years(mean, amplitude);
            let soil = soil_temperatures(air.iter().copied());
            prop_assert!(last_year(&soil).0 < last_year(&air).0);
        }

        #[test]
        fn without_frost_the_soil_of_a_mean_course_is_the_mean_of_the_soils(
            courses in proptest::collection::vec((0.0..35.0f64, 0.0..35.0f64), 1..80),
        ) {
            let one = soil_temperatures(courses.iter().map(|day| day.0));
            let other = soil_temperatures(courses.iter().map(|day| day.1));
            let of_mean = soil_temperatures(courses.iter().map(|day| f64::midpoint(day.0, day.1)));
            for ((one, other), of_mean) in one.iter().zip(&other).zip(&of_mean) {
                prop_assert!(close(f64::midpoint(*one, *other), *of_mean));
            }
        }

        #[test]
        fn days_to_come_change_nothing_before_them(
            air in proptest::collection::vec(-30.0..35.0f64, 2..60),
            cut in 1usize..59,
        ) {
            let cut = cut.min(air.len());
            let whole = soil_temperatures(air.iter().copied());
            prop_assert_eq!(&whole[..cut], &soil_temperatures(air[..cut].iter().copied())[..]);
        }

        #[test]
        fn a_warmer_day_never_cools_the_soil(
            air in proptest::collection::vec(-30.0..35.0f64, 1..60),
            place in 0usize..60,
            warmer in 0.1..10.0f64,
        ) {
            let mut other = air.clone();
            other[place % air.len()] += warmer;
            let (soil, other) = (soil_temperatures(air), soil_temperatures(other));
            prop_assert!(soil.iter().zip(&other).all(|(soil, other)| other >= soil));
        }
    }
}
