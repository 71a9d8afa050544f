//! `hatchbell stations`: from an invented station list and inventory to tables that load. Distances
//! stand beside geodesics on the ellipsoid by geographiclib.

use crate::support::command::{Workshop, both, config_with_station};
use crate::support::http_server::{Reply, ScriptedServer};
use crate::support::reference;
use hatchbell::config::load::from_text;
use hatchbell::domain::place::globe::{Place, great_circle_km};
use std::path::Path;

/// Around 41.8 N, 30.1 W there is nothing but sea, so nobody's station is meant.
const LIST: &str = "\
ZZW00000001  41.9000  -30.1000  212.0    HARBOUR MEADOW (INVENTED)      GSN     03772
ZZC00000002  41.8200  -30.1000  612.0    OLD ORCHARD HILL
ZZ1XYAB0003  41.8100  -30.1000  210.0 XY RAIN GAUGE 2.1 NW
ZZC00000004  41.8050  -30.1000  205.0    CLOSED MILL
CA00ZZZ0005  41.9500  -30.1000  200.0    RENAMED POND
ZZC00000006  41.6000  -30.1000 -999.9    SOUTH \"QUAY\"
ZZC00000007  43.8000  -30.1000  200.0    FAR FIELD
ZZC00000008  41.8000  -30.0000  200.0    LATE LANE
";

const INVENTORY: &str = "\
ZZW00000001  41.9000  -30.1000 TMAX 1948 2026
ZZW00000001  41.9000  -30.1000 TMIN 1950 2026
ZZW00000001  41.9000  -30.1000 PRCP 1940 2026
ZZC00000002  41.8200  -30.1000 TMAX 1980 2026
ZZC00000002  41.8200  -30.1000 TMIN 1980 2026
ZZ1XYAB0003  41.8100  -30.1000 PRCP 2009 2026
ZZC00000004  41.8050  -30.1000 TMAX 1900 2019
ZZC00000004  41.8050  -30.1000 TMIN 1900 2019
CA00ZZZ0005  41.9500  -30.1000 TMAX 1950 2024
CA00ZZZ0005  41.9500  -30.1000 TMIN 1950 2024
ZZC00000006  41.6000  -30.1000 TMAX 2017 2026
ZZC00000006  41.6000  -30.1000 TMIN 2017 2026
ZZC00000007  43.8000  -30.1000 TMAX 1950 2026
ZZC00000007  43.8000  -30.1000 TMIN 1950 2026
ZZC00000008  41.8000  -30.0000 TMAX 1950 2025
ZZC00000008  41.8000  -30.0000 TMIN 1950 2026
";

const HERE: [&str; 8] = [
    "--latitude",
    "41.8",
    "--longitude",
    "-30.1",
    "--elevation",
    "200",
    "--date",
    "2026-07-10",
];

struct Finder {
    shop: Workshop,
    list: String,
    inventory: String,
}

impl Finder {
    fn new(list: &str, inventory: &str) -> Self {
        let shop = Workshop::new();
        Self {
            list: shop.write("ghcnd-stations.txt", list),
            inventory: shop.write("ghcnd-inventory.txt", inventory),
            shop,
        }
    }

    fn arguments<'a>(&'a self, more: &[&'a str]) -> Vec<&'a str> {
        let files = ["stations", self.list.as_str(), self.inventory.as_str()];
        [&files[..], &HERE, more].concat()
    }

    fn finds(&self, more: &[&str]) -> String {
        self.shop.succeeds(&self.arguments(more))
    }

    /// What it says when it fails, in one line.
    fn refuses(&self, more: &[&str]) -> String {
        let output = self.shop.run(&self.arguments(more));
        assert_eq!(output.status.code(), Some(1), "{}", both(&output));
        assert!(output.stdout.is_empty(), "{}", both(&output));
        both(&output)
    }
}

fn usual() -> Finder {
    Finder::new(LIST, INVENTORY)
}

/// The line of the table that starts with a code.
fn row<'t>(text: &'t str, code: &str) -> &'t str {
    let mut lines = text.lines();
    lines
        .find(|line| line.trim_start().starts_with(code))
        .unwrap_or_else(|| panic!("no row for {code} in\n{text}"))
}

