//! The formulas against published worked examples, tables of computed values, and each other.

use crate::support::species::{date, species};
use hatchbell::domain::phenology::season_days::{Day, Limits};
use hatchbell::domain::phenology::season_state::{Record, season_state};
use hatchbell::domain::phenology::species::Species;
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::degree_day::{Cutoff, Method, Model, ModelError};
use hatchbell::domain::weather::extremes::{Extremes, Unit};
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::reading::Reading;
use proptest::prelude::*;
use proptest::sample::Index;

const VECTORS: &str = include_str!("../../fixtures/reference/degree-day-vectors.csv");
const LOWER: f64 = 10.0;
const UPPER: f64 = 30.0;

fn day(min: f64, max: f64) -> Extremes {
    Extremes::new(min, max).expect("a possible day")
}

fn model(method: Method, cutoff: Option<Cutoff>) -> Model {
    Model::new(LOWER, cutoff.map(|cutoff| (UPPER, cutoff)), method).expect("a possible model")
}

#[test]
fn every_formula_gives_the_tabled_value() {
    use Cutoff::{Horizontal, Intermediate, Vertical};
    use Method::{ModifiedAverage, SimpleAverage, SingleSine, SingleTriangle};
    let columns = [
        ("simple_average", model(SimpleAverage, None)),
        ("modified_lower", model(ModifiedAverage, None)),
        ("modified_both", model(ModifiedAverage, Some(Horizontal))),
        ("triangle", model(SingleTriangle, None)),
        (
            "triangle_horizontal",
            model(SingleTriangle, Some(Horizontal)),
        ),
        ("triangle_vertical", model(SingleTriangle, Some(Vertical))),
        (
            "triangle_intermediate",
            model(SingleTriangle, Some(Intermediate)),
        ),
        ("sine", model(SingleSine, None)),
        ("sine_horizontal", model(SingleSine, Some(Horizontal))),
        ("sine_vertical", model(SingleSine, Some(Vertical))),
        ("sine_intermediate", model(SingleSine, Some(Intermediate))),
    ];
    let mut reader = csv::Reader::from_reader(VECTORS.as_bytes());
    let header = reader.headers().unwrap().clone();
    let mut checked = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let number = |name: &str| -> f64 {
            let index = header.iter().position(|field| field == name).unwrap();
            row[index].parse().unwrap()
        };
        let extremes = day(number("min_c"), number("max_c"));
        for (name, model) in &columns {
            let got = model.degree_days(extremes, None);
            let due = number(name);
            // The table has four decimals, and its inputs too.
            assert!(
                (got - due).abs() < 1.1e-4,
                "{name} of {extremes:?}: {got}, due {due}"
            );
            checked += 1;
        }
    }
    assert_eq!(checked, 12 * 11);
}

/// Published: maximum 70 °F, minimum 40 °F, base 50 °F gives 5 °F·d by the average and 10 by the
/// modified average (Ohio State University extension slides on degree-days); maximum 63 °F,
/// minimum 43 °F gives 3 °F·d (garden column of an Ohio newspaper, "Plant development and growing
/// degree days"); a mean of 64 °F over base 53 °F gives 11 °F·d (University of California citrus
/// figure).
#[test]
fn published_worked_examples_come_out() {
    let f = |v| Unit::Fahrenheit.to_celsius(v);
    let in_f = |base, method, min, max| {
        let model = Model::new(f(base), None, method).unwrap();
        model.degree_days(day(f(min), f(max)), None) * 1.8
    };
    let cases = [
        (in_f(50.0, Method::SimpleAverage, 40.0, 70.0), 5.0),
        (in_f(50.0, Method::ModifiedAverage, 40.0, 70.0), 10.0),
        (in_f(50.0, Method::SimpleAverage, 43.0, 63.0), 3.0),
        (in_f(53.0, Method::SimpleAverage, 54.0, 74.0), 11.0),
    ];
    for (got, due) in cases {
        assert!((got - due).abs() < 1e-9, "{got}, due {due}");
    }
}

