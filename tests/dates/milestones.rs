//! From readings to milestones to the decision whom to tell.

use crate::support::species::{date, species, steady};
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::phenology::outlook::NoOutlook;
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::phenology::season_state::{
    Hold, PassedBy, Record, SeasonState, season_state,
};
use hatchbell::domain::place::site::Station;
use hatchbell::domain::telling::feed_trouble::is_stale;
use hatchbell::domain::telling::milestone_decision::{Recorded, decide};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::observation_day::DayShift;
use hatchbell::domain::weather::reading::Readings;

const NORTH: f64 = 41.8;

fn japanese_beetle(readings: &Readings, today: &str) -> SeasonState {
    at_latitude(NORTH, readings, today, Limits::default())
}

fn at_latitude(latitude: f64, readings: &Readings, today: &str, limits: Limits) -> SeasonState {
    let record = Record {
        borrowed: None,
        readings: &DailyReadings::from(readings),
        past: &[],
        estimates: &Estimates::new(),
        forecast: None,
    };
    season_state(
        &species("japanese-beetle"),
        latitude,
        record,
        date(today),
        limits,
    )
}

#[test]
fn a_milestone_is_passed_on_the_first_day_whose_sum_reaches_its_threshold() {
    // 10 °C·d a day from 1 January: 560 is reached on day 56, 25 February.
    let readings = steady("2026-01-01", "2026-05-31", 10.0);
    let state = japanese_beetle(&readings, "2026-05-31");
    let dates: Vec<String> = state
        .crossings
        .iter()
        .map(|c| format!("{} {} {:.0}", c.milestone.name(), c.on, c.degree_days))
        .collect();
    assert_eq!(
        dates,
        [
            "adult-flight 2026-02-25 560",
            "egg-lay 2026-03-08 670",
            "hatch 2026-03-23 820",
            "window-end 2026-05-30 1500"
        ]
    );
    assert_eq!(state.next(), None);
    assert_eq!(state.estimated_days, 0);
}

#[test]
fn days_after_today_do_not_count_yet() {
    let readings = steady("2026-01-01", "2026-05-31", 10.0);
    let state = japanese_beetle(&readings, "2026-02-24");
    assert!(state.crossings.is_empty());
    assert_eq!(state.data_through, Some(date("2026-02-24")));
    assert!((state.degree_days - 550.0).abs() < 1e-9);
}

#[test]
fn without_past_seasons_there_are_no_dates_and_the_reason_is_given() {
    let readings = steady("2026-01-01", "2026-02-20", 10.0);
    let next = japanese_beetle(&readings, "2026-02-22").next().unwrap();
    assert_eq!(next.milestone, Milestone::AdultFlight);
    assert_eq!(next.outlook, Err(NoOutlook::TooFewSeasons { found: 0 }));
}

#[test]
fn a_cold_site_s_window_ends_on_the_date_cap() {
    let readings = steady("2026-01-01", "2026-12-01", 3.0);
    let state = japanese_beetle(&readings, "2026-10-15");
    let end = state.crossings.last().unwrap();
    assert_eq!(
        (end.milestone, end.by, end.on),
        (Milestone::WindowEnd, PassedBy::DateCap, date("2026-09-30"))
    );
    assert!((end.degree_days - 273.0 * 3.0).abs() < 1e-6);
    // The sum reaches 820 on day 274, 1 October: too late to be told as hatch.
    assert!(
        !state
            .crossings
            .iter()
            .any(|c| c.milestone == Milestone::Hatch)
    );
    let before = japanese_beetle(&readings, "2026-09-29");
    assert!(
        !before
            .crossings
            .iter()
            .any(|c| c.milestone == Milestone::WindowEnd)
    );
}

#[test]
fn further_north_the_cap_comes_ten_days_earlier_and_south_of_the_equator_half_a_year_later() {
    let cap = |latitude, today| {
        let readings = steady("2025-07-01", "2026-12-31", 2.0);
        at_latitude(latitude, &readings, today, Limits::default())
            .crossings
            .last()
            .map(|c| (c.milestone, c.on))
    };
    assert_eq!(
        cap(44.6, "2026-12-01"),
        Some((Milestone::WindowEnd, date("2026-09-20")))
    );
    assert_eq!(
        cap(43.9, "2026-12-01"),
        Some((Milestone::WindowEnd, date("2026-09-30")))
    );
    assert_eq!(
        cap(-37.0, "2026-05-01"),
        Some((Milestone::WindowEnd, date("2026-03-30")))
    );
}

