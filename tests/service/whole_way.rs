//! The whole way: from a weather station's CSV on a web server to an alert in a mailbox.

use crate::support::certificates::Certificates;
use crate::support::command::{Workshop, both, config_with, second_member};
use crate::support::http_server::{Reply, ScriptedServer};
use chrono::{Days, NaiveDate};
use hatchbell::store::Store;
use std::os::unix::fs::PermissionsExt;
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(30);

/// Export rows of 10 °C·d a day from 1 January 2026: adult flight falls on 25 February.
fn csv() -> String {
    let start = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
    (0..60).fold(String::from("DATE,TMAX,TMIN\n"), |text, index| {
        text + &format!("{},25.0,15.0\n", start + Days::new(index))
    })
}

#[test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
fn a_station_s_csv_becomes_an_alert_in_a_mailbox() {
    let web = ScriptedServer::start(vec![Reply::of(200, &[("ETag", "\"1\"")], csv())]);
    let certificates = Certificates::new();
    let mut mail = certificates.server(&["--implicit-tls", "--auth", "turf:water the green"]);
    let workshop = Workshop::new();
    workshop.write("ca.pem", &certificates.authority);
    let password = workshop.write("password", "water the green\n");
    std::fs::set_permissions(&password, std::fs::Permissions::from_mode(0o600)).unwrap();
    let email = format!(
        "[email]\nhost = \"127.0.0.1\"\nport = {}\nsecurity = \"tls\"\nfrom = \"Turf <turf@three-brooks.example>\"\n\
         username = \"turf\"\npassword_file = \"password\"\n\
         [demo]\nstarts = \"2026-02-24T06:00:00Z\"\nseconds_per_day = 86400\npublished_lag_days = 0\ndeliver = \"as-configured\"\n",
        mail.port()
    );
    let text = config_with(
        &format!("url = \"{}\"", web.url("/daily.csv")),
        "email = \"keeper@three-brooks.example\"",
        &(second_member("console = true") + &email),
    )
    .replace("database =", "extra_ca_file = \"ca.pem\"\ndatabase =");
    let config = workshop.write("hatchbell.toml", &text);

    workshop.succeeds(&["run", "--once", "--config", &config]);
    let printed = workshop.succeeds(&["run", "--once", "--config", &config]);

    let received = mail.messages_at_least(1, PATIENCE).remove(0);
    assert_eq!(received.rcpt_to, ["keeper@three-brooks.example"]);
    assert_eq!(
        received.header("Subject"),
        "Japanese beetle: adult flight has begun (25 February)"
    );
    let first_line = "Japanese beetle: adult flight has begun (25 February): The lawn";
    assert_eq!(
        received.text.lines().next(),
        Some(first_line),
        "{}",
        received.text
    );
    assert!(
        received.text.contains("Nothing to apply here."),
        "{}",
        received.text
    );
    let flowing: Vec<&str> = received.text.split_whitespace().collect();
    let flowing = flowing.join(" ");
    assert!(
        flowing.contains("For the keeper, from hatchbell at A test."),
        "{flowing}"
    );
    assert!(received.tls);
    assert_eq!(received.user.as_deref(), Some("turf"));
    assert!(
        printed.contains("Japanese beetle: adult flight has begun (25 February): The rink"),
        "{printed}"
    );
    assert!(
        !printed.contains("The lawn"),
        "members see their own sites only: {printed}"
    );
    assert_eq!(
        web.exchanges().len(),
        2,
        "one fetch a cycle, although two sites share the station"
    );
    let status = workshop.succeeds(&["status", "--site", "lawn", "--config", &config]);
    assert!(status.contains("2 messages sent"), "{status}");
    assert_eq!(mail.finish().messages.len(), 1);
}

