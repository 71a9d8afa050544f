//! Milestones ahead, one after the other: no date before the one it follows, and no date of the
//! calendar that poses as a sum's.

use crate::outlook::{fixed, model, ranged, season_of};
use crate::support::species::{date, species, steady};
use chrono::{Days, NaiveDate};
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::phenology::outlook::{ByCalendar, Ensemble, Outlook};
use hatchbell::domain::phenology::past_season::PastSeason;
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::phenology::season_state::{Record, SeasonState, season_state};
use hatchbell::domain::phenology::species::Threshold;
use hatchbell::domain::telling::season_letter::{Foretold, Policy, moved};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::reading::Readings;
use proptest::prelude::*;

/// The courses after `known` days of `gain` °C·d from 1 January 2026 on, with past seasons of the
/// given daily gains.
fn ensemble(known: usize, gain: f64, past: &[f64]) -> Ensemble {
    let observed = season_of(2026, known, gain).days;
    let past: Vec<PastSeason> = past
        .iter()
        .map(|gain| season_of(2000, 365, *gain))
        .collect();
    let past: Vec<&PastSeason> = past.iter().collect();
    Ensemble::new(&model(), date("2026-01-01"), &observed, &[], &past).unwrap()
}

/// Where the Japanese beetle stands after days of `gain` °C·d from 1 January through the day before
/// `today`, with past seasons of the given daily gains.
fn standing(today: NaiveDate, gain: f64, past: &[f64]) -> SeasonState {
    let last = today.pred_opt().unwrap().to_string();
    let readings: Readings = steady("2026-01-01", &last, gain);
    let past: Vec<PastSeason> = past
        .iter()
        .zip(2000..)
        .map(|(gain, year)| season_of(year, 365, *gain))
        .collect();
    let record = Record {
        borrowed: None,
        readings: &DailyReadings::from(&readings),
        past: &past,
        estimates: &Estimates::new(),
        forecast: None,
    };
    let beetle = species("japanese-beetle");
    season_state(&beetle, 41.8, record, today, Limits::default())
}

fn dates(outlook: &Outlook) -> [Option<NaiveDate>; 3] {
    [outlook.early, outlook.likely, outlook.late]
}

fn chances(outlook: &Outlook) -> [f64; 4] {
    let [week, fortnight, month] = outlook.within;
    [outlook.passed, week, fortnight, month]
}

/// The milestones ahead that have dates.
fn outlooks(state: &SeasonState) -> Vec<(Milestone, Outlook)> {
    let of = |one: &_| {
        let hatchbell::domain::phenology::season_state::Expectation { milestone, outlook } = one;
        Some((*milestone, outlook.ok()?.0))
    };
    state.ahead.iter().filter_map(of).collect()
}

fn outlook_of(state: &SeasonState, milestone: Milestone) -> Outlook {
    let all = outlooks(state);
    all.iter().find(|(one, _)| *one == milestone).unwrap().1
}

// --- in order -----------------------------------------------------------------------------------

/// At 10 °C·d a day flight (560) is passed on 25 February. Eggs may be laid from 560 on, so a tenth
/// of their sample lay before that day.
#[test]
fn egg_lay_begins_after_the_day_on_which_flight_was_passed() {
    let state = standing(date("2026-02-26"), 10.0, &[10.0; 12]);
    assert_eq!(
        state.passed(Milestone::AdultFlight),
        Some(date("2026-02-25"))
    );
    let eggs = outlook_of(&state, Milestone::EggLay);
    assert_eq!(eggs.early, Some(date("2026-02-27")));
    // 670 is 110 to go: eleven days, whatever the low end.
    assert_eq!(eggs.likely, Some(date("2026-03-08")));
    assert_eq!(
        eggs.passed,
        1.0 / 9.0,
        "one of nine points lies below flight"
    );
}

/// Flight was passed on 20 January at 200 and the five days after it added nothing: eggs, of which
/// three of nine points lie below 200, are still to come.
#[test]
fn a_sum_already_reached_is_not_the_day_of_what_follows() {
    let mut observed = season_of(2026, 20, 10.0).days;
    observed.extend(season_of(2026, 5, 0.0).days);
    let past = season_of(2000, 365, 10.0);
    let start = date("2026-01-01");
    let all = Ensemble::new(&model(), start, &observed, &[], &[&past; 12]).unwrap();
    let eggs = ranged(100.0, 250.0, 400.0);
    let outlook =
        |passed_at| all.outlooks(&[&eggs], passed_at, date("2026-01-25"), date("2026-12-31"))[0];
    let after_flight = outlook(Some(200.0));
    assert_eq!(after_flight.passed, 0.0);
    assert_eq!(after_flight.early, Some(date("2026-01-26")));
    let nothing_known = outlook(None);
    assert_eq!(nothing_known.passed, 3.0 / 9.0);
    assert!(nothing_known.early < Some(date("2026-01-20")));
}

