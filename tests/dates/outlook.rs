//! The outlook: ranges from past seasons, what they are made of, and when there are none.

use crate::support::species::{date, species, steady};
use chrono::{Days, NaiveDate};
use hatchbell::domain::phenology::hindcast::{HindcastPlan, LeadScore, PastUsed, hindcast};
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::phenology::outlook::{Ensemble, NoOutlook, Outlook};
use hatchbell::domain::phenology::past_season::{PastSeason, past_seasons};
use hatchbell::domain::phenology::remainder::Remainder;
use hatchbell::domain::phenology::season::{MonthDay, Season};
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::phenology::season_state::{Record, SeasonState, season_state};
use hatchbell::domain::phenology::species::Threshold;
use hatchbell::domain::sourced_value::EvidenceGrade;
use hatchbell::domain::telling::season_letter::{Foretold, Policy, foretold, is_near, moved};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::degree_day::{Method, Model};
use hatchbell::domain::weather::extremes::Extremes;
use hatchbell::domain::weather::forecast_skill::LeadError;
use hatchbell::domain::weather::foretold_days::ForetoldDay;
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::reading::Readings;
use proptest::prelude::*;

/// A season of days that each add `gain` °C·d over base 10.
pub fn season_of(year: i32, days: usize, gain: f64) -> PastSeason {
    let day = Extremes::new(5.0 + gain, 15.0 + gain).unwrap();
    PastSeason {
        year,
        days: vec![day; days],
    }
}

pub fn model() -> Model {
    Model::new(10.0, None, Method::SimpleAverage).unwrap()
}

pub fn fixed(value: f64) -> Threshold {
    Threshold {
        value,
        range: None,
        grade: EvidenceGrade::Practice,
        source: String::new(),
    }
}

pub fn ranged(low: f64, value: f64, high: f64) -> Threshold {
    Threshold {
        range: Some((low, high)),
        ..fixed(value)
    }
}

/// Forecast days that could not be surer: as many forecasts without any error were seen.
pub fn trusted(days: &[Extremes]) -> Vec<ForetoldDay> {
    let sure = |lead| LeadError::after(lead, usize::MAX, 0.0, 0.0);
    let days = days.iter().zip(1..);
    days.map(|(day, lead)| ForetoldDay::new(*day, sure(lead)))
        .collect()
}

/// The outlook after `known` days of 10 °C·d, with past seasons of the given daily gains.
fn outlook(known: usize, gains: &[f64], threshold: &Threshold) -> Outlook {
    let start = date("2026-01-01");
    let observed = season_of(2026, known, 10.0).days;
    let past: Vec<PastSeason> = gains
        .iter()
        .zip(1990..)
        .map(|(gain, year)| season_of(year, 365, *gain))
        .collect();
    let past: Vec<&PastSeason> = past.iter().collect();
    let ensemble = Ensemble::new(&model(), start, &observed, &[], &past).unwrap();
    let today = start + Days::new(known as u64);
    ensemble.outlook(threshold, today, date("2026-12-31"))
}

#[test]
fn past_seasons_like_this_one_give_the_plain_arithmetic_date() {
    // 100 so far, 150 to go at 10 a day: the 15th day after day 10 (10 January), 25 January.
    let outlook = outlook(10, &[10.0; 12], &fixed(250.0));
    let day = Some(date("2026-01-25"));
    assert_eq!(
        (outlook.early, outlook.likely, outlook.late),
        (day, day, day)
    );
    assert_eq!(outlook.never, 0.0);
    assert_eq!(outlook.within, [0.0, 1.0, 1.0]);
}

#[test]
fn warmer_and_colder_past_seasons_widen_the_range_around_the_middle() {
    // Warm and cold ones in turn: in a row they would be a trend.
    let gains: Vec<f64> = (0..21).map(|i| 5.0 + 0.5 * f64::from(i * 8 % 21)).collect();
    let outlook = outlook(50, &gains, &fixed(700.0));
    let likely = outlook.likely.unwrap();
    assert!(outlook.early.unwrap() < likely && likely < outlook.late.unwrap());
}