/// The order of the table.
fn codes(text: &str) -> Vec<&str> {
    let known: Vec<&str> = LIST.lines().map(|line| &line[..11]).collect();
    text.lines()
        .take_while(|line| !line.starts_with("A station counts"))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|word| known.contains(word))
        .collect()
}

#[test]
fn stations_with_both_extremes_are_ranked_and_those_that_ended_come_last() {
    let text = usual().finds(&[]);
    assert!(
        text.starts_with("6 stations with daily maximum and minimum within 80 km"),
        "{text}"
    );
    // 11.1 km + 1.2 for 12 m; 8.3 + 15 silent; 22.2 + 10 unknown height + 10 short; 2.2 + 41.2.
    let order = [
        "ZZW00000001",
        "ZZC00000008",
        "ZZC00000006",
        "ZZC00000002",
        "ZZC00000004",
        "CA00ZZZ0005",
    ];
    assert_eq!(codes(&text), order, "{text}");
}

#[test]
fn a_row_says_what_was_weighed_and_what_it_counts_as() {
    let text = usual().finds(&[]);
    // A hundredth part of 10 degrees of latitude on the sphere: 11.1 km.
    for (code, words) in [
        ("ZZW00000001", &["11.1", "12.3", "1950–2026 (77)"][..]),
        ("ZZC00000002", &["2.2", "43.4", "1980–2026 (47)"]),
        ("ZZC00000006", &["22.2", "42.2", "2017–2026 (10)"]),
    ] {
        let row = row(&text, code);
        for word in words {
            assert!(row.contains(word), "{row:?} does not say {word:?}");
        }
    }
    let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "nothing since 2025",
        "ended in 2019",
        "without a source",
        "look at a map",
    ] {
        assert!(joined.contains(words), "no {words:?} in {text}");
    }
}

#[test]
fn a_renamed_code_that_ended_is_pointed_out() {
    let text = usual().finds(&[]);
    assert!(text.contains("CA00ZZZ0005 begins with CA00"), "{text}");
    assert!(!usual().finds(&["--count", "5"]).contains("CA00"));
}

#[test]
fn a_rain_gauge_is_never_offered() {
    assert!(!usual().finds(&["--within", "20000"]).contains("RAIN GAUGE"));
}

#[test]
fn without_the_site_s_height_heights_do_not_count() {
    let finder = usual();
    let arguments: Vec<&str> = finder
        .arguments(&[])
        .into_iter()
        .filter(|argument| !["--elevation", "200"].contains(argument))
        .collect();
    let text = finder.shop.succeeds(&arguments);
    assert_eq!(codes(&text)[0], "ZZC00000002", "{text}");
}

#[test]
fn the_suggested_tables_load_in_a_configuration() {
    let text = usual().finds(&[]);
    let (_, tables) = text.split_once("[[station]]").expect("tables to paste");
    let tables = format!("[[station]]{tables}");
    assert_eq!(tables.matches("[[station]]").count(), 3);
    // The best station and its neighbours take the place of the one that was there.
    let config = config_with_station("file = \"own.csv\"");
    let (before, rest) = config.split_once("[[station]]").unwrap();
    let (_, after) = rest.split_once("[[member]]").unwrap();
    let after = after.replace("\"only\"", "\"harbour-meadow-invented\"");
    let config = format!("{before}{tables}\n[[member]]{after}");
    let loaded = from_text("pasted.toml", &config, Path::new("")).expect("it loads");
    assert!(loaded.warnings.is_empty(), "{:?}", loaded.warnings);
    let best = loaded
        .config
        .station("harbour-meadow-invented")
        .expect("the best");
    assert_eq!(best.station.name, "HARBOUR MEADOW (INVENTED)");
    assert_eq!(best.station.elevation_m, Some(212.0));
    assert_eq!(best.station.neighbours, ["south-quay", "old-orchard-hill"]);
    assert_eq!(best.binding.code.as_deref(), Some("ZZW00000001"));
    assert!(best.origin.to_string().ends_with("/access/ZZW00000001.csv"));
    let quay = loaded.config.station("south-quay").expect("a neighbour");
    assert_eq!(quay.station.name, "SOUTH \"QUAY\"");
    assert_eq!(quay.station.elevation_m, None);
}