/// With N = 0, X = 20 and L = 10 the sine formula is A/π and the triangle A/4; the double forms
/// average two halves. Values computed from the formulas.
#[test]
fn double_forms_average_the_two_halves() {
    let cases = [
        (Method::DoubleTriangle, None, (0.0, 20.0, 8.0), 3.3333),
        (Method::DoubleSine, None, (0.0, 20.0, 8.0), 3.7679),
        (
            Method::DoubleTriangle,
            Some(Cutoff::Horizontal),
            (15.0, 35.0, 19.0),
            15.2969,
        ),
        (
            Method::DoubleSine,
            Some(Cutoff::Horizontal),
            (15.0, 35.0, 19.0),
            14.8412,
        ),
    ];
    for (method, cutoff, (min, max, next), due) in cases {
        let got = model(method, cutoff).degree_days(day(min, max), Some(next));
        assert!(
            (got - due).abs() < 1e-4,
            "{method:?} {cutoff:?}: {got}, due {due}"
        );
    }
}

#[test]
fn impossible_models_are_refused() {
    let upper_below = Model::new(10.0, Some((8.0, Cutoff::Horizontal)), Method::SingleSine);
    assert!(matches!(
        upper_below,
        Err(ModelError::UpperNotAboveLower { .. })
    ));
    let vertical = Model::new(
        10.0,
        Some((30.0, Cutoff::Vertical)),
        Method::ModifiedAverage,
    );
    assert_eq!(vertical, Err(ModelError::ModifiedAverageCutoff));
}

fn any_method() -> impl Strategy<Value = Method> {
    proptest::sample::select(Method::NAMED.map(|(_, method)| method).to_vec())
}

fn any_cutoff(method: Method) -> Vec<Option<Cutoff>> {
    match method {
        Method::ModifiedAverage => vec![None, Some(Cutoff::Horizontal)],
        _ => vec![
            None,
            Some(Cutoff::Horizontal),
            Some(Cutoff::Intermediate),
            Some(Cutoff::Vertical),
        ],
    }
}

/// Days from 1 January without holes, by minimum and range.
fn season_of(days: &[(f64, f64)]) -> Vec<Day> {
    date("2026-01-01")
        .iter_days()
        .zip(days)
        .map(|(date, (min, range))| Day {
            date,
            extremes: day(*min, min + range),
            estimated: false,
        })
        .collect()
}

/// The sum that a site stands at on the last of these days.
fn sum_a_site_stands_at(species: &Species, days: &[Day]) -> f64 {
    let readings: DailyReadings = days
        .iter()
        .map(|day| {
            let (min, max) = (Some(day.extremes.min()), Some(day.extremes.max()));
            (day.date, Reading { min, max })
        })
        .collect();
    let record = Record {
        borrowed: None,
        readings: &readings,
        estimates: &Estimates::new(),
        past: &[],
        forecast: None,
    };
    let today = days.last().expect("a day").date;
    season_state(species, 41.8, record, today, Limits::default()).degree_days
}