#[test]
fn the_threshold_s_own_range_widens_the_dates() {
    let narrow = outlook(50, &[10.0; 15], &fixed(700.0));
    let wide = outlook(50, &[10.0; 15], &ranged(600.0, 700.0, 800.0));
    assert_eq!(narrow.early, narrow.late);
    assert_eq!(wide.likely, narrow.likely);
    // 10 °C·d a day: the low and high ends lie about ten days to either side.
    assert!((wide.likely.unwrap() - wide.early.unwrap()).num_days() >= 8);
    assert!((wide.late.unwrap() - wide.likely.unwrap()).num_days() >= 8);
}

#[test]
fn few_past_seasons_stretch_the_range_and_too_few_give_none() {
    let gains = [7.0, 9.0, 10.0, 11.0, 13.0];
    let width = |gains: &[f64]| {
        let outlook = outlook(20, gains, &fixed(900.0));
        (outlook.late.unwrap() - outlook.early.unwrap()).num_days()
    };
    let many: Vec<f64> = gains.iter().cycle().take(15).copied().collect();
    assert!(
        width(&gains) > width(&many),
        "{} {}",
        width(&gains),
        width(&many)
    );

    let observed = season_of(2026, 20, 10.0).days;
    let two = [season_of(2024, 365, 9.0), season_of(2025, 365, 9.0)];
    let two: Vec<&PastSeason> = two.iter().collect();
    let none = Ensemble::new(&model(), date("2026-01-01"), &observed, &[], &two);
    assert_eq!(none.unwrap_err(), NoOutlook::TooFewSeasons { found: 2 });
    let message = NoOutlook::TooFewSeasons { found: 2 }.to_string();
    assert!(message.contains("import its history"), "{message}");
}

/// This season has been 5 °C warmer throughout. Two forecast days later three tenths of that go on.
/// Of the rest, the past seasons take four tenths, of which three days leave 2/e °C, and the expected
/// course what three days leave of the last day's 3.5 °C; the middle of both is taken. By how much a sure
/// forecast, of 10 °C·d, differs from the same for the day before, three quarters go on.
#[test]
fn what_persists_fades_from_the_last_observed_day_on_and_what_a_forecast_changes_goes_on() {
    let observed = season_of(2026, 40, 10.0).days;
    let forecast = trusted(&season_of(2026, 2, 10.0).days);
    let past = [2001, 2002, 2003].map(|year| season_of(year, 365, 5.0));
    let past: Vec<&PastSeason> = past.iter().collect();
    let start = date("2026-01-01");
    let ensemble = Ensemble::new(&model(), start, &observed, &forecast, &past).unwrap();
    let course = &ensemble.courses()[0];
    let gain = |day: usize| course[day] - course[day - 1];
    assert!((gain(40) - 10.0).abs() < 1e-9 && (gain(41) - 10.0).abs() < 1e-9);
    let without = |ahead: i32| {
        5.0 + 1.5 + (2.0 * (-f64::from(ahead) / 3.0).exp() + 3.5 * 0.75_f64.powi(ahead)) / 2.0
    };
    let due = without(3) + 0.75 * (10.0 - without(2));
    assert!((gain(42) - due).abs() < 1e-9, "{} {due}", gain(42));
}

/// Three seasons reach the sum on days 99, 119 and 139 after 1 January; the shares that are read, 3
/// and 97 %, lie 20.4 days to either side. Student's t at 0.9 is 1.8856 with two degrees of freedom:
/// times √(4/3) over the normal 1.2816 that is 1.699, so 34.7 days. Without the root 30.0.
#[test]
fn three_past_seasons_stretch_the_range_as_far_as_a_prediction_interval_does() {
    let observed = season_of(2026, 20, 10.0).days;
    let past = [12.5, 10.0, 8.3].map(|gain| season_of(2000, 365, gain));
    let past: Vec<&PastSeason> = past.iter().collect();
    let start = date("2026-01-01");
    let known = (observed.as_slice(), [].as_slice());
    let ensemble = Ensemble::of_remainder(Remainder::Plain, &model(), start, known, &past).unwrap();
    let outlook = ensemble.outlook(&fixed(1195.0), date("2026-01-21"), date("2026-12-31"));
    let days = |day: Option<NaiveDate>| (day.unwrap() - start).num_days();
    assert_eq!(
        (
            days(outlook.early),
            days(outlook.likely),
            days(outlook.late)
        ),
        (85, 119, 153)
    );
}

