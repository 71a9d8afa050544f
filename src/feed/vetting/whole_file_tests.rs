//! Whole files in another unit, of another station or moved by a day.

use super::tests::{binding, date, known, misread, weather};
use super::*;
use crate::domain::weather::reading::{Reading, Readings};
use crate::station_feed::parsed::Element;
use chrono::{Datelike, Days};

/// Weather that differs from day to day and from place to place.
fn rough(from: &str, to: &str, place: u64) -> Readings {
    let mut days = weather(from, to);
    for (day, reading) in &mut days {
        let number = day.num_days_from_ce() as u64;
        let noise = |salt: u64| {
            let mixed =
                (number ^ salt.wrapping_mul(0x9e37_79b9)).wrapping_mul(0x2545_f491_4f6c_dd1d);
            (mixed >> 40) as f64 / (1u64 << 24) as f64 * 8.0 - 4.0
        };
        let level = noise(place);
        reading.max = reading
            .max
            .map(|max| max + level + noise(place + 100) / 4.0);
        reading.min = reading.min.map(|min| min + level);
    }
    days
}

fn vetted(readings: Readings, unit: Unit, known: &Yardstick) -> Result<(), String> {
    let parsed = Parsed {
        rows: readings.len(),
        values: 2 * readings.len(),
        readings,
        ..Parsed::default()
    };
    let mut binding = binding(unit);
    binding.dialect.units = Unit::NAMED.map(|(_, unit)| unit).to_vec();
    vet(&parsed, &binding, known).map_err(|refused| refused.to_string())
}

fn station(id: &str, is_neighbour: bool, readings: Readings) -> OtherStation {
    OtherStation {
        id: id.into(),
        is_neighbour,
        elevation_m: None,
        readings,
    }
}

#[test]
fn ten_days_of_no_day_in_common_are_held_against_the_station_s_own_climate() {
    let known = known(&rough("2019-01-01", "2025-12-31", 1));
    for month in 1..=12 {
        let first = format!("2026-{month:02}-01");
        let last = (date(&first) + Days::new(27)).to_string();
        let days = rough(&first, &last, 1);
        for (_, bound) in Unit::NAMED {
            assert_eq!(
                vetted(days.clone(), bound, &known),
                Ok(()),
                "{first} {bound}"
            );
            for (name, unit) in Unit::NAMED.into_iter().filter(|(_, unit)| *unit != bound) {
                let text = vetted(misread(&days, unit, bound), bound, &known).unwrap_err();
                assert!(
                    text.contains(&format!("read as {name} they fit better; look at the file, then set unit = \"{name}\"")),
                    "{first} {unit} as {bound}: {text}"
                );
            }
        }
    }
    // Fewer say too little.
    let nine = misread(
        &rough("2026-01-01", "2026-01-09", 1),
        Unit::Celsius,
        Unit::Fahrenheit,
    );
    assert_eq!(vetted(nine, Unit::Fahrenheit, &known), Ok(()));
}