proptest! {
    #[test]
    fn a_higher_base_never_gives_more(
        min in -30.0..35.0f64, range in 0.0..25.0f64, base in 0.0..20.0f64, step in 0.0..5.0f64,
        method in any_method(),
    ) {
        let extremes = day(min, min + range);
        let at = |base| Model::new(base, None, method).unwrap().degree_days(extremes, None);
        prop_assert!(at(base + step) <= at(base) + 1e-12);
    }

    #[test]
    fn results_lie_between_nothing_and_the_maximum_over_the_base(
        min in -30.0..35.0f64, range in 0.0..25.0f64, next in -30.0..35.0f64,
        method in any_method(),
    ) {
        let extremes = day(min, min + range);
        for cutoff in any_cutoff(method) {
            let got = model(method, cutoff).degree_days(extremes, Some(next));
            prop_assert!(got >= 0.0 && got <= (min + range - LOWER).max(0.0) + 1e-12, "{method:?} {cutoff:?} {got}");
        }
    }

    #[test]
    fn a_stricter_cutoff_never_gives_more(
        min in -10.0..35.0f64, range in 0.0..25.0f64,
        method in proptest::sample::select(vec![Method::SingleTriangle, Method::SingleSine]),
    ) {
        let extremes = day(min, min + range);
        let at = |cutoff| model(method, cutoff).degree_days(extremes, None);
        let none = at(None);
        let horizontal = at(Some(Cutoff::Horizontal));
        prop_assert!(horizontal <= none + 1e-12);
        prop_assert!(at(Some(Cutoff::Intermediate)) <= horizontal + 1e-12);
        prop_assert!(at(Some(Cutoff::Vertical)) <= horizontal + 1e-12);
    }

    #[test]
    fn fahrenheit_and_celsius_agree(
        min in -20.0..95.0f64, range in 0.0..40.0f64, method in any_method(),
    ) {
        let f = |v| Unit::Fahrenheit.to_celsius(v);
        // The same formula in °F, whose degree is 1.8 times smaller.
        let in_f = Model::new(50.0, None, method).unwrap();
        let in_c = Model::new(10.0, None, method).unwrap();
        let (low, high) = (min.min(59.0), (min + range).min(60.0));
        prop_assume!(low <= high);
        let fahrenheit = in_f.degree_days(day(low, high), None);
        let celsius = in_c.degree_days(day(f(low), f(high)), None);
        prop_assert!((fahrenheit - 1.8 * celsius).abs() < 1e-9);
    }

    #[test]
    fn a_day_wholly_above_the_base_is_the_mean_over_it_by_every_method(
        min in 10.0..30.0f64, range in 0.0..20.0f64, method in any_method(),
    ) {
        let got = model(method, None).degree_days(day(min, min + range), None);
        prop_assert!((got - (min + range / 2.0 - LOWER)).abs() < 1e-9);
    }

    #[test]
    fn a_double_form_whose_next_minimum_is_its_own_is_the_single_form(
        min in -30.0..35.0f64, range in 0.0..25.0f64,
        (single, double) in proptest::sample::select(vec![
            (Method::SingleTriangle, Method::DoubleTriangle),
            (Method::SingleSine, Method::DoubleSine),
        ]),
    ) {
        let extremes = day(min, min + range);
        for cutoff in any_cutoff(single) {
            let due = model(single, cutoff).degree_days(extremes, None);
            for next in [Some(min), None] {
                let got = model(double, cutoff).degree_days(extremes, next);
                prop_assert!((got - due).abs() < 1e-12, "{double:?} {cutoff:?} {next:?}: {got}, {due}");
            }
        }
    }

    /// Warmth between two thresholds is that up to any threshold between them and that from there.
    #[test]
    fn degree_days_between_two_thresholds_add_up_where_they_are_split(
        min in -10.0..35.0f64, range in 0.0..25.0f64, next in -10.0..35.0f64,
        split in (LOWER + 0.1)..(UPPER - 0.1), method in any_method(),
    ) {
        let extremes = day(min, min + range);
        let between = |lower, upper| {
            let model = Model::new(lower, Some((upper, Cutoff::Horizontal)), method).unwrap();
            model.degree_days(extremes, Some(next))
        };
        let parts = between(LOWER, split) + between(split, UPPER);
        let whole = between(LOWER, UPPER);
        prop_assert!((parts - whole).abs() < 1e-9, "{method:?}: {parts}, whole {whole}");
    }

    /// The pieces are summed apart. By a double form the last day of a piece lacks the minimum of
    /// the day after it, which is made up for; by every other method the pieces need nothing.
    #[test]
    fn the_sum_a_season_stands_at_is_that_of_the_pieces_of_any_split(
        days in prop::collection::vec((-15.0..30.0f64, 0.0..22.0f64), 2..120),
        cuts in prop::collection::vec(any::<Index>(), 0..6),
        method in any_method(), cutoff in any::<Index>(),
    ) {
        let cutoffs = any_cutoff(method);
        let model = model(method, cutoffs[cutoff.index(cutoffs.len())]);
        let species = Species { model, ..species("japanese-beetle") };
        let days = season_of(&days);
        let mut cuts: Vec<usize> = cuts.iter().map(|cut| cut.index(days.len())).collect();
        cuts.extend([0, days.len()]);
        cuts.sort_unstable();
        let mut sum = 0.0;
        for ends in cuts.windows(2) {
            let piece = &days[ends[0]..ends[1]];
            sum += species.sum_of(piece);
            if let (Some(last), Some(next)) = (piece.last(), days.get(ends[1])) {
                let whole = model.degree_days(last.extremes, Some(next.extremes.min()));
                let alone = model.degree_days(last.extremes, None);
                if !matches!(method, Method::DoubleSine | Method::DoubleTriangle) {
                    prop_assert_eq!(whole, alone);
                }
                sum += whole - alone;
            }
        }
        let stands_at = sum_a_site_stands_at(&species, &days);
        prop_assert!((stands_at - sum).abs() < 1e-9, "{stands_at}, pieces {sum}");
    }
}