#[test]
fn a_season_that_never_reaches_the_threshold_says_how_likely_that_is() {
    // 200 so far and 345 days to go: 13 a day, moved to 12.1, make 4370; 10 a day make 3650.
    let gains = [13.0, 13.0, 10.0, 10.0, 10.0, 10.0, 10.0, 10.0, 10.0, 10.0];
    let outlook = outlook(20, &gains, &fixed(4000.0));
    assert!((outlook.never - 0.8).abs() < 1e-9);
    assert!(outlook.never > 0.5, "{outlook:?}");
    assert_eq!(outlook.late, None);
    assert_eq!(outlook.likely, None);
}

/// The past seasons were 3 °C colder so far, so in the days to come they are moved by 0.9 °C, and
/// by up to 1.2 °C more that fades within a week.
#[test]
fn a_warm_season_goes_on_by_three_tenths_and_its_last_days_fade() {
    let days = |gain: f64| {
        let likely = outlook(60, &[gain; 12], &fixed(1500.0)).likely.unwrap();
        (likely - date("2026-01-01")).num_days()
    };
    assert_eq!(days(10.0), 149);
    // 900 to go at 7 + 0.9 a day, less 1.2 · Σ exp(-h/3) = 3.0 at the start: 113.5 days.
    assert_eq!(days(7.0), 60 + 114 - 1);
}

/// The difference of 3 °C goes on by 0.9 for good, and by the middle of 1.2 that falls to 1/e in three
/// days and 2.1 of which each day keeps three quarters, counted from the last observed day, whether or
/// not a forecast stands in between. By how much a sure forecast of 11 differs from that on its last day,
/// three quarters go on to the next.
#[test]
fn what_goes_on_of_the_last_days_fades_from_the_last_observed_day_on() {
    let observed = season_of(2026, 60, 13.0).days;
    let past = [1990, 1991, 1992].map(|year| season_of(year, 365, 10.0));
    let past: Vec<&PastSeason> = past.iter().collect();
    for (forecast_days, days_ahead) in [(0, 1.0), (2, 3.0)] {
        let forecast = trusted(&season_of(2026, forecast_days, 11.0).days);
        let start = date("2026-01-01");
        let ensemble = Ensemble::new(&model(), start, &observed, &forecast, &past).unwrap();
        let first = 60 + forecast_days;
        for course in ensemble.courses() {
            let gain = course[first] - course[first - 1];
            let without = |ahead: f64| {
                10.9 + (1.2 * (-ahead / 3.0_f64).exp() + 2.1 * 0.75_f64.powf(ahead)) / 2.0
            };
            let changed = match forecast_days {
                0 => 0.0,
                _ => 0.75 * (11.0 - without(days_ahead - 1.0)),
            };
            let expected = without(days_ahead) + changed;
            assert!((gain - expected).abs() < 1e-9, "{gain} {expected}");
        }
    }
}

/// 100 so far and five sure days of 20: 200, less what little the past seasons keep of them.
#[test]
fn forecast_days_come_between_the_observed_and_the_past_ones() {
    let start = date("2026-01-01");
    let observed = season_of(2026, 10, 10.0).days;
    let forecast = trusted(&season_of(2026, 5, 20.0).days);
    let past: Vec<PastSeason> = (1990..2005).map(|y| season_of(y, 365, 10.0)).collect();
    let past: Vec<&PastSeason> = past.iter().collect();
    let ensemble = Ensemble::new(&model(), start, &observed, &forecast, &past).unwrap();
    let outlook = ensemble.outlook(&fixed(199.9), date("2026-01-11"), date("2026-12-31"));
    assert_eq!(outlook.likely, Some(date("2026-01-15")));
    let basis = ensemble.basis();
    assert_eq!(
        (basis.forecast_days, basis.data_through),
        (5, date("2026-01-10"))
    );
}