#[test]
fn where_every_station_ended_none_is_suggested() {
    let ended = INVENTORY
        .replace("2026\n", "2020\n")
        .replace("2025\n", "2020\n")
        + "ZZC00000007  43.8000  -30.1000 TMAX 1950 2026\n";
    let text = Finder::new(LIST, &ended.replace("2024\n", "2020\n")).finds(&[]);
    assert!(!text.contains("[[station]]"), "{text}");
    assert!(text.contains("larger --within"), "{text}");
}

#[test]
fn a_silent_station_is_suggested_only_where_none_reports() {
    assert!(!usual().finds(&[]).contains("id = \"late-lane\""));
    let lines = INVENTORY
        .lines()
        .filter(|line| line.starts_with("ZZC00000008"));
    let alone: String = lines.map(|line| format!("{line}\n")).collect();
    let text = Finder::new(LIST, &alone).finds(&[]);
    assert!(text.contains("id = \"late-lane\""), "{text}");
}

#[test]
fn an_inventory_of_an_earlier_year_is_judged_by_its_own_end() {
    let finder = usual();
    let arguments: Vec<&str> = finder
        .arguments(&[])
        .into_iter()
        .map(|argument| {
            if argument == "2026-07-10" {
                "2029-07-10"
            } else {
                argument
            }
        })
        .collect();
    let output = finder.shop.run(&arguments);
    let said = both(&output);
    assert!(output.status.success(), "{said}");
    assert!(said.contains("the inventory ends with 2026"), "{said}");
    assert_eq!(row(&said, "ZZW00000001").matches("ended").count(), 0);
    assert!(said.contains("[[station]]"), "{said}");
}

#[test]
fn stored_readings_tell_the_missing_days() {
    let finder = usual();
    let origin = "file = \"own.csv\"\ncode = \"ZZW00000001\"";
    let config = finder
        .shop
        .write("hatchbell.toml", &config_with_station(origin));
    let mut rows = String::from("STATION,DATE,TMAX,TMIN\n");
    for day in (1..=30).filter(|day| day % 10 != 5) {
        rows += &format!("ZZW00000001,2026-06-{day:02},2{},11.0\n", day % 10);
    }
    let file = finder.shop.write("own.csv", &rows);
    finder
        .shop
        .succeeds(&["import", "--config", &config, "--station", "only", &file]);
    let text = finder.finds(&["--config", &config]);
    let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(row(&text, "ZZW00000001").contains("22.3"), "{text}");
    assert!(
        joined.contains("10.0 % of 30 days missing in its stored readings"),
        "{text}"
    );
    assert!(joined.contains("Of 5 stations nothing is kept"), "{text}");
}

#[test]
fn what_was_kept_of_every_station_tells_the_missing_days_of_each_extreme() {
    let finder = usual();
    let inventory_only = finder.finds(&[]);
    let words: Vec<&str> = inventory_only.split_whitespace().collect();
    assert!(
        words.join(" ").contains("Missing days are not known"),
        "{inventory_only}"
    );
    let config = finder
        .shop
        .write("hatchbell.toml", &config_with_station("file = \"own.csv\""));
    // In the order of a by_year file: day by day, station by station.
    let first = chrono::NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
    let mut rows = String::new();
    for (index, day) in first.iter_days().take(100).enumerate() {
        let date = day.format("%Y%m%d");
        let mut row = |code: &str, element: &str, value: i32| {
            rows += &format!("{code},{date},{element},{value},,,W,\n");
        };
        row("ZZW00000001", "TMAX", 200);
        if index % 10 != 0 {
            row("ZZW00000001", "TMIN", 100);
        }
        if index % 4 == 0 {
            row("ZZC00000002", "TMAX", 200);
            row("ZZC00000002", "TMIN", 100);
        }
    }
    let file = finder.shop.write("2026.csv", &rows);
    let import = ["import", "--config", &config, "--bulk", "--every-station"];
    finder.shop.succeeds(&[&import[..], &[&file]].concat());
    let text = finder.finds(&["--config", &config]);
    let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for due in [
        "10.0 % of 100 days missing in the archive of 2026 to 2026 (maximum 0.0 %, minimum 10.0 %)",
        "75.0 % of 100 days missing in the archive of 2026 to 2026 (maximum 75.0 %, minimum 75.0 %)",
        "the archive that `hatchbell import --bulk --every-station` keeps",
        "Of 4 stations nothing is kept",
    ] {
        assert!(joined.contains(due), "{due}\n{text}");
    }
    // 11.1 km away, 1.2 for its height, 10 for missing days.
    assert!(row(&text, "ZZW00000001").contains("22.3"), "{text}");
}

