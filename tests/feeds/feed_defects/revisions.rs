//! Values that change after they were published: every file goes through the engine, as one of a
//! station's feed.

use super::command::config_with_station;
use super::engine::Play;
use super::feeds::binding;
use super::{pair, taken};
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::station_feed::parsed::Parsed;

/// A station whose feed is a file that is written anew.
struct Feed {
    play: Play,
    hour: u32,
}

impl Feed {
    fn of(dialect: &str, unit: Unit) -> Self {
        let config = config_with_station("file = \"feed.csv\"").replace(
            "dialect = \"ncei-export\"\nunit = \"celsius\"",
            &format!("dialect = \"{dialect}\"\nunit = \"{unit}\""),
        );
        Self {
            play: Play::new(&config),
            hour: 6,
        }
    }

    fn wide() -> Self {
        Self::of("ghcn-access", Unit::TenthsCelsius)
    }

    async fn serve(&mut self, text: &str) {
        self.play.workshop.write("feed.csv", text);
        self.play
            .cycle(&format!("2026-07-10T{:02}:00:00Z", self.hour))
            .await;
        self.hour += 1;
    }

    /// The only day that is stored: its minimum and maximum, °C.
    fn day(&self) -> String {
        let celsius = |value: Option<f64>| value.map_or("-".to_owned(), |c| format!("{c:?}"));
        let days = self.play.stored().into_iter().map(|(day, reading)| {
            format!("{day} {} {}", celsius(reading.min), celsius(reading.max))
        });
        days.collect::<Vec<_>>().join("; ")
    }

    /// Every value that was replaced, with the one that came for it.
    fn revisions(&self) -> Vec<String> {
        self.play.column(
            "SELECT element || ' ' || old_c || ' ' || ifnull(new_c, '-') FROM revision ORDER BY id",
        )
    }
}

const HEADER: &str = "STATION,DATE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n";

fn row(day: &str, tmax: i32, tmin: i32) -> String {
    format!("{HEADER}ZZI00000009,{day},{tmax},\",,W\",{tmin},\",,W\"\n")
}

fn wide(text: &str) -> Parsed {
    taken(text, &binding("ghcn-access", Unit::TenthsCelsius))
}

#[tokio::test]
async fn d01_late_small_revisions_are_recorded_and_the_new_value_counts() {
    let mut feed = Feed::wide();
    feed.serve(&row("2026-07-02", 214, 97)).await;
    feed.serve(&row("2026-07-02", 215, 97)).await;
    assert_eq!(feed.day(), "2026-07-02 9.7 21.5");
    assert_eq!(feed.revisions(), ["max 21.4 21.5"]);
}

#[tokio::test]
async fn d02_a_large_revision_of_old_days_and_its_revert_are_both_recorded() {
    let mut feed = Feed::wide();
    for tmax in [67, 167, 67] {
        feed.serve(&row("2011-04-15", tmax, 20)).await;
    }
    assert_eq!(feed.day(), "2011-04-15 2.0 6.7");
    assert_eq!(feed.revisions(), ["max 6.7 16.7", "max 16.7 6.7"]);
}

#[tokio::test]
async fn d03_a_value_that_is_voided_stays_and_one_that_fails_goes_until_it_is_back() {
    let mut feed = Feed::wide();
    let whole = row("2026-07-02", 301, 188);
    feed.serve(&whole).await;
    feed.serve(&whole.replace("301,\",,W\"", ",")).await;
    assert_eq!(feed.day(), "2026-07-02 18.8 30.1");
    feed.serve(&whole.replace("301,\",,W\"", "301,\",I,W\""))
        .await;
    assert_eq!(feed.day(), "2026-07-02 18.8 -");
    assert_eq!(feed.revisions(), ["max 30.1 -"]);
    feed.serve(&whole).await;
    assert_eq!(feed.day(), "2026-07-02 18.8 30.1");
}

/// One of a pair often comes a day before the other.
#[tokio::test]
async fn d11_half_a_pair_is_kept_and_completed_when_the_other_half_comes() {
    let mut feed = Feed::of("ncei-export", Unit::Celsius);
    feed.serve("DATE,TMAX,TMIN\n2026-07-02,-9999,17.2\n").await;
    assert_eq!(feed.day(), "2026-07-02 17.2 -");
    feed.serve("DATE,TMAX,TMIN\n2026-07-02,24.0,17.2\n").await;
    assert_eq!(feed.day(), "2026-07-02 17.2 24.0");
    assert!(feed.revisions().is_empty());
}

#[tokio::test]
async fn d21_a_day_twice_in_a_file_keeps_the_first_and_a_day_again_tomorrow_is_a_revision() {
    let text = "DATE,TMAX,TMIN\n2026-07-02,24.0,12.0\n2026-07-02,25.5,12.0\n";
    let parsed = taken(text, &binding("ncei-export", Unit::Celsius));
    assert_eq!(parsed.refused[0].line, 3);
    let mut feed = Feed::of("ncei-export", Unit::Celsius);
    feed.serve(text).await;
    assert_eq!(feed.day(), "2026-07-02 12.0 24.0");
    feed.serve("DATE,TMAX,TMIN\n2026-07-02,25.5,12.0\n").await;
    assert_eq!(feed.revisions(), ["max 24.0 25.5"]);
}

/// A service corrected an old defect of its own, and a repair that went by the station's country
/// then spoilt good values. hatchbell repairs nothing: what stands there counts, whatever the source
/// flag, and a value that is corrected at its source is a revision.
#[test]
fn d26_no_value_is_repaired_by_what_the_file_says_of_its_source() {
    let of = |source: &str| {
        wide(&format!(
            "{HEADER}ZZI00000009,2014-01-05,-60,\",,{source}\",-166,\",,{source}\"\n"
        ))
    };
    let plain = of("");
    for source in ["W", "D", "1", "x"] {
        assert_eq!(of(source).readings, plain.readings, "{source}");
    }
    assert_eq!(pair(&plain, "2014-01-05"), (Some(-16.6), Some(-6.0)));
}