#[test]
fn south_of_the_equator_the_sum_starts_in_july() {
    let readings = steady("2025-05-01", "2026-02-28", 10.0);
    let state = at_latitude(-37.0, &readings, "2026-02-28", Limits::default());
    assert_eq!(state.season.to_string(), "2025/26");
    // Day 56 from 1 July.
    assert_eq!(state.crossings[0].on, date("2025-08-25"));
}

#[test]
fn estimated_days_are_counted_and_too_many_hold_the_milestone() {
    let mut readings = steady("2026-01-01", "2026-05-31", 10.0);
    for missing in ["2026-01-10", "2026-01-20", "2026-01-30"] {
        readings.remove(&date(missing));
    }
    let told = japanese_beetle(&readings, "2026-05-31");
    assert_eq!(told.crossings[0].estimated_days, 3);
    assert_eq!(told.hold, None);
    let strict = Limits {
        longest_gap_days: 10,
        most_estimated_days: 2,
    };
    let held = at_latitude(NORTH, &readings, "2026-05-31", strict);
    assert!(held.crossings.is_empty());
    assert_eq!(
        held.hold,
        Some(Hold::TooManyEstimated {
            estimated: 3,
            limit: 2
        })
    );
}

#[test]
fn a_long_gap_holds_what_comes_after_it() {
    let mut readings = steady("2026-01-01", "2026-05-31", 10.0);
    for day in 1..=14 {
        readings.remove(&date(&format!("2026-03-{day:02}")));
    }
    let state = japanese_beetle(&readings, "2026-05-31");
    assert_eq!(state.crossings.len(), 1, "flight was before the gap");
    assert!(matches!(state.hold, Some(Hold::Gap(gap)) if gap.days() == 14));
    assert_eq!(state.data_through, Some(date("2026-05-31")));
}

#[test]
fn what_happened_before_watching_began_is_recorded_and_never_told() {
    let readings = steady("2026-01-01", "2026-03-10", 10.0);
    let state = japanese_beetle(&readings, "2026-03-12");
    let decision = decide(&state, &[], None, date("2026-03-12"));
    assert_eq!(decision.watch_from, Some(date("2026-03-10")));
    let told: Vec<bool> = decision.record.iter().map(|(_, told)| *told).collect();
    assert_eq!(told, [false, false]);
}

#[test]
fn what_is_found_late_is_told_with_its_date() {
    let readings = steady("2026-01-01", "2026-03-10", 10.0);
    let state = japanese_beetle(&readings, "2026-04-20");
    let decision = decide(&state, &[], Some(date("2026-02-01")), date("2026-04-20"));
    assert!(decision.record.iter().all(|(_, told)| *told));
    assert_eq!(decision.record[0].0.on, date("2026-02-25"));
}

#[test]
fn what_is_recorded_is_not_recorded_again() {
    let readings = steady("2026-01-01", "2026-03-01", 10.0);
    let state = japanese_beetle(&readings, "2026-03-03");
    let recorded = [flight("2026-02-25", true)];
    let decision = decide(
        &state,
        &recorded,
        Some(date("2026-02-01")),
        date("2026-03-03"),
    );
    assert_eq!(decision, Default::default());
}

fn flight(on: &str, told: bool) -> Recorded {
    Recorded {
        milestone: Milestone::AdultFlight,
        on: date(on),
        told,
        corrected_to: None,
        withdrawn: false,
    }
}

#[test]
fn a_told_date_that_moves_by_two_days_is_corrected_once() {
    let readings = steady("2026-01-01", "2026-03-01", 10.0);
    let state = japanese_beetle(&readings, "2026-03-03");
    let corrections = |recorded: Recorded| {
        decide(
            &state,
            &[recorded],
            Some(date("2026-02-01")),
            date("2026-03-03"),
        )
        .correct
        .len()
    };
    assert_eq!(
        corrections(flight("2026-02-24", true)),
        0,
        "one day is not worth a message"
    );
    assert_eq!(corrections(flight("2026-02-23", true)), 1);
    assert_eq!(corrections(flight("2026-02-27", true)), 1);
    assert_eq!(
        corrections(flight("2026-02-23", false)),
        0,
        "never told, so nothing to correct"
    );
    let already = Recorded {
        corrected_to: Some(date("2026-02-25")),
        ..flight("2026-02-20", true)
    };
    assert_eq!(corrections(already), 0, "one correction is sent, no second");
}