#[test]
fn new_days_in_another_unit_are_refused_beside_old_ones_that_agree() {
    let known = known(&rough("2019-01-01", "2025-12-31", 1));
    let mut days = misread(
        &rough("2026-01-01", "2026-01-12", 1),
        Unit::Celsius,
        Unit::Fahrenheit,
    );
    days.extend(rough("2025-11-01", "2025-12-31", 1));
    let text = vetted(days, Unit::Fahrenheit, &known).unwrap_err();
    for words in [
        "the 12 new days",
        "1 January 2026 to 12 January 2026",
        "read as celsius they fit better",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
}

#[test]
fn a_real_month_far_from_the_usual_is_taken_and_one_that_its_neighbours_had_as_well() {
    let stored = rough("2019-01-01", "2025-12-31", 1);
    let warmer = |by: f64, place| {
        let mut days = rough("2026-03-01", "2026-03-31", place);
        for reading in days.values_mut() {
            reading.max = reading.max.map(|max| max + by);
            reading.min = reading.min.map(|min| min + by);
        }
        days
    };
    assert_eq!(
        vetted(warmer(8.0, 1), Unit::Celsius, &known(&stored)),
        Ok(())
    );
    let text = vetted(warmer(30.0, 1), Unit::Celsius, &known(&stored)).unwrap_err();
    assert!(
        text.contains("30.0 °C warmer") || text.contains("°C warmer (median)"),
        "{text}"
    );
    let mut beside = known(&stored);
    beside.others = vec![station("weir", true, warmer(30.0, 2))];
    assert_eq!(vetted(warmer(30.0, 1), Unit::Celsius, &beside), Ok(()));
}

#[test]
fn without_a_climate_the_neighbours_same_days_tell_the_unit_and_without_them_the_latitude() {
    let days = rough("2026-01-01", "2026-01-31", 1);
    let wrong = misread(&days, Unit::Celsius, Unit::Fahrenheit);
    let mut beside = known(&Readings::new());
    beside.others = vec![station("weir", true, rough("2026-01-01", "2026-02-20", 2))];
    let text = vetted(wrong.clone(), Unit::Fahrenheit, &beside).unwrap_err();
    assert!(
        text.contains("against the same days of its neighbours"),
        "{text}"
    );
    assert_eq!(vetted(days.clone(), Unit::Fahrenheit, &beside), Ok(()));

    let parsed = |readings: &Readings| Parsed {
        rows: 31,
        values: 62,
        readings: readings.clone(),
        ..Parsed::default()
    };
    let mut binding = binding(Unit::Fahrenheit);
    let alone = known(&Readings::new());
    assert_eq!(
        vet(&parsed(&wrong), &binding, &alone),
        Ok(()),
        "nothing is known"
    );
    binding.latitude = Some(43.0);
    let text = vet(&parsed(&wrong), &binding, &alone)
        .unwrap_err()
        .to_string();
    assert!(
        text.contains("against what its latitude and height let expect"),
        "{text}"
    );
    assert_eq!(vet(&parsed(&days), &binding, &alone), Ok(()));
}

#[test]
fn the_days_of_another_station_are_named_as_such_with_days_in_common_and_without() {
    let stored = rough("2019-01-01", "2025-12-31", 1);
    let mut known = known(&stored);
    known.others = vec![
        station("mill", false, rough("2025-06-01", "2026-02-20", 3)),
        station("weir", false, rough("2025-06-01", "2026-02-20", 2)),
    ];
    for (first, last) in [("2025-11-01", "2025-12-20"), ("2026-01-01", "2026-02-10")] {
        let text = vetted(rough(first, last, 2), Unit::Celsius, &known).unwrap_err();
        assert!(
            text.contains("these are the days of station weir"),
            "{text}"
        );
        assert!(
            text.contains("hatchbell import --station hill --replace FILE takes it"),
            "{text}"
        );
        assert_eq!(
            vetted(rough(first, last, 1), Unit::Celsius, &known),
            Ok(()),
            "{first}"
        );
    }
}

#[test]
fn days_moved_by_one_are_named_as_such_and_so_are_maxima_alone() {
    let stored = rough("2019-01-01", "2025-12-31", 1);
    let moved = |days: i64, elements: &[Element]| -> Readings {
        let file = stored.range(date("2025-03-01")..=date("2025-04-15"));
        file.map(|(day, reading)| {
            let there = stored[&(*day + chrono::TimeDelta::days(days))];
            let pick = |element, own: Option<f64>| match elements.contains(&element) {
                true => element.of(&there),
                false => own,
            };
            let max = pick(Element::Max, reading.max);
            let min = pick(Element::Min, reading.min);
            (*day, Reading { max, min })
        })
        .collect()
    };
    for (days, elements, words) in [
        (
            -1,
            &[Element::Max, Element::Min][..],
            "its maxima and minima are those stored under the day before",
        ),
        (
            1,
            &[Element::Max, Element::Min],
            "its maxima and minima are those stored under the day after",
        ),
        (
            -1,
            &[Element::Max],
            "its maxima are those stored under the day before",
        ),
        (
            -1,
            &[Element::Min],
            "its minima are those stored under the day before",
        ),
    ] {
        let text = vetted(moved(days, elements), Unit::Celsius, &known(&stored)).unwrap_err();
        assert!(text.contains(words), "{words}: {text}");
    }
}

#[test]
fn a_unit_that_was_corrected_may_differ_as_the_unit_explains_and_no_further() {
    let days = rough("2025-11-01", "2026-01-31", 1);
    // °C was read as °F until the configuration said °C.
    let mut known = known(&misread(
        &rough("2019-01-01", "2025-12-31", 1),
        Unit::Celsius,
        Unit::Fahrenheit,
    ));
    let text = vetted(days.clone(), Unit::Celsius, &known).unwrap_err();
    assert!(text.contains("read as fahrenheit it agrees"), "{text}");
    known.stored_unit = Some(Unit::Fahrenheit);
    assert_eq!(vetted(days, Unit::Celsius, &known), Ok(()));
    let text = vetted(rough("2025-11-01", "2026-01-31", 2), Unit::Celsius, &known).unwrap_err();
    assert!(
        text.contains("days that are stored already differ"),
        "{text}"
    );
    known.stored_unit = Some(Unit::TenthsCelsius);
    let other = rough("2025-11-01", "2026-01-31", 1);
    assert!(
        vetted(other, Unit::Celsius, &known).is_err(),
        "another unit explains it"
    );
}