#[test]
fn what_comes_after_the_date_cap_is_not_reached() {
    let start = date("2026-01-01");
    let observed = season_of(2026, 10, 10.0).days;
    let past: Vec<PastSeason> = (1990..2005).map(|y| season_of(y, 365, 10.0)).collect();
    let past: Vec<&PastSeason> = past.iter().collect();
    let ensemble = Ensemble::new(&model(), start, &observed, &[], &past).unwrap();
    let capped = ensemble.outlook(&fixed(1000.0), date("2026-01-11"), date("2026-03-01"));
    assert_eq!((capped.never, capped.likely), (1.0, None));
    let ended = capped.ending_on(date("2026-03-01"), date("2026-01-11"));
    assert_eq!(ended.likely, Some(date("2026-03-01")));
    assert_eq!(ended.never, 0.0);
}

#[test]
fn seasons_with_holes_do_not_stand_as_past_seasons_and_leap_years_do() {
    let mut readings = steady("2018-01-01", "2026-03-01", 5.0);
    for day in date("2019-05-01").iter_days().take(20) {
        readings.remove(&day);
    }
    readings.remove(&date("2022-07-01"));
    let start = MonthDay::parse("01-01").unwrap();
    let this = Season::starting_in(2026, start);
    let past = past_seasons(
        &DailyReadings::from(&readings),
        &Estimates::new(),
        start,
        &this,
        Limits::default(),
    );
    let years: Vec<i32> = past.iter().map(|season| season.year).collect();
    assert_eq!(years, [2018, 2020, 2021, 2022, 2023, 2024, 2025]);
    let leap = past.iter().find(|season| season.year == 2024).unwrap();
    assert_eq!(leap.days.len(), 365, "beside a year without a leap day");
}

#[test]
fn south_of_the_equator_past_seasons_run_over_the_new_year() {
    let readings = steady("2020-01-01", "2026-03-01", 5.0);
    let start = MonthDay::parse("01-01").unwrap().at_latitude(-37.0);
    let this = Season::containing(date("2026-03-01"), start);
    let years: Vec<i32> = past_seasons(
        &DailyReadings::from(&readings),
        &Estimates::new(),
        start,
        &this,
        Limits::default(),
    )
    .iter()
    .map(|season| season.year)
    .collect();
    // From July 2020 on; the half season before it has no beginning.
    assert_eq!(years, [2020, 2021, 2022, 2023, 2024]);
}

proptest! {
    #[test]
    fn the_three_dates_are_in_order_and_chances_rise(
        gains in proptest::collection::vec(0.0..20.0f64, 3..40),
        known in 1..200usize,
        target in 50.0..3000.0f64,
        spread in 0.0..200.0f64,
    ) {
        let threshold = ranged((target - spread).max(1.0), target, target + spread);
        let outlook = outlook(known, &gains, &threshold);
        let dates: Vec<NaiveDate> = [outlook.early, outlook.likely, outlook.late].into_iter().flatten().collect();
        prop_assert!(dates.is_sorted(), "{outlook:?}");
        let [week, fortnight, month] = outlook.within;
        prop_assert!(outlook.passed <= week && week <= fortnight && fortnight <= month);
        prop_assert!(month <= 1.0 - outlook.never + 1e-9, "{outlook:?}");
    }

    #[test]
    fn a_higher_threshold_is_never_sooner(
        gains in proptest::collection::vec(1.0..20.0f64, 3..40),
        known in 1..100usize,
        target in 50.0..1000.0f64,
        step in 0.0..300.0f64,
    ) {
        let far = known as f64 * 10.0 + 700.0;
        let lower = outlook(known, &gains, &fixed(far + target));
        let higher = outlook(known, &gains, &fixed(far + target + step));
        if let (Some(lower), Some(higher)) = (lower.likely, higher.likely) {
            prop_assert!(lower <= higher);
        }
    }
}

// --- early notices ------------------------------------------------------------------------------