/// The later threshold is known so badly that its low end lies far below the earlier one's.
#[test]
fn what_is_known_badly_does_not_come_before_what_is_known_well() {
    let until = date("2026-12-31");
    let today = date("2026-02-20");
    let later = ranged(300.0, 820.0, 1300.0);
    for earlier in [ranged(700.0, 800.0, 900.0), fixed(800.0)] {
        let all = ensemble(
            50,
            10.0,
            &[9.0, 10.0, 11.0, 10.0, 9.5, 10.5, 9.0, 11.0, 10.0, 10.0],
        );
        let [first, second] = all.outlooks(&[&earlier, &later], None, today, until)[..] else {
            panic!("two thresholds, two outlooks")
        };
        assert!(first.early <= second.early, "{first:?} {second:?}");
        assert!(all.outlook(&later, today, until).early < first.early);
        for (before, after) in chances(&first).iter().zip(chances(&second)) {
            assert!(after <= *before, "{first:?} {second:?}");
        }
    }
}

/// Three seasons stretch a range by seven tenths about its own middle, and the wider one more.
#[test]
fn a_stretched_range_does_not_reach_before_the_one_it_follows() {
    let (until, today) = (date("2026-12-31"), date("2026-02-20"));
    let (earlier, later) = (fixed(800.0), ranged(780.0, 830.0, 1200.0));
    let all = ensemble(50, 10.0, &[10.0; 3]);
    let both = all.outlooks(&[&earlier, &later], None, today, until);
    assert_eq!(both[0].early, Some(date("2026-03-21")));
    assert!(both[1].early >= both[0].early, "{both:?}");
    let passed = ensemble(80, 10.0, &[10.0; 3]);
    let after = passed.outlooks(&[&later], Some(800.0), date("2026-03-22"), until)[0];
    assert!(after.early > Some(date("2026-03-21")), "{after:?}");
}

#[test]
fn a_stretched_date_beyond_the_season_s_end_is_not_told() {
    let all = ensemble(50, 10.0, &[8.0, 10.0, 12.0]);
    let until = date("2026-06-01");
    let outlook = all.outlook(&fixed(1350.0), date("2026-02-20"), until);
    assert!(outlook.likely < Some(until));
    assert_eq!(outlook.late, None, "{outlook:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn milestones_ahead_keep_the_order_of_the_season_on_every_day(
        past in proptest::collection::vec(4.0..14.0f64, 3..14),
        gain in 4.0..14.0f64,
        day in 1..272u64,
    ) {
        let today = date("2026-01-01") + Days::new(day);
        let state = standing(today, gain, &past);
        let last = state.crossings.last().map(|crossing| crossing.on);
        let ahead = outlooks(&state);
        if let (Some(last), Some((_, next))) = (last, ahead.first()) {
            for date in dates(next).into_iter().flatten() {
                prop_assert!(date > last, "{last} {next:?}");
            }
        }
        for pair in ahead.windows(2) {
            let ((_, before), (milestone, after)) = (pair[0], pair[1]);
            for (before, after) in dates(&before).into_iter().zip(dates(&after)) {
                // No date lies beyond the season's end; the window's end always has one.
                if let (Some(before), Some(after)) = (before, after) {
                    prop_assert!(before <= after, "{pair:?}");
                } else if milestone != Milestone::WindowEnd {
                    prop_assert!(after.is_none(), "{pair:?}");
                }
            }
            for (before, after) in chances(&before).into_iter().zip(chances(&after)) {
                if milestone != Milestone::WindowEnd {
                    prop_assert!(after <= before + 1e-9, "{pair:?}");
                }
            }
        }
    }
}

// --- by the calendar ----------------------------------------------------------------------------

const CAP: &str = "2026-09-30";

