//! The database counts what changes of each station and site, and what was made of a site is kept for as
//! long as nothing has changed that it depends on.

use crate::support::command::{Workshop, config_with};
use crate::support::species::{date, steady};
use chrono::{DateTime, Utc};
use hatchbell::config::{Config, load};
use hatchbell::domain::journal::JournalAction;
use hatchbell::domain::weather::forecast::Forecast;
use hatchbell::domain::weather::reading::Reading;
use hatchbell::report::kept_sites::KeptSites;
use hatchbell::station_feed::parsed::Element;
use hatchbell::store::Store;
use std::cell::RefCell;
use std::sync::Arc;

const DAY: &str = "2026-06-10";

fn noon() -> DateTime<Utc> {
    "2026-06-10T12:00:00Z".parse().expect("an instant")
}

fn warm(celsius: f64) -> Forecast {
    let reading = Reading {
        min: Some(12.0),
        max: Some(celsius),
    };
    Forecast {
        issued: noon(),
        days: [(date("2026-06-11"), reading)].into(),
        rain: Default::default(),
        wind: Default::default(),
    }
}

fn enter(store: &mut Store, site: &str) -> i64 {
    let action = JournalAction::Note { damage: None };
    store
        .log(site, date(DAY), &action, None, noon())
        .expect("it is entered")
}

fn merge(store: &mut Store, station: &str) {
    let days = steady("2026-06-01", "2026-06-09", 10.0);
    store.merge(station, &days, noon()).unwrap();
}

/// Something that changes what is known.
type Change = fn(&mut Store);

#[test]
fn whatever_changes_of_a_station_or_a_site_is_counted_there_and_nowhere_else() {
    let workshop = Workshop::new();
    let mut store = Store::open(&workshop.path("hatchbell.db")).unwrap();
    let of_station: [(&str, Change); 8] = [
        ("days", |store| {
            let days = steady("2026-06-01", "2026-06-09", 10.0);
            store.merge("meadow", &days, noon()).unwrap();
        }),
        ("other days", |store| {
            let days = steady("2026-06-05", "2026-06-09", 12.0);
            store.merge("meadow", &days, noon()).unwrap();
        }),
        ("a value taken back", |store| {
            let failed = [(date("2026-06-02"), Element::Min)];
            store.withdraw("meadow", &failed, noon()).unwrap();
        }),
        ("rain", |store| {
            let rain = [(date("2026-06-02"), 3.0)].into();
            store.merge_rain("meadow", &rain, noon()).unwrap();
        }),
        ("other rain", |store| {
            let rain = [(date("2026-06-02"), 4.0)].into();
            store.merge_rain("meadow", &rain, noon()).unwrap();
        }),
        ("a batch undone", |store| {
            store.undo_batch(1, false, noon()).unwrap();
        }),
        ("a forecast", |store| {
            store.replace_forecast("meadow", &warm(21.0)).unwrap();
        }),
        ("another forecast", |store| {
            store.replace_forecast("meadow", &warm(22.0)).unwrap();
        }),
    ];
    let mut before = store.change_counts().unwrap();
    for (what, change) in of_station {
        change(&mut store);
        let after = store.change_counts().unwrap();
        assert!(
            after.stations.get("meadow") > before.stations.get("meadow"),
            "{what}"
        );
        assert_eq!(after.stations.len(), 1, "{what}");
        assert!(after.sites.is_empty(), "{what}");
        before = after;
    }
    let of_site: [(&str, Change); 2] = [
        ("an entry", |store| {
            enter(store, "lawn");
        }),
        ("an entry taken back", |store| {
            assert!(store.undo(1, noon()).unwrap());
        }),
    ];
    for (what, change) in of_site {
        change(&mut store);
        let after = store.change_counts().unwrap();
        assert!(after.sites.get("lawn") > before.sites.get("lawn"), "{what}");
        assert_eq!(after.stations, before.stations, "{what}");
        assert_eq!(after.sites.len(), 1, "{what}");
        before = after;
    }
}