fn standing_on(today: &str, gain: f64) -> SeasonState {
    let readings: Readings = steady("2026-01-01", today, gain);
    let past: Vec<PastSeason> = (2005..2026).map(|y| season_of(y, 365, gain)).collect();
    let record = Record {
        borrowed: None,
        readings: &DailyReadings::from(&readings),
        past: &past,
        estimates: &Estimates::new(),
        forecast: None,
    };
    season_state(
        &species("japanese-beetle"),
        41.8,
        record,
        date(today),
        Limits::default(),
    )
}

// At 10 °C·d a day flight (560) falls on 25 February.
#[test]
fn the_season_s_letter_goes_out_when_the_first_milestone_comes_within_the_longest_lead() {
    let is_due = |today: &str| is_near(&standing_on(today, 10.0), &Policy::default(), date(today));
    assert!(
        !is_due("2026-01-05"),
        "51 days are more than the longest lead"
    );
    assert!(!is_due("2026-01-10"));
    assert!(is_due("2026-01-12"));
    assert!(is_due("2026-02-20"), "a late start is told late");
    let none = Policy {
        leads_days: Vec::new(),
        ..Policy::default()
    };
    assert!(!is_near(
        &standing_on("2026-02-20", 10.0),
        &none,
        date("2026-02-20")
    ));
}

#[test]
fn of_a_letter_the_dates_of_all_milestones_but_the_end_of_the_window_are_kept() {
    let kept = foretold(&standing_on("2026-01-12", 10.0), date("2026-01-12"));
    let milestones: Vec<Milestone> = kept.iter().map(|(one, _)| one.milestone).collect();
    assert_eq!(
        milestones,
        [Milestone::AdultFlight, Milestone::EggLay, Milestone::Hatch]
    );
    let (flight, (early, late)) = kept[0];
    assert_eq!((flight.likely, flight.lead_days), (date("2026-02-25"), 44));
    assert!(early.unwrap() <= flight.likely && flight.likely <= late.unwrap());
}

#[test]
fn a_likely_date_that_moves_by_a_week_is_worth_a_line() {
    let at = |told_before: &str| {
        let told = Foretold {
            milestone: Milestone::AdultFlight,
            lead_days: 45,
            likely: date(told_before),
        };
        let state = standing_on("2026-02-13", 10.0);
        moved(&state, &[told], &Policy::default(), date("2026-02-13")).len()
    };
    assert_eq!(at("2026-02-20"), 0, "five days are not");
    assert_eq!(at("2026-02-18"), 1);
    assert_eq!(at("2026-03-04"), 1);
}

// --- hindcast -----------------------------------------------------------------------------------

#[test]
fn the_hindcast_of_seasons_that_are_all_alike_is_without_error() {
    let seasons: Vec<PastSeason> = (1990..2015).map(|y| season_of(y, 365, 8.0)).collect();
    let plan = HindcastPlan {
        model: model(),
        thresholds: vec![820.0],
        leads: vec![60, 7],
        lag: 3,
        past: PastUsed::Others,
    };
    let score = &hindcast(&seasons, &plan)[0];
    for LeadScore { seen, plain, .. } in &score.leads {
        assert_eq!((seen.cases, plain.cases), (25, 25));
        assert_eq!((seen.mean_absolute_error(), seen.bias()), (0.0, 0.0));
        assert_eq!(seen.coverage(), 1.0);
    }
    assert_eq!(score.calendar.mean_absolute_error(), 0.0);
    assert_eq!(
        score.last_year.cases, 24,
        "the first season has none before it"
    );
}

#[test]
fn with_earlier_seasons_only_the_first_ten_are_not_scored() {
    let seasons: Vec<PastSeason> = (1990..2015)
        .map(|y| season_of(y, 365, 8.0 + f64::from(y % 3)))
        .collect();
    let plan = HindcastPlan {
        model: model(),
        thresholds: vec![820.0],
        leads: vec![30],
        lag: 0,
        past: PastUsed::Earlier,
    };
    assert_eq!(hindcast(&seasons, &plan)[0].leads[0].seen.cases, 15);
}
