//! What digging says: exact ranges of patchy counts, verdicts, plans and last year's risk.

use crate::support::species::species;
use hatchbell::domain::scouting::{
    CONFIDENCE, Count, Density, MOST_SAMPLES, PATCHINESS, Risk, SampleArea, TurfCondition, Verdict,
    chance_of_at_most, risk_before_count, samples_for_precision,
};
use proptest::prelude::*;

/// Three sides of a square of 6 inches, folded back.
fn flap() -> SampleArea {
    SampleArea::from_ft2(0.25).expect("a possible area")
}

fn dug(samples: u32, area: SampleArea, larvae: u32) -> Count {
    Count::new(samples, area, larvae, None).expect("a possible count")
}

fn width(density: Density) -> f64 {
    density.high_per_m2 - density.low_per_m2
}

/// The chances of 0, 1, 2 … larvae in all, each from the one before: nothing shared with the range.
fn chances(samples: u32, mean: f64) -> Vec<f64> {
    let shape = f64::from(samples) * PATCHINESS;
    let p = PATCHINESS / (PATCHINESS + mean);
    let mut chance = p.powf(shape);
    let mut chances = Vec::new();
    let mut sum = 0.0;
    while sum < 1.0 - 1e-9 {
        sum += chance;
        chances.push(chance);
        let larvae = chances.len() as f64;
        chance *= (shape + larvae - 1.0) / larvae * (1.0 - p);
    }
    chances
}

