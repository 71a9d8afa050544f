use super::screening::Suspect;
use super::tests::{date, instant, weather};
use super::*;
use crate::domain::weather::reading::Readings;
use crate::station_feed::memory::{DecidedValue, HoldReason};
use crate::station_feed::parsed::Element;
use chrono::TimeDelta;

/// Maxima of 45 °C in doubt, of a short record or not.
fn suspects(days: &[&str], thin: bool) -> Vec<Suspect> {
    days.iter()
        .map(|day| Suspect {
            day: date(day),
            element: Element::Max,
            celsius: 45.0,
            reason: HoldReason::Gap,
            expected: Some((5.0, 28.0)),
            thin,
        })
        .collect()
}

fn may() -> Readings {
    weather("2026-05-01", "2026-05-05")
}

#[test]
fn time_speaks_where_the_record_is_short_and_no_more_than_three_days_are_in_question() {
    let first = instant("2026-05-06");
    let days = ["2026-05-01", "2026-05-02", "2026-05-03", "2026-05-04"];
    let three = suspects(&days[..3], true);
    let out = hold_out(&mut may(), &three, &[], first);
    assert_eq!((out.held.len(), out.fresh, out.waits), (3, 3, true));
    let soon = first + TimeDelta::hours(23);
    let still = hold_out(&mut may(), &three, &out.held, soon);
    assert_eq!((&still.held, still.fresh), (&out.held, 0));
    let mut readings = may();
    let later = hold_out(&mut readings, &three, &out.held, instant("2026-05-07"));
    assert_eq!((later.held.len(), later.believed.len()), (0, 3));
    assert!(readings[&date("2026-05-01")].max.is_some());

    let four = suspects(&days, true);
    let out = hold_out(&mut may(), &four, &[], first);
    assert!(!out.waits, "the file need not come again");
    let later = hold_out(&mut may(), &four, &out.held, instant("2026-06-30"));
    assert_eq!(later.held, out.held, "time alone speaks for none of them");
}

#[test]
fn time_does_not_speak_where_the_record_is_long() {
    let one = suspects(&["2026-05-01"], false);
    let out = hold_out(&mut may(), &one, &[], instant("2026-05-06"));
    assert!(!out.waits);
    let later = hold_out(&mut may(), &one, &out.held, instant("2026-06-30"));
    assert_eq!(later.held, out.held);
    assert_eq!(later.fresh, 0);
}

#[test]
fn another_value_of_the_same_day_is_held_anew() {
    let mut one = suspects(&["2026-05-01"], true);
    let held = hold_out(&mut may(), &one, &[], instant("2026-05-06")).held;
    one[0].celsius = 45.1;
    let later = hold_out(&mut may(), &one, &held, instant("2026-05-08"));
    assert_eq!(
        later.held,
        [],
        "a late revision of a tenth is the same value"
    );
    one[0].celsius = 55.0;
    let anew = hold_out(&mut may(), &one, &held, instant("2026-05-08"));
    assert_eq!(anew.held[0].since, instant("2026-05-08"));
    assert_eq!((anew.held.len(), anew.fresh), (1, 1));
}

#[test]
fn a_held_extreme_leaves_its_partner() {
    let mut readings = may();
    let one = suspects(&["2026-05-01"], false);
    hold_out(&mut readings, &one, &[], instant("2026-05-03"));
    let reading = readings[&date("2026-05-01")];
    assert!(reading.max.is_none() && reading.min.is_some());
    assert_eq!(readings.len(), 5);
}

#[test]
fn a_refused_value_is_left_out_and_another_one_of_its_day_is_not() {
    let refused = DecidedValue {
        day: date("2026-05-02"),
        element: Element::Max,
        celsius: 45.0,
        confirmed: false,
    };
    for (said, stays) in [(45.0, false), (45.2, false), (27.0, true)] {
        let mut readings = may();
        readings.get_mut(&date("2026-05-02")).unwrap().max = Some(said);
        leave_out_refused(&mut readings, &[refused]);
        assert_eq!(readings[&date("2026-05-02")].max.is_some(), stays, "{said}");
        assert!(readings[&date("2026-05-02")].min.is_some());
    }
}

#[test]
fn values_of_days_that_a_file_does_not_reach_stay_held() {
    let old = suspects(&["1931-07-14"], false);
    let mut readings = weather("1931-07-01", "1931-07-31");
    let held = hold_out(&mut readings, &old, &[], instant("2026-05-06")).held;
    let out = hold_out(&mut may(), &[], &held, instant("2026-05-07"));
    assert_eq!(out.held, held);
    assert!(out.released.is_empty() && out.finding.is_some());
}

#[test]
fn what_was_held_is_told_with_what_became_of_it() {
    let mut readings = may();
    let gone = suspects(&["2026-05-01", "2026-05-04"], false);
    let before = hold_out(&mut may(), &gone, &[], instant("2026-05-10")).held;
    readings.remove(&date("2026-05-04"));
    let out = hold_out(&mut readings, &[], &before, instant("2026-05-11"));
    assert_eq!((out.held, out.finding), (Vec::new(), None));
    let max = readings[&date("2026-05-01")].max.unwrap();
    assert_eq!(
        out.released,
        format!(
            "The maximum of 1 May 2026 was held at 45.0 °C and is taken in at {max:.1} °C; maximum of 4 May 2026 was held at 45.0 °C, and the file no longer says it."
        )
    );
}

#[test]
fn of_many_held_values_the_newest_three_are_named_and_all_are_counted_by_reason() {
    let days = ["2026-05-01", "2026-05-02", "2026-05-03", "2026-05-04"];
    let mut found = suspects(&days, false);
    found[0].reason = HoldReason::Streak;
    let out = hold_out(&mut may(), &found, &[], instant("2026-05-06"));
    let what = out.finding.unwrap().what;
    let named = "maximum of 4 May 2026 45.0 °C (beyond all others of the time of year, expected 5.0 to 28.0)";
    assert!(what.contains(named), "{what}");
    assert!(what.contains("; and 1 more."), "{what}");
    let counted = "By reason: 1 the same day after day; 3 beyond all others";
    assert!(what.contains(counted), "{what}");
}
