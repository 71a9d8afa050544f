//! How far a score could be chance: the years it was made of, drawn anew.

use std::collections::BTreeMap;

/// How often the years are drawn.
pub const DRAWS: usize = 1000;

/// Absolute errors of the same cases by two outlooks, summed for each year: stations of one year share
/// its weather, so years are what is drawn.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PairedErrors(BTreeMap<i32, (f64, f64)>);

impl PairedErrors {
    /// Notes a case: the absolute errors of the outlook and of the yardstick, days.
    pub fn note(&mut self, year: i32, seen: f64, plain: f64) {
        let sums = self.0.entry(year).or_default();
        sums.0 += seen;
        sums.1 += plain;
    }

    /// Adds the cases of another score.
    pub fn add(&mut self, other: &Self) {
        for (year, (seen, plain)) in &other.0 {
            self.note(*year, *seen, *plain);
        }
    }

    /// Change of the error against the yardstick, percent; `None` without cases.
    pub fn change(&self) -> Option<f64> {
        percent(self.0.values().copied())
    }

    /// The range that holds nine tenths of the changes found with the years drawn anew, percent.
    ///
    /// # Method
    /// Bootstrap: as many years as there are, drawn with replacement, [`DRAWS`] times; the 5 and 95 %
    /// points of the changes. Draws are the same each time.
    ///
    /// # Units
    /// Percent.
    ///
    /// # Valid range
    /// `None` with fewer than five years.
    ///
    /// # References
    /// Efron 1979, Bootstrap methods: another look at the jackknife (from memory).
    pub fn spread(&self) -> Option<(f64, f64)> {
        let years: Vec<(f64, f64)> = self.0.values().copied().collect();
        if years.len() < 5 {
            return None;
        }
        let mut random = fastrand::Rng::with_seed(1979);
        let mut changes: Vec<f64> = (0..DRAWS)
            .filter_map(|_| percent((0..years.len()).map(|_| years[random.usize(..years.len())])))
            .collect();
        changes.sort_by(f64::total_cmp);
        let at = |share: f64| changes.get((share * (changes.len() - 1) as f64).round() as usize);
        Some((*at(0.05)?, *at(0.95)?))
    }
}

fn percent(years: impl Iterator<Item = (f64, f64)>) -> Option<f64> {
    let (seen, plain) = years.fold((0.0, 0.0), |(a, b), (c, d)| (a + c, b + d));
    (plain > 0.0).then(|| 100.0 * (seen / plain - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn errors(of: impl Iterator<Item = (f64, f64)>) -> PairedErrors {
        let mut errors = PairedErrors::default();
        for ((seen, plain), year) in of.zip(1990..) {
            errors.note(year, seen, plain);
        }
        errors
    }

    #[test]
    fn where_every_year_gains_alike_nothing_is_left_to_chance() {
        let errors = errors((1..=20).map(|year| (0.9 * f64::from(year), f64::from(year))));
        let (low, high) = errors.spread().unwrap();
        assert!((errors.change().unwrap() + 10.0).abs() < 1e-9);
        assert!((low + 10.0).abs() < 1e-9 && (high + 10.0).abs() < 1e-9);
    }

    /// Years that gain 2 of 10 or lose 2 of 10 in turn: of 20 the mean has a standard error of
    /// 20 % / √20 = 4.5 points, and nine tenths of a normal spread lie within 1.645 of them. One year
    /// more or less moves a draw by two points.
    #[test]
    fn years_that_gain_and_lose_in_turn_spread_as_the_standard_error_of_their_mean_says() {
        let errors = errors((0..20).map(|year| (if year % 2 == 0 { 8.0 } else { 12.0 }, 10.0)));
        let (low, high) = errors.spread().unwrap();
        let due = 1.645 * 20.0 / 20.0_f64.sqrt();
        assert!(errors.change().unwrap().abs() < 1e-9);
        assert!(
            (high - due).abs() < 1.5 && (low + due).abs() < 1.5,
            "{low} {high}"
        );
    }

    #[test]
    fn stations_of_one_year_count_as_one() {
        let mut two = errors((0..20).map(|year| (if year % 2 == 0 { 8.0 } else { 12.0 }, 10.0)));
        let one = two.clone();
        two.add(&one);
        assert_eq!(two.spread(), one.spread());
        assert_eq!(two.change(), one.change());
    }

    #[test]
    fn of_four_years_no_spread_is_said() {
        assert_eq!(errors([(1.0, 2.0); 4].into_iter()).spread(), None);
        assert_eq!(PairedErrors::default().change(), None);
    }
}