/// Width of the exact range for larvae thrown at random, by halving; larvae in all.
fn width_if_not_patchy(larvae: u32) -> f64 {
    let at_most = |upto: u32, mean: f64| {
        let mut chance = (-mean).exp();
        let mut sum = chance;
        for larvae in 1..=upto {
            chance *= mean / f64::from(larvae);
            sum += chance;
        }
        sum
    };
    let tail = (1.0 - CONFIDENCE) / 2.0;
    let mean_where = |upto: u32, due: f64| {
        let (mut low, mut high) = (0.0, 600.0);
        for _ in 0..100 {
            let middle = (low + high) / 2.0;
            if at_most(upto, middle) > due {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    };
    let low = match larvae {
        0 => 0.0,
        _ => mean_where(larvae - 1, 1.0 - tail),
    };
    mean_where(larvae, tail) - low
}

#[test]
fn the_range_holds_the_true_mean_at_least_nine_times_in_ten() {
    let area = flap();
    for samples in [1, 4, 10, 20] {
        for mean in [0.05, 0.3, 1.0, 2.0, 4.0, 9.0] {
            let per_m2 = mean / area.m2();
            let held: f64 = chances(samples, mean)
                .into_iter()
                .enumerate()
                .filter(|(larvae, _)| {
                    let density = dug(samples, area, *larvae as u32).density();
                    (density.low_per_m2..=density.high_per_m2).contains(&per_m2)
                })
                .map(|(_, chance)| chance)
                .sum();
            assert!(
                held >= CONFIDENCE - 1e-9,
                "{samples} samples of {mean}: {held}"
            );
            assert!(mean < 1.0 || samples < 4 || held < 0.94, "too wide: {held}");
        }
    }
}

#[test]
fn no_larvae_in_few_samples_prove_little() {
    let density = dug(1, flap(), 0).density();
    assert_eq!(density.mean_per_m2, 0.0);
    assert_eq!(density.low_per_m2, 0.0);
    // (1 + m/k)^-k = 0.05 for one sample, so m = k (0.05^(-1/k) - 1).
    let due = PATCHINESS * (0.05_f64.powf(-1.0 / PATCHINESS) - 1.0) / flap().m2();
    assert!((density.high_per_m2 - due).abs() < 1e-6, "{density:?}");
    assert_eq!(density.verdict(86.0), Verdict::Near);
}

#[test]
fn a_count_tells_only_when_its_whole_range_lies_on_one_side() {
    // 64 to 194 larvae per m² by scipy; see outside_checks.rs.
    let density = dug(10, flap(), 25).density();
    assert_eq!(density.verdict(60.0), Verdict::Above);
    assert_eq!(density.verdict(86.0), Verdict::Near);
    assert_eq!(density.verdict(161.0), Verdict::Near);
    assert_eq!(density.verdict(200.0), Verdict::Below);
}

#[test]
fn turf_tolerates_the_more_the_better_it_stands() {
    for (id, irrigated, unirrigated, stressed) in [
        ("japanese-beetle", 161.0, 86.0, 43.0),
        ("oriental-beetle", 161.0, 86.0, 43.0),
        ("northern-masked-chafer", 161.0, 65.0, 32.5),
        ("southern-masked-chafer", 161.0, 65.0, 32.5),
        ("european-chafer", 86.0, 32.0, 16.0),
    ] {
        let range = species(id).action_threshold;
        assert_eq!(TurfCondition::Irrigated.limit_per_m2(&range), irrigated);
        assert_eq!(TurfCondition::Unirrigated.limit_per_m2(&range), unirrigated);
        assert_eq!(TurfCondition::Stressed.limit_per_m2(&range), stressed);
    }
}

#[test]
fn every_name_leads_back_to_its_condition() {
    for (name, condition) in TurfCondition::NAMED {
        assert_eq!(condition.name(), name);
        assert_eq!(TurfCondition::from_name(name), Some(condition));
    }
    assert_eq!(TurfCondition::from_name("parched"), None);
}

#[test]
fn a_mean_on_the_threshold_is_never_told_from_it() {
    let count = dug(10, SampleArea::from_m2(0.1).unwrap(), 100);
    assert_eq!(count.more_samples_to_tell(100.0), None);
    let far = count.more_samples_to_tell(130.0).unwrap();
    let near = count.more_samples_to_tell(115.0).unwrap();
    assert!(0 < far && far < near, "{far} {near}");
    assert_eq!(count.more_samples_to_tell(500.0), Some(0));
}

#[test]
fn the_plan_follows_the_variance_of_a_patchy_count() {
    let area = SampleArea::from_m2(0.1).unwrap();
    for (per_m2, share, due) in [
        // (1/10 + 0.6289) / 0.0625 = 11.7; (1/1 + 0.6289) / 0.0625 = 26.1; 0.7289 / 0.01 = 72.9
        (100.0, 0.25, Some(12)),
        (10.0, 0.25, Some(27)),
        (100.0, 0.1, Some(73)),
        (0.0, 0.25, None),
        (100.0, 0.0, None),
        (0.001, 0.25, None),
        (100.0, 0.001, None),
    ] {
        assert_eq!(samples_for_precision(per_m2, area, share), due, "{per_m2}");
    }
}

#[test]
fn last_year_says_where_to_dig_first() {
    use Risk::{High, Low, Moderate, Unknown};
    for (mean, damaged, due) in [
        (None, None, Unknown),
        (None, Some(false), Low),
        (None, Some(true), High),
        (Some(42.0), None, Low),
        (Some(42.0), Some(false), Low),
        (Some(42.0), Some(true), Moderate),
        (Some(43.0), None, Moderate),
        (Some(43.0), Some(true), High),
        (Some(86.0), Some(false), High),
        (Some(86.0), None, High),
    ] {
        assert_eq!(
            risk_before_count(mean, damaged, 86.0),
            due,
            "{mean:?} {damaged:?}"
        );
    }
}

#[test]
fn the_largest_count_that_is_let_in_still_has_a_sound_range() {
    let area = SampleArea::from_m2(2.0).unwrap();
    let density = dug(MOST_SAMPLES, area, 500 * MOST_SAMPLES).density();
    // By scipy; see outside_checks.rs.
    for (got, due) in [
        (density.low_per_m2, 239.998_127_562),
        (density.high_per_m2, 260.675_461_724),
    ] {
        assert!((got - due).abs() < 1e-5, "{got}, scipy {due}");
    }
}

proptest! {
    #[test]
    fn the_range_holds_the_mean_found(samples in 1..60_u32, share in 0.0..1.0_f64, m2 in 0.005..0.2_f64) {
        let larvae = (share * 30.0 * f64::from(samples)) as u32;
        let density = dug(samples, SampleArea::from_m2(m2).unwrap(), larvae).density();
        prop_assert!(0.0 <= density.low_per_m2 && density.low_per_m2 <= density.mean_per_m2);
        prop_assert!(density.mean_per_m2 < density.high_per_m2);
        prop_assert_eq!(density.low_per_m2 > 0.0, larvae > 0);
    }

    #[test]
    fn more_samples_with_the_same_mean_narrow_the_range(samples in 1..30_u32, larvae in 0..200_u32, times in 2..6_u32) {
        let few = dug(samples, flap(), larvae).density();
        let many = dug(samples * times, flap(), larvae * times).density();
        prop_assert!((few.mean_per_m2 - many.mean_per_m2).abs() < 1e-9);
        prop_assert!(width(many) < width(few), "{:?} {:?}", few, many);
    }

    #[test]
    fn patchy_counts_say_less_than_larvae_thrown_at_random(samples in 1..30_u32, larvae in 0..200_u32) {
        let density = dug(samples, flap(), larvae).density();
        let thrown = width_if_not_patchy(larvae) / f64::from(samples) / flap().m2();
        prop_assert!(width(density) > thrown, "{:?} {}", density, thrown);
    }

    #[test]
    fn the_range_ends_where_the_count_becomes_rare(samples in 1..60_u32, larvae in 0..300_u32) {
        let count = dug(samples, flap(), larvae);
        let density = count.density();
        let at_most = |larvae, per_m2| chance_of_at_most(f64::from(larvae), samples, per_m2 * flap().m2());
        prop_assert!((at_most(larvae, density.high_per_m2) - 0.05).abs() < 1e-9);
        if larvae > 0 {
            prop_assert!((at_most(larvae - 1, density.low_per_m2) - 0.95).abs() < 1e-9);
        }
    }

    #[test]
    fn the_samples_asked_for_are_just_enough(samples in 1..40_u32, larvae in 0..120_u32, threshold in 16.0..200.0_f64) {
        let count = dug(samples, flap(), larvae);
        let told = count.density().verdict(threshold) != Verdict::Near;
        let more = count.more_samples_to_tell(threshold);
        prop_assert_eq!(told, more == Some(0));
        // Totals are whole, so look at multiples of the count, whose mean is the same.
        let Some(more) = more.filter(|more| *more > 0) else { return Ok(()) };
        let verdict_after = |times: u32| dug(samples * times, flap(), larvae * times).density().verdict(threshold);
        let short = (samples + more - 1) / samples;
        prop_assert_eq!(verdict_after(short), Verdict::Near);
        let enough = (samples + more).div_ceil(samples);
        if samples * enough <= MOST_SAMPLES {
            prop_assert_ne!(verdict_after(enough), Verdict::Near);
        }
    }
}
