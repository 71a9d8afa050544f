use super::*;
use crate::domain::weather::reading::Reading;
use chrono::Datelike;

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// A number between 0 and 1 that belongs to a day: the same for every run.
fn noise(day: NaiveDate, salt: u64) -> f64 {
    let mut mixed = (day.num_days_from_ce() as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ salt;
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((mixed >> 11) as f64) / (1u64 << 53) as f64
}

/// Made-up weather: a course of the year, spells of some days, and something of each day.
fn weather(from: &str, to: &str) -> Readings {
    let within = |day: NaiveDate, salt| 2.0 * noise(day, salt) - 1.0;
    date(from)
        .iter_days()
        .take_while(|day| *day <= date(to))
        .map(|day| {
            let course = 10.0 - 14.0 * (f64::from(day.ordinal0()) * 0.0172).cos();
            let spell: f64 = (0..5)
                .map(|back| 3.5 * within(day - Days::new(back), 7))
                .sum();
            let mean = course + spell;
            let range = 5.5 + 2.0 * within(day, 8);
            let tenth = |celsius: f64| (celsius * 10.0).round() / 10.0;
            let reading = Reading {
                min: Some(tenth(mean - range + within(day, 9))),
                max: Some(tenth(mean + range)),
            };
            (day, reading)
        })
        .collect()
}

fn record() -> Readings {
    weather("1991-01-01", "2020-12-31")
}

/// What a record is suspected of when it is loaded at once.
fn of_whole(record: &Readings, neighbours: &[Readings]) -> Vec<Suspect> {
    let none = Readings::new();
    screen(&news(record, &none, &[]), record, &none, neighbours)
}

fn reasons(suspects: &[Suspect]) -> Vec<HoldReason> {
    let mut reasons: Vec<HoldReason> = suspects.iter().map(|suspect| suspect.reason).collect();
    reasons.sort();
    reasons.dedup();
    reasons
}

fn days(suspects: &[Suspect]) -> Vec<NaiveDate> {
    let mut days: Vec<NaiveDate> = suspects.iter().map(|suspect| suspect.day).collect();
    days.dedup();
    days
}

fn set(record: &mut Readings, day: &str, max: f64, min: f64) {
    let reading = Reading {
        max: Some(max),
        min: Some(min),
    };
    record.insert(date(day), reading);
}

#[test]
fn nothing_of_a_clean_record_is_in_doubt() {
    assert_eq!(of_whole(&record(), &[]), []);
}

/// -57.8 °C in July, in a file of thirty years that is loaded at once.
#[test]
fn a_first_load_is_held_against_itself() {
    let mut record = record();
    record.get_mut(&date("2003-07-14")).unwrap().min = Some(-57.8);
    let found = of_whole(&record, &[]);
    assert_eq!(days(&found), [date("2003-07-14")]);
    assert_eq!(found[0].element, Element::Min);
    let (least, greatest) = found[0].expected.unwrap();
    assert!(least > 0.0 && greatest < 33.0, "{least} to {greatest}");
}

#[test]
fn only_what_is_new_or_changed_is_looked_at() {
    let mut stored = record();
    set(&mut stored, "2003-07-14", 60.0, -57.8);
    let file = stored.clone();
    assert_eq!(news(&file, &stored, &[]), []);
    let mut file = Readings::new();
    set(&mut file, "2003-07-14", 59.5, -40.0);
    // Half a degree is no news.
    assert_eq!(
        news(&file, &stored, &[]),
        [(date("2003-07-14"), Element::Min)]
    );
}

#[test]
fn a_confirmed_value_is_not_asked_about_again_and_another_one_is() {
    let mut file = Readings::new();
    set(&mut file, "2003-07-14", 48.0, 20.0);
    let decided = |celsius: f64, confirmed: bool| DecidedValue {
        day: date("2003-07-14"),
        element: Element::Max,
        celsius,
        confirmed,
    };
    let none = Readings::new();
    let min = (date("2003-07-14"), Element::Min);
    assert_eq!(news(&file, &none, &[decided(48.0, true)]), [min]);
    assert_eq!(news(&file, &none, &[decided(45.0, true)]).len(), 2);
    assert_eq!(news(&file, &none, &[decided(48.0, false)]).len(), 2);
}

#[test]
fn the_shorter_the_record_the_farther_a_value_may_lie() {
    for (from, margin, thin) in [
        ("2005-01-01", 5.0, false),
        ("2013-01-01", 12.0, true),
        ("2020-01-01", 15.0, true),
    ] {
        let stored = weather(from, "2020-12-31");
        let day = date("2021-05-05");
        let greatest = stored
            .iter()
            .filter(|(of, _)| (of.with_year(2021).unwrap_or(day) - day).num_days().abs() <= 15)
            .filter_map(|(_, reading)| reading.max)
            .fold(f64::MIN, f64::max);
        let with = |max: f64| {
            let reading = Reading {
                max: Some(max),
                min: None,
            };
            let file = Readings::from([(day, reading)]);
            screen(&[(day, Element::Max)], &file, &stored, &[])
        };
        assert_eq!(with(greatest + margin - 0.01), [], "{from}");
        let found = with(greatest + margin + 0.01);
        assert_eq!(reasons(&found), [HoldReason::Gap], "{from}");
        assert_eq!(found[0].thin, thin, "{from}");
    }
    let first_weeks = weather("2020-12-20", "2021-01-05");
    let mut file = Readings::new();
    set(&mut file, "2021-01-06", 40.0, 30.0);
    assert_eq!(
        screen(&news(&file, &first_weeks, &[]), &file, &first_weeks, &[]),
        []
    );
}

/// Several bad values beside each other hide from a check of gaps, not from a robust spread.
#[test]
fn bad_values_that_hide_one_another_are_far_from_the_mean() {
    let mut record = record();
    for year in [1995, 1999, 2003, 2007] {
        let day = date(&format!("{year}-07-14"));
        record.get_mut(&day).unwrap().max = Some(64.0);
    }
    let found = of_whole(&record, &[]);
    assert_eq!(days(&found).len(), 4);
    assert_eq!(reasons(&found), [HoldReason::Outlier]);
}

#[test]
fn days_that_stand_still_are_stuck() {
    let mut record = record();
    for day in 1..=6 {
        set(&mut record, &format!("2003-07-0{day}"), 27.0, 16.0);
    }
    let found = of_whole(&record, &[]);
    assert_eq!(reasons(&found), [HoldReason::Streak]);
    assert_eq!(found.len(), 12);
    record.get_mut(&date("2003-07-03")).unwrap().min = Some(16.5);
    assert_eq!(
        of_whole(&record, &[]),
        [],
        "five days of one extreme are weather"
    );
}

#[test]
fn a_record_that_stands_still_much_of_the_time_is_not_stuck() {
    let mut record = weather("2019-01-01", "2019-12-31");
    for day in 1..=20 {
        set(&mut record, &format!("2019-07-{day:02}"), 27.0, 16.0);
    }
    assert_eq!(of_whole(&record, &[]), []);
}

#[test]
fn noughts_in_both_columns_are_no_measurement() {
    for nought in [0.0, -17.8] {
        let mut record = record();
        set(&mut record, "2003-01-14", nought, nought);
        assert_eq!(reasons(&of_whole(&record, &[])), [HoldReason::Nought]);
    }
}

#[test]
fn a_week_that_is_found_again_is_in_doubt_at_both_places() {
    let mut record = record();
    for step in 0..7 {
        let from = date("1999-06-03") + Days::new(step);
        let copy = record[&from];
        record.insert(date("2003-06-03") + Days::new(step), copy);
    }
    let found = of_whole(&record, &[]);
    assert_eq!(reasons(&found), [HoldReason::Duplicate]);
    assert_eq!(days(&found).len(), 14);
    record.get_mut(&date("2003-06-06")).unwrap().max = Some(21.3);
    assert_eq!(
        of_whole(&record, &[]),
        [],
        "three days and three are chance"
    );
}

#[test]
fn a_made_up_record_that_repeats_every_year_holds_no_copies() {
    let year = weather("1991-01-01", "1991-12-31");
    let record: Readings = (1991..1995)
        .flat_map(|of| {
            let moved =
                move |(day, reading): (&NaiveDate, &Reading)| Some((day.with_year(of)?, *reading));
            year.iter().filter_map(moved).collect::<Vec<_>>()
        })
        .collect();
    assert_eq!(of_whole(&record, &[]), []);
}

#[test]
fn a_neighbour_s_week_is_in_doubt_and_the_same_station_under_another_id_is_not() {
    let mut own = record();
    let other: Readings = own
        .iter()
        .map(|(day, reading)| {
            let off = 2.0 * noise(*day, 3);
            let of = |value: Option<f64>| value.map(|value| ((value + off) * 10.0).round() / 10.0);
            let reading = Reading {
                max: of(reading.max),
                min: of(reading.min),
            };
            (*day, reading)
        })
        .collect();
    for step in 0..7 {
        let day = date("2003-06-03") + Days::new(step);
        own.insert(day, other[&day]);
    }
    let found = of_whole(&own, std::slice::from_ref(&other));
    assert_eq!(reasons(&found), [HoldReason::Duplicate]);
    assert_eq!(days(&found).len(), 7);
    assert_eq!(of_whole(&other, std::slice::from_ref(&other)), []);
}

/// °F taken for °C in February: many days are possible one by one.
#[test]
fn a_month_in_another_unit_is_in_doubt_as_a_whole() {
    let mut record = record();
    for (day, reading) in &mut record {
        if day.year() == 2003 && day.month() == 2 {
            let of = |value: Option<f64>| value.map(|celsius| celsius * 1.8 + 32.0);
            *reading = Reading {
                max: of(reading.max),
                min: of(reading.min),
            };
        }
    }
    let found = of_whole(&record, &[]);
    assert!(days(&found).len() >= 26, "{:?}", days(&found));
    // A week that reaches beyond the month can take a warm day with it.
    let others = days(&found);
    let others = others
        .iter()
        .filter(|day| (day.year(), day.month()) != (2003, 2));
    assert!(others.count() <= 3);
    assert!(reasons(&found).contains(&HoldReason::Level));
}

#[test]
fn a_step_up_and_down_is_a_spike() {
    let mut record = record();
    for day in ["2003-07-13", "2003-07-14", "2003-07-15"] {
        set(&mut record, day, 16.0, 8.0);
    }
    record.get_mut(&date("2003-07-14")).unwrap().max = Some(36.0);
    let found = of_whole(&record, &[]);
    assert_eq!(reasons(&found), [HoldReason::Spike]);
    assert_eq!(days(&found), [date("2003-07-14")]);
    // The same step that stays is a change of weather.
    for day in ["2003-07-15", "2003-07-16", "2003-07-17"] {
        set(&mut record, day, 35.0, 18.0);
    }
    assert_eq!(of_whole(&record, &[]), []);
}

#[test]
fn a_maximum_far_above_three_minima_is_too_far_apart() {
    let mut short = weather("2021-01-01", "2021-02-10");
    set(&mut short, "2021-01-19", -12.0, -20.0);
    set(&mut short, "2021-01-20", 21.0, -20.0);
    set(&mut short, "2021-01-21", 20.0, -20.0);
    let found = of_whole(&short, &[]);
    assert_eq!(reasons(&found), [HoldReason::Range]);
}

#[test]
fn neighbours_doubt_what_the_record_alone_would_not() {
    let mut truth = record();
    for day in ["2003-04-13", "2003-04-14", "2003-04-15"] {
        set(&mut truth, day, 12.0, 4.0);
    }
    let warmer = |by: f64, salt: u64| -> Readings {
        let of = |(day, reading): (&NaiveDate, &Reading)| {
            let off = by + 1.5 * noise(*day, salt);
            let reading = Reading {
                max: reading.max.map(|value| value + off),
                min: reading.min.map(|value| value + off),
            };
            (*day, reading)
        };
        truth.iter().map(of).collect()
    };
    let neighbours = [warmer(3.0, 1), warmer(-2.0, 2)];
    let mut own = truth.clone();
    let known = own[&date("2003-04-14")];
    own.get_mut(&date("2003-04-14")).unwrap().max = known.max.map(|max| max + 14.5);
    let found = of_whole(&own, &neighbours);
    assert_eq!(reasons(&found), [HoldReason::Neighbours]);
    assert_eq!(days(&found), [date("2003-04-14")]);
    assert_eq!(of_whole(&truth, &neighbours), []);
}

#[test]
fn a_neighbour_that_is_near_speaks_for_a_value() {
    let mut own = weather("2010-01-01", "2020-12-31");
    own.get_mut(&date("2020-05-05")).unwrap().max = Some(48.0);
    let neighbour = |max: f64| {
        let reading = Reading {
            max: Some(max),
            min: None,
        };
        Readings::from([(date("2020-05-05"), reading)])
    };
    for near in [48.0, 43.1, 52.9] {
        assert_eq!(of_whole(&own, &[neighbour(near)]), [], "{near}");
    }
    for far in [42.9, 53.1, 27.0] {
        assert_eq!(of_whole(&own, &[neighbour(far)]).len(), 1, "{far}");
    }
}