#[test]
fn without_any_data_nothing_begins() {
    let state = japanese_beetle(&Readings::new(), "2026-11-01");
    assert_eq!(state.hold, Some(Hold::NoData));
    assert_eq!(
        decide(&state, &[], None, date("2026-11-01")),
        Default::default()
    );
}

#[test]
fn a_station_is_stale_three_days_beyond_its_usual_lag() {
    let station = Station {
        id: "harbour-meadow".into(),
        name: "Harbour Meadow".into(),
        usual_lag_days: 4,
        elevation_m: None,
        neighbours: vec![],
        day_shift: DayShift::default(),
    };
    let stale = |newest: &str| is_stale(&station, Some(date(newest)), date("2026-07-10"));
    assert!(!stale("2026-07-03"));
    assert!(stale("2026-07-02"));
    assert!(is_stale(&station, None, date("2026-07-10")));
}

/// A gap in June must not turn into "hatch was not reached" in September.
#[test]
fn a_date_cap_after_missing_days_is_marked_as_unknown() {
    let mut readings = steady("2026-01-01", "2026-10-15", 3.0);
    for day in date("2026-06-01").iter_days().take(20) {
        readings.remove(&day);
    }
    let held = japanese_beetle(&readings, "2026-10-15");
    let end = held.crossings.last().unwrap();
    assert_eq!(end.by, PassedBy::DateCapUnknown);
    let stopped = steady("2026-01-01", "2026-07-15", 3.0);
    let end = *japanese_beetle(&stopped, "2026-10-15")
        .crossings
        .last()
        .unwrap();
    assert_eq!(end.by, PassedBy::DateCapUnknown);
}

#[test]
fn a_told_milestone_that_the_days_no_longer_reach_is_taken_back_once() {
    let readings = steady("2026-01-01", "2026-03-01", 5.0);
    let state = japanese_beetle(&readings, "2026-03-03");
    let withdraw = |recorded: Recorded| {
        decide(
            &state,
            &[recorded],
            Some(date("2026-02-01")),
            date("2026-03-03"),
        )
        .withdraw
        .len()
    };
    assert_eq!(withdraw(flight("2026-02-20", true)), 1);
    assert_eq!(withdraw(flight("2026-02-20", false)), 0);
    assert_eq!(
        withdraw(flight("2026-02-28", true)),
        0,
        "the newest days may still change"
    );
    let already = Recorded {
        withdrawn: true,
        ..flight("2026-02-20", true)
    };
    assert_eq!(withdraw(already), 0);
}

/// Behind a gap the sum stands still: that it does not reach a milestone says nothing.
#[test]
fn nothing_that_was_told_is_taken_back_while_days_are_missing() {
    let mut readings = steady("2026-01-01", "2026-03-31", 10.0);
    let told = [flight("2026-02-25", true)];
    let withdraw = |readings: &Readings| {
        let state = japanese_beetle(readings, "2026-03-31");
        let decision = decide(&state, &told, Some(date("2026-01-20")), date("2026-03-31"));
        (
            state.hold.is_some(),
            state.crossings.len(),
            decision.withdraw.len(),
        )
    };
    for day in date("2026-02-01").iter_days().take(20) {
        readings.remove(&day);
    }
    assert_eq!(withdraw(&readings), (true, 0, 0));
    let colder = steady("2026-01-01", "2026-03-31", 4.0);
    assert_eq!(withdraw(&colder), (false, 0, 1));
}

#[test]
fn what_passed_on_the_day_up_to_which_all_was_known_is_history_and_the_day_after_is_told() {
    let readings = steady("2026-01-01", "2026-03-01", 10.0);
    let state = japanese_beetle(&readings, "2026-03-03");
    let told = |watched_from: Option<&str>| {
        let decision = decide(&state, &[], watched_from.map(date), date("2026-03-03"));
        decision.record[0].1
    };
    assert!(!told(None), "the first evaluation");
    assert!(!told(Some("2026-02-25")), "flight is on 25 February");
    assert!(told(Some("2026-02-24")));
}