#[test]
fn a_file_that_has_not_changed_is_asked_for_by_its_tag_and_not_read_again() {
    let web = ScriptedServer::start(vec![
        Reply::of(200, &[("ETag", "\"1\"")], csv()),
        Reply::of(304, &[], ""),
    ]);
    let workshop = Workshop::new();
    let origin = format!("url = \"{}\"", web.url("/daily.csv?place=nobodys-business"));
    let config = workshop.write(
        "hatchbell.toml",
        &config_with(&origin, "console = true", ""),
    );
    let first = both(&workshop.run(&["run", "--once", "--config", &config]));
    let second = both(&workshop.run(&["run", "--once", "--config", &config]));
    assert!(first.contains("added=60"), "{first}");
    assert!(!second.contains("took in"), "{second}");
    assert!(
        !first.contains("nobodys-business"),
        "queries are not logged: {first}"
    );
    let exchanges = web.exchanges();
    assert_eq!(exchanges[0].header("if-none-match"), None);
    assert_eq!(exchanges[1].header("if-none-match"), Some("\"1\""));
    let agent = exchanges[0].header("user-agent").expect("an honest one");
    assert!(
        agent.starts_with("hatchbell/") && agent.contains("test@three-brooks.example"),
        "{agent}"
    );

    // Read in another unit, the same file is another file: the tag no longer counts.
    let text = config_with(&origin, "console = true", "").replace("\"celsius\"", "\"fahrenheit\"");
    workshop.write("hatchbell.toml", &text);
    workshop.run(&["run", "--once", "--config", &config]);
    assert_eq!(web.exchanges()[2].header("if-none-match"), None);
}

#[test]
fn a_server_that_is_down_leaves_the_stored_days_and_shows_in_status() {
    let web = ScriptedServer::start(vec![
        Reply::of(200, &[], csv()),
        Reply::of(404, &[], "gone"),
    ]);
    let workshop = Workshop::new();
    let origin = format!("url = \"{}\"", web.url("/daily.csv"));
    let config = workshop.write(
        "hatchbell.toml",
        &config_with(&origin, "console = true", ""),
    );
    workshop.run(&["run", "--once", "--config", &config]);
    let failed = workshop.run(&["run", "--once", "--config", &config]);
    assert!(!failed.status.success());
    let status = workshop.succeeds(&["status", "--config", &config]);
    assert!(status.contains("stale since 2026-03-01"), "{status}");
    assert!(status.contains("404"), "{status}");
}

/// A forecast is a model's: it is kept apart from the station's days and never stands for one.
#[test]
fn a_forecast_is_kept_apart_and_a_bad_one_does_no_harm() {
    let forecast = "latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation\n\
        47.4,-30.0,212.0,0,GMT,GMT\n\n\
        time,temperature_2m_max (°C),temperature_2m_min (°C)\n\
        2026-03-01,20.0,10.0\n2026-03-02,24.0,12.0\n2026-03-03,25.0,13.0\n";
    let station = ScriptedServer::start(vec![Reply::of(200, &[], csv())]);
    let model = ScriptedServer::start(vec![
        Reply::of(200, &[], forecast),
        Reply::of(200, &[], "ERROR: no such place\n"),
    ]);
    let workshop = Workshop::new();
    let origin = format!(
        "url = \"{}\"\nforecast = {{ dialect = \"open-meteo-daily\", unit = \"celsius\", url = \"{}\" }}",
        station.url("/daily.csv"),
        model.url("/v1/forecast")
    );
    let config = workshop.write(
        "hatchbell.toml",
        &config_with(&origin, "console = true", ""),
    );
    let count = |table: &str| -> i64 {
        rusqlite::Connection::open(workshop.path("hatchbell.db"))
            .unwrap()
            .query_row(&format!("SELECT count(*) FROM {table}"), [], |row| {
                row.get(0)
            })
            .unwrap()
    };
    let first = both(&workshop.run(&["run", "--once", "--config", &config]));
    assert!(first.contains("took in a forecast (a model)"), "{first}");
    let days = || {
        let store = Store::open_to_read(&workshop.path("hatchbell.db")).unwrap();
        store.readings("only").unwrap().len()
    };
    assert_eq!((days(), count("forecast")), (60, 3));
    let second = both(&workshop.run(&["run", "--once", "--config", &config]));
    assert!(second.contains("no new forecast taken in"), "{second}");
    assert_eq!((days(), count("forecast")), (60, 3));
}
