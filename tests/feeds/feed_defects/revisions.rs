//! Values that change after they were published.

use super::command::Workshop;
use super::feeds::{binding, date};
use super::{pair, taken};
use chrono::{DateTime, Utc};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::reading::Reading;
use hatchbell::station_feed::parsed::Parsed;
use hatchbell::store::Store;
use hatchbell::store::readings::Merged;

/// A store that takes in files one after the other, as the service does.
struct Shelf {
    store: Store,
    now: DateTime<Utc>,
    _workshop: Workshop,
}

impl Shelf {
    fn new() -> Self {
        let workshop = Workshop::new();
        Self {
            store: Store::open(&workshop.path("hatchbell.db")).expect("it opens"),
            now: "2026-07-10T06:00:00Z".parse().expect("an instant"),
            _workshop: workshop,
        }
    }

    fn take(&mut self, parsed: &Parsed) -> Merged {
        let merged = self.store.merge("hill", &parsed.readings, self.now);
        let withdrawn = self.store.withdraw("hill", &parsed.failed, self.now);
        withdrawn.expect("it is kept");
        merged.expect("it is kept")
    }

    fn day(&self, day: &str) -> Reading {
        self.store.readings("hill").expect("they are there")[&date(day)]
    }

    fn revisions(&self) -> u32 {
        self.store.revisions("hill").expect("they are counted")
    }
}

fn wide(rows: &str) -> Parsed {
    let header = "STATION,DATE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n";
    taken(
        &format!("{header}{rows}"),
        &binding("ghcn-access", Unit::TenthsCelsius),
    )
}

fn row(day: &str, tmax: i32, tmin: i32) -> String {
    format!("ZZI00000009,{day},{tmax},\",,W\",{tmin},\",,W\"\n")
}

#[test]
fn d01_late_small_revisions_are_recorded_and_the_new_value_counts() {
    let mut shelf = Shelf::new();
    shelf.take(&wide(&row("2026-05-02", 214, 97)));
    let merged = shelf.take(&wide(&row("2026-05-02", 215, 97)));
    assert_eq!(merged.revised, 1);
    assert_eq!(shelf.day("2026-05-02").max, Some(21.5));
    assert_eq!(shelf.revisions(), 1);
}

#[test]
fn d02_a_large_revision_of_old_days_and_its_revert_are_both_recorded() {
    let mut shelf = Shelf::new();
    for tmax in [67, 167, 67] {
        shelf.take(&wide(&row("2011-04-15", tmax, 20)));
    }
    assert_eq!(shelf.day("2011-04-15").max, Some(6.7));
    assert_eq!(shelf.revisions(), 2);
}

#[test]
fn d03_a_value_that_is_voided_stays_and_one_that_fails_goes_until_it_is_back() {
    let mut shelf = Shelf::new();
    let whole = wide(&row("2026-06-23", 301, 188));
    shelf.take(&whole);
    let voided = wide("ZZI00000009,2026-06-23,,,188,\",,W\"\n");
    shelf.take(&voided);
    assert_eq!(shelf.day("2026-06-23").max, Some(30.1));
    let failed = wide("ZZI00000009,2026-06-23,301,\",I,W\",188,\",,W\"\n");
    shelf.take(&failed);
    assert_eq!(shelf.day("2026-06-23").max, None);
    assert_eq!(shelf.take(&whole).completed, 1);
    assert_eq!(shelf.day("2026-06-23").max, Some(30.1));
}

/// One of a pair often comes a day before the other.
#[test]
fn d11_half_a_pair_is_kept_and_completed_when_the_other_half_comes() {
    let mut shelf = Shelf::new();
    let header = "DATE,TMAX,TMIN\n";
    let celsius = binding("ncei-export", Unit::Celsius);
    let half = taken(&format!("{header}2026-07-01,-9999,17.2\n"), &celsius);
    assert_eq!(pair(&half, "2026-07-01"), (Some(17.2), None));
    shelf.take(&half);
    assert_eq!(shelf.store.newest_day("hill").unwrap(), None);
    let whole = taken(&format!("{header}2026-07-01,24.0,17.2\n"), &celsius);
    assert_eq!(shelf.take(&whole).completed, 1);
    assert_eq!(
        shelf.store.newest_day("hill").unwrap(),
        Some(date("2026-07-01"))
    );
}

#[test]
fn d21_a_day_twice_in_a_file_keeps_the_first_and_a_day_again_tomorrow_is_a_revision() {
    let celsius = binding("ncei-export", Unit::Celsius);
    let text = "DATE,TMAX,TMIN\n2026-07-01,24.0,12.0\n2026-07-01,25.5,12.0\n";
    let parsed = taken(text, &celsius);
    assert_eq!(pair(&parsed, "2026-07-01"), (Some(12.0), Some(24.0)));
    assert_eq!(parsed.refused[0].line, 3);
    let mut shelf = Shelf::new();
    shelf.take(&parsed);
    let later = taken("DATE,TMAX,TMIN\n2026-07-01,25.5,12.0\n", &celsius);
    assert_eq!(shelf.take(&later).revised, 1);
}

/// A service corrected an old defect of its own, and a repair that went by the station's country
/// then spoilt good values. hatchbell repairs nothing: what stands there counts, whatever the source
/// flag, and a value that is corrected at its source is a revision.
#[test]
fn d26_no_value_is_repaired_by_what_the_file_says_of_its_source() {
    let of = |source: &str| {
        wide(&format!(
            "ZZI00000009,2014-01-05,-60,\",,{source}\",-166,\",,{source}\"\n"
        ))
    };
    let plain = of("");
    for source in ["W", "D", "1", "x"] {
        assert_eq!(of(source).readings, plain.readings, "{source}");
    }
    assert_eq!(pair(&plain, "2014-01-05"), (Some(-16.6), Some(-6.0)));
}