fn ended(gains: &[f64], threshold: &Threshold) -> Outlook {
    let today = date("2026-02-20");
    let all = ensemble(50, 10.0, gains);
    all.outlook(threshold, today, date(CAP))
        .ending_on(date(CAP), today)
}

#[test]
fn each_date_that_the_cap_stands_in_for_is_marked_as_the_calendar_s() {
    // 30 September is day 273: 50 days of 10, then 223 of what the past seasons had, moved.
    let (warm, cold) = (10.0, 3.0);
    for (cold_ones, marked) in [(0, 0), (4, 1), (12, 2), (20, 3)] {
        let gains: Vec<f64> = (0..20)
            .map(|place| if place < cold_ones { cold } else { warm })
            .collect();
        let outlook = ended(&gains, &fixed(2300.0));
        let by = outlook.by_calendar;
        let marks = [by.late, by.likely, by.early];
        assert_eq!(marks, [marked > 0, marked > 1, marked > 2], "{outlook:?}");
        let told = [outlook.late, outlook.likely, outlook.early];
        assert_eq!(told.map(|day| day == Some(date(CAP))), marks, "{outlook:?}");
    }
}

/// Two seasons in ten get there: the middle is not reached, and a tenth falls before a day.
#[test]
fn what_few_seasons_reach_has_an_early_date_alone() {
    let gains = [10.0, 10.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0];
    let all = ensemble(50, 10.0, &gains);
    let outlook = all.outlook(&fixed(2300.0), date("2026-02-20"), date(CAP));
    // 1,800 to go at 10 a day: the 180th day after 19 February.
    assert_eq!(dates(&outlook), [Some(date("2026-08-18")), None, None]);
    assert!((outlook.never - 0.8).abs() < 1e-9);
}

#[test]
fn a_sum_reached_on_the_day_of_the_cap_is_reached_by_the_sum() {
    // 10 °C·d a day: 2,730 at the end of day 273, which is 30 September.
    let on_the_day = ended(&[10.0; 12], &fixed(2730.0));
    assert_eq!(dates(&on_the_day), [Some(date(CAP)); 3]);
    assert_eq!(on_the_day.by_calendar, ByCalendar::default());
    let a_day_late = ended(&[10.0; 12], &fixed(2731.0));
    assert_eq!(dates(&a_day_late), [Some(date(CAP)); 3]);
    assert!(a_day_late.by_calendar.early);
}

#[test]
fn a_late_date_beyond_the_cap_is_the_calendar_s() {
    let (today, until) = (date("2026-02-20"), date("2026-12-31"));
    let all = ensemble(50, 10.0, &[9.0, 10.0, 11.0]);
    let uncapped = all.outlook(&fixed(2650.0), today, until);
    assert!(uncapped.late > Some(date(CAP)), "{uncapped:?}");
    let outlook = uncapped.ending_on(date(CAP), today);
    assert!(outlook.likely < Some(date(CAP)), "{outlook:?}");
    assert_eq!(outlook.late, Some(date(CAP)));
    assert!(outlook.by_calendar.late && !outlook.by_calendar.likely);
}

/// At 5 °C·d a day the third instar (1,500) is never reached by 30 September: 1,365.
#[test]
fn a_cool_season_s_window_ends_by_the_calendar_and_nothing_else_does() {
    let state = standing(date("2026-06-01"), 5.0, &[5.0; 12]);
    let ahead = outlooks(&state);
    assert_eq!(ahead.len(), 2, "hatch and the end of the window");
    for (milestone, outlook) in ahead {
        let is_end = milestone == Milestone::WindowEnd;
        assert_eq!(outlook.by_calendar.likely, is_end, "{milestone:?}");
    }
}

/// Nothing of it is told ahead, so nothing of it is told anew as if the weather had moved it.
#[test]
fn a_date_by_the_calendar_is_never_told_as_moved_by_the_weather() {
    let told = Foretold {
        milestone: Milestone::WindowEnd,
        lead_days: 45,
        likely: date("2026-09-10"),
    };
    for today in ["2026-08-20", "2026-09-17", "2026-09-29"].map(date) {
        let state = standing(today, 5.0, &[5.0; 12]);
        assert!(outlook_of(&state, Milestone::WindowEnd).by_calendar.likely);
        let told = moved(&state, &[told], &Policy::default(), today);
        let of_the_end = told
            .iter()
            .find(|(one, _)| one.milestone == Milestone::WindowEnd);
        assert_eq!(of_the_end, None, "{today}");
    }
}
