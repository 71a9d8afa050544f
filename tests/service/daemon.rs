//! The service as the service manager sees it: readiness, watchdog, reload, stop, catching up.

use crate::support::command::{Workshop, both, config_with_station};
use crate::support::http_server::{Reply, ScriptedServer};
use crate::support::manager::{Manager, PATIENCE, demo_config};
use std::time::Instant;

#[test]
fn the_daemon_says_ready_beats_and_stops_when_told() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("READY=1");
    manager.hears("WATCHDOG=1");
    let status = manager.hears("stations asked");
    assert!(
        status.contains("next look 2026-02-21 06:00 UTC"),
        "{status}"
    );
    daemon.signal("TERM");
    manager.hears("STOPPING=1");
    daemon.ends_well();
}

#[test]
fn a_demonstration_runs_through_its_days_and_prints_each_alert_once() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 0.2);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    // Flight is passed on 25 February, egg lay on 8 March.
    let start = Instant::now();
    while !workshop
        .read("stdout")
        .contains("egg lay has begun (8 March)")
    {
        assert!(start.elapsed() < PATIENCE, "{}", workshop.read("stderr"));
        manager.hears("stations asked");
    }
    daemon.signal("TERM");
    daemon.ends_well();
    let printed = workshop.read("stdout");
    assert_eq!(printed.matches("to the keeper").count(), 2, "{printed}");
    for alert in [
        "Japanese beetle: adult flight has begun (25 February): The lawn\nNext: egg lay",
        "Japanese beetle: egg lay has begun (8 March): The lawn\nNext: hatch",
    ] {
        assert_eq!(printed.matches(alert).count(), 1, "{alert}: {printed}");
    }
}

#[test]
fn a_good_new_configuration_is_taken_and_a_bad_one_is_not() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let good = workshop.read("hatchbell.toml");
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");

    workshop.write("hatchbell.toml", &good.replace("0 0 6 * * *", "0 6 * * *"));
    daemon.signal("HUP");
    manager.hears("RELOADING=1");
    manager.hears("old configuration stays in force");
    let log = workshop.read("stderr");
    assert!(
        log.contains("hatchbell.toml:5:12: error: schedule needs"),
        "{log}"
    );

    workshop.write("hatchbell.toml", &good.replace("A test", "Another name"));
    daemon.signal("HUP");
    manager.hears("new configuration is in force");

    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn status_says_that_the_configuration_has_changed_until_the_daemon_has_read_it() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let good = workshop.read("hatchbell.toml");
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");
    let differs = || {
        let output = workshop.run(&["status", "--problems", "--config", &config]);
        both(&output).contains("the configuration has changed since the service read it")
    };
    assert!(!differs());
    workshop.write("hatchbell.toml", &good.replace("A test", "Another name"));
    assert!(differs());
    daemon.signal("HUP");
    manager.hears("new configuration is in force");
    assert!(!differs());
    workshop.write("hatchbell.toml", &good);
    assert!(differs());
    daemon.signal("TERM");
    daemon.ends_well();
    assert!(!differs(), "no configuration is in force");
}

#[test]
fn a_new_database_needs_a_restart_and_the_daemon_says_so() {
    let workshop = Workshop::new();
    let config = demo_config(&workshop, 86_400.0);
    let good = workshop.read("hatchbell.toml");
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("stations asked");
    workshop.write("hatchbell.toml", &good.replace("hatchbell.db", "other.db"));
    daemon.signal("HUP");
    manager.hears("a new database needs a restart");
    daemon.signal("TERM");
    daemon.ends_well();
}

#[test]
fn a_stop_ends_the_service_within_five_seconds_though_a_feed_drips() {
    let drips = ScriptedServer::start(vec![Reply::Drip]);
    let workshop = Workshop::new();
    let text = config_with_station(&format!("url = \"{}\"", drips.url("/days.csv")));
    let config = workshop.write("hatchbell.toml", &text);
    let (mut manager, daemon) = Manager::start(&workshop, &config);
    manager.hears("READY=1");
    drips.wait_for_exchanges(1, PATIENCE);
    let told = Instant::now();
    daemon.signal("TERM");
    daemon.ends_well();
    assert!(told.elapsed().as_secs() < 5, "{:?}", told.elapsed());
}