#[test]
fn what_changes_nothing_is_not_counted() {
    let workshop = Workshop::new();
    let mut store = Store::open(&workshop.path("hatchbell.db")).unwrap();
    let days = steady("2026-06-01", "2026-06-09", 10.0);
    let rain = [(date("2026-06-02"), 3.0)].into();
    let mut take_all = || {
        store.merge("meadow", &days, noon()).unwrap();
        store.merge_rain("meadow", &rain, noon()).unwrap();
        store.replace_forecast("meadow", &warm(21.0)).unwrap();
        store.change_counts().unwrap()
    };
    assert_eq!(take_all(), take_all());
}

/// A lawn with a neighbour of its station, and a rink elsewhere.
fn lawn_and_rink(workshop: &Workshop) -> Arc<Config> {
    let station = |id: &str| {
        format!(
            "[[station]]\nid = \"{id}\"\nname = \"{id}\"\ndialect = \"ncei-export\"\nunit = \"celsius\"\nfile = \"{id}.csv\"\n"
        )
    };
    let more = format!(
        "{}{}[[member]]\nid = \"other\"\nname = \"Another\"\n[[member.site]]\nid = \"rink\"\nname = \"The rink\"\nturf = \"bentgrass\"\nlatitude = 40.0\nstation = \"mill\"\nspecies = [\"japanese-beetle\"]\n",
        station("mill"),
        station("weir"),
    );
    let origin = "file = \"only.csv\"\nneighbours = [\"weir\"]";
    let text = config_with(origin, "console = true", &more);
    let path = workshop.write("hatchbell.toml", &text);
    match load(path.as_ref()) {
        Ok(loaded) => Arc::new(loaded.config),
        Err(problems) => panic!("{problems:?}"),
    }
}

#[test]
fn a_site_is_made_anew_when_its_entries_its_station_or_a_neighbour_change_and_otherwise_kept() {
    let workshop = Workshop::new();
    let config = lawn_and_rink(&workshop);
    let mut store = Store::open(&config.service.database).unwrap();
    let made = RefCell::new(Vec::new());
    let mut kept = KeptSites::default();
    let mut look = |config: &Arc<Config>, store: &Store, day: &str, site: Option<&str>| {
        let is_wanted = |id: &str| site.is_none_or(|one| one == id);
        let there = kept.of(
            config,
            store,
            date(day),
            |site| is_wanted(&site.id),
            |id: &String| id.as_str(),
            |anew| {
                let sites = config.sites().map(|(_, site)| site);
                let ids: Vec<String> = sites
                    .filter(|site| anew(site))
                    .map(|site| site.id.clone())
                    .collect();
                *made.borrow_mut() = ids.clone();
                Ok(ids)
            },
        );
        let there: Vec<String> = there.unwrap().iter().map(|one| (**one).clone()).collect();
        (there, made.take().join(" "))
    };
    let both = ["lawn".to_owned(), "rink".to_owned()];
    let rink = [both[1].clone()];
    assert_eq!(
        look(&config, &store, DAY, Some("rink")),
        (rink.to_vec(), "rink".to_owned())
    );
    assert_eq!(
        look(&config, &store, DAY, None),
        (both.to_vec(), "lawn".to_owned())
    );
    assert_eq!(
        look(&config, &store, DAY, None),
        (both.to_vec(), String::new())
    );
    let changes: [(&str, Change); 5] = [
        ("lawn", |store| merge(store, "only")),
        ("lawn", |store| merge(store, "weir")),
        ("rink", |store| merge(store, "mill")),
        ("rink", |store| {
            enter(store, "rink");
        }),
        ("", |store| merge(store, "of nobody")),
    ];
    for (anew, change) in changes {
        change(&mut store);
        assert_eq!(
            look(&config, &store, DAY, None),
            (both.to_vec(), anew.to_owned())
        );
    }
    let all = (both.to_vec(), "lawn rink".to_owned());
    assert_eq!(look(&config, &store, "2026-06-11", None), all);
    let config = Arc::new(Config::clone(&config));
    assert_eq!(look(&config, &store, "2026-06-11", None), all);
}