#[test]
fn the_files_may_be_addresses() {
    let server = ScriptedServer::start(vec![
        Reply::of(200, &[], LIST),
        Reply::of(200, &[], INVENTORY),
    ]);
    let list = server.url("/ghcnd-stations.txt");
    let inventory = server.url("/ghcnd-inventory.txt");
    let arguments = [&["stations", &list, &inventory][..], &HERE].concat();
    let text = Workshop::new().succeeds(&arguments);
    assert_eq!(codes(&text)[0], "ZZW00000001");
    let asked: Vec<String> = server.exchanges().into_iter().map(|e| e.path).collect();
    assert_eq!(asked, ["/ghcnd-stations.txt", "/ghcnd-inventory.txt"]);
}

#[test]
fn files_that_are_not_those_are_refused_by_name_and_line() {
    for (list, inventory, words) in [
        (
            INVENTORY,
            LIST,
            &["ghcnd-stations.txt, line 1", "list first"][..],
        ),
        (
            "<html>\nmoved\n",
            INVENTORY,
            &["web page", "download the file"],
        ),
        (LIST, "", &["ghcnd-inventory.txt", "empty"]),
        (
            &LIST.replace("  ", " "),
            INVENTORY,
            &["not in the columns", "as it is served"],
        ),
        (
            LIST,
            "YYW00000001  41.9000  -30.1000 TMAX 1948 2026\n",
            &["both files of one day"],
        ),
    ] {
        let said = Finder::new(list, inventory).refuses(&[]);
        for word in words {
            assert!(said.contains(word), "{said:?} does not say {word:?}");
        }
    }
}

#[test]
fn bad_lines_are_counted_and_the_rest_is_used() {
    let finder = Finder::new(&format!("a remark\n{LIST}"), INVENTORY.trim_end());
    let output = finder.shop.run(&finder.arguments(&[]));
    let said = both(&output);
    assert!(output.status.success(), "{said}");
    assert!(
        said.contains("1 line of the station list") && said.contains("line 1: a remark"),
        "{said}"
    );
    assert!(said.contains("inventory stops in mid-line"), "{said}");
}

#[test]
fn a_place_without_stations_names_the_nearest_and_a_place_off_the_globe_is_refused() {
    let elsewhere = INVENTORY.replace("ZZC00000004", "ZZC00000099");
    let far = Finder::new(LIST, &elsewhere).refuses(&["--within", "1"]);
    assert!(
        far.contains("OLD ORCHARD HILL, is 2 km away") && far.contains("--within 10"),
        "{far}"
    );
    for (more, word) in [
        (["--within", "0"], "--within"),
        (["--within", "NaN"], "--within"),
    ] {
        assert!(usual().refuses(&more).contains(word), "{more:?}");
    }
    let shop = usual();
    let arguments: Vec<&str> = shop
        .arguments(&[])
        .into_iter()
        .map(|argument| {
            if argument == "41.8" {
                "141.8"
            } else {
                argument
            }
        })
        .collect();
    let said = both(&shop.shop.run(&arguments));
    assert!(said.contains("--latitude goes from -90 to 90"), "{said}");
}

/// The sphere and the ellipsoid differ by up to 0.56 %; the tolerance is the common 0.6 %.
#[test]
#[ignore = "needs geographiclib; run through tests/run"]
fn distances_agree_with_geodesics_on_the_ellipsoid_by_geographiclib() {
    let pairs = reference::reference()["geodesics"]
        .as_array()
        .expect("pairs");
    assert!(pairs.len() >= 200, "{} pairs", pairs.len());
    let mut worst: f64 = 0.0;
    for pair in pairs {
        let numbers: Vec<f64> = pair
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect();
        let from = Place::new(numbers[0], numbers[1]).unwrap();
        let to = Place::new(numbers[2], numbers[3]).unwrap();
        let off = (great_circle_km(from, to) / numbers[4] - 1.0).abs();
        assert!(off < 0.006, "{numbers:?}: off by {off}");
        worst = worst.max(off);
    }
    // The pairs are wide enough to show that the Earth is no sphere.
    assert!(worst > 0.004, "{worst}");
}
