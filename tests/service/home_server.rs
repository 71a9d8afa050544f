//! What a home server reads from an MQTT broker, by a real one (mosquitto) and its own client.

use crate::support::broker::{Broker, PASSWORD, USER, free_port};
use crate::support::certificates::Certificates;
use crate::support::command::{Workshop, both};
use crate::support::manager::{Daemon, Manager};
use serde_json::Value;

const CONFIG: [&str; 2] = ["--config", "hatchbell.toml"];
const STATES: &str = "hatchbell/site/+/state";
const AVAILABILITY: &str = "hatchbell/availability";

/// The demonstration's co-op in early July, whose clock stands still, with a broker.
fn co_op(workshop: &Workshop, port: u16, more: &str) -> String {
    let root = env!("CARGO_MANIFEST_DIR");
    let text = std::fs::read_to_string(format!("{root}/config/demo.toml")).unwrap();
    let text = text
        .replace("../target/demo/", "")
        .replace("../fixtures/", &format!("{root}/fixtures/"))
        .replace("2026-04-15T06:00:00Z", "2026-07-02T06:00:00Z")
        .replace("seconds_per_day = 1.0", "seconds_per_day = 86400.0")
        .replace("[web]\nlisten = \"127.0.0.1:8417\"\n", "");
    let text = format!("{text}\n[mqtt]\nhost = \"127.0.0.1\"\nport = {port}\n{more}\n");
    workshop.write("hatchbell.toml", &text);
    text
}

fn start(workshop: &Workshop) -> Daemon {
    let (mut manager, daemon) = Manager::start(workshop, "hatchbell.toml");
    manager.hears("stations asked");
    daemon
}

fn asked(workshop: &Workshop, arguments: &[&str]) -> Value {
    let text = workshop.succeeds(&[arguments, &CONFIG[..], &["--json"]].concat());
    serde_json::from_str(&text).unwrap()
}

/// The sites of the co-op by their ids.
fn sites(workshop: &Workshop) -> Vec<String> {
    let status = asked(workshop, &["status"]);
    let rows = status["sites"].as_array().unwrap().iter();
    let mut ids: Vec<String> = rows
        .map(|row| row["site"].as_str().unwrap().into())
        .collect();
    ids.dedup();
    ids
}

#[test]
#[ignore = "talks to mosquitto; run through tests/run"]
fn the_state_of_each_site_is_kept_and_says_what_plan_and_status_say() {
    let workshop = Workshop::new();
    let broker = Broker::start(&workshop, free_port());
    co_op(&workshop, broker.port, "");
    let service = start(&workshop);
    let ids = sites(&workshop);
    assert_eq!(ids.len(), 4);
    // All have come once; whoever asks later is told by the broker.
    broker.listen(&[STATES], ids.len()).heard();
    let kept = broker.kept(&[STATES]);
    assert_eq!(kept.len(), ids.len());
    assert!(
        kept.iter().all(|one| one.was_kept && one.qos == 1),
        "{kept:?}"
    );
    assert_eq!(broker.reads(AVAILABILITY).text, "online");

    let status = asked(&workshop, &["status"]);
    let mut with_cautions = 0;
    for id in &ids {
        let topic = format!("hatchbell/site/{id}/state");
        let state = kept.iter().find(|one| one.topic == topic).unwrap().json();
        let plan = asked(&workshop, &["plan", id]);
        assert_eq!(state["treat"], plan["treat"]);
        assert_eq!(state["reason"], plan["why"]);
        assert_eq!(state["day"], "2026-07-02");
        assert_eq!(state["soil_c"], plan["soil"]["week_mean_c"]);
        let rows = status["sites"].as_array().unwrap().iter();
        let rows: Vec<&Value> = rows.filter(|row| row["site"] == **id).collect();
        assert_eq!(state["decision"], rows[0]["due"]["words"]);
        assert_eq!(state["deadline"], rows[0]["due"]["by"]);
        assert_eq!(state["stale_since"], rows[0]["stale_since"]);
        let species = state["species"].as_array().unwrap();
        assert_eq!(species.len(), rows.len());
        for (one, row) in species.iter().zip(rows) {
            for key in ["species", "degree_days", "data_through", "next_milestone"] {
                assert_eq!(one[key], row[key], "{id} {key}");
            }
            assert!(one["degree_days"].as_f64().unwrap() > 400.0);
        }
        let cautions = state["cautions"].as_array().unwrap();
        assert_eq!(cautions.is_empty(), state["option"].is_null(), "{state}");
        with_cautions += usize::from(!cautions.is_empty());
    }
    assert!(with_cautions > 0 && with_cautions < ids.len());

    // What has not changed is not published again: the service looks after a reload, and the next that comes
    // is its leave.
    let heard = broker.listen(&[STATES, AVAILABILITY], ids.len() + 2);
    broker.kept(&[AVAILABILITY]);
    let text = workshop.read("hatchbell.toml");
    workshop.write(
        "hatchbell.toml",
        &text.replace("co-op (invented)", "co-op, renamed"),
    );
    workshop.succeeds(&[&["reload"], &CONFIG[..]].concat());
    service.signal("TERM");
    service.ends_well();
    let last = heard.heard().pop().unwrap();
    assert_eq!(
        (last.topic.as_str(), last.text.as_str()),
        (AVAILABILITY, "offline")
    );
    assert_eq!(broker.reads(AVAILABILITY).text, "offline");
}

#[test]
#[ignore = "talks to mosquitto; run through tests/run"]
fn a_home_server_finds_the_sensors_and_a_site_that_is_taken_out_is_cleared_also_after_a_stop() {
    let workshop = Workshop::new();
    let broker = Broker::start(&workshop, free_port());
    let find = "discovery_prefix = \"found\"";
    co_op(&workshop, broker.port, find);
    let service = start(&workshop);
    let ids = sites(&workshop);
    let (gone, stays) = (&ids[0], &ids[1]);
    let topic = |site: &str| format!("hatchbell/site/{site}/state");
    broker.listen(&[STATES], ids.len()).heard();
    let soil = broker.reads(&format!("found/sensor/hatchbell_{stays}_soil/config"));
    let sensor = soil.json();
    assert_eq!(sensor["state_topic"], *topic(stays));
    assert_eq!(sensor["availability_topic"], AVAILABILITY);
    assert_eq!(sensor["value_template"], "{{ value_json.soil_c }}");
    assert_eq!(sensor["unit_of_measurement"], "°C");
    assert_eq!(
        sensor["device"]["identifiers"][0],
        format!("hatchbell_{stays}")
    );

    // While it runs: the kept message comes first, then the empty one that clears it.
    let listed = |ids: &[&str]| {
        let ids: Vec<String> = ids.iter().map(|id| format!("{id:?}")).collect();
        format!("{find}\nsites = [{}]", ids.join(", "))
    };
    let clearing = broker.listen(&[&topic(gone)], 2);
    // It has read the kept one only once it listens.
    broker.reads(&topic(gone));
    let others: Vec<&str> = ids[1..].iter().map(String::as_str).collect();
    co_op(&workshop, broker.port, &listed(&others));
    let reloaded = workshop.run(&[&["reload"], &CONFIG[..]].concat());
    assert!(reloaded.status.success(), "{}", both(&reloaded));
    assert_eq!(clearing.heard()[1].text, "");

    // While it was stopped.
    service.signal("TERM");
    service.ends_well();
    co_op(&workshop, broker.port, &listed(&[stays]));
    let clearing = broker.listen(&[&topic(&ids[2])], 2);
    broker.reads(&topic(&ids[2]));
    let service = start(&workshop);
    assert_eq!(clearing.heard()[1].text, "");
    service.signal("TERM");
    service.ends_well();
    let kept = broker.kept(&["hatchbell/#", "found/#"]);
    let of_others = kept
        .iter()
        .filter(|one| !one.topic.contains(stays.as_str()) && one.topic != AVAILABILITY);
    assert_eq!(
        of_others.collect::<Vec<_>>(),
        Vec::<&crate::support::broker::Heard>::new()
    );
    assert!(kept.iter().any(|one| one.topic == topic(stays)));
}

#[test]
#[ignore = "talks to mosquitto; run through tests/run"]
fn a_service_that_is_killed_is_offline_by_its_last_will() {
    let workshop = Workshop::new();
    let broker = Broker::start(&workshop, free_port());
    co_op(&workshop, broker.port, "");
    let service = start(&workshop);
    broker.listen(&[STATES], 4).heard();
    assert_eq!(broker.reads(AVAILABILITY).text, "online");
    service.signal("KILL");
    let listening = broker.listen(&[AVAILABILITY], 1).heard();
    let last = match listening[0].text.as_str() {
        // The broker had not seen the end yet.
        "online" => broker.listen(&[AVAILABILITY], 2).heard().remove(1),
        _ => listening[0].clone(),
    };
    assert_eq!(last.text, "offline");
}

#[test]
#[ignore = "talks to mosquitto; run through tests/run"]
fn a_broker_that_is_away_holds_up_nothing_is_named_once_and_gets_all_when_it_is_back() {
    let workshop = Workshop::new();
    let port = free_port();
    co_op(&workshop, port, "");
    // The first cycle ends, with its alerts, although nobody answers.
    let service = start(&workshop);
    let named = || {
        let status = asked(&workshop, &["status"]);
        let problems = status["problems"].as_array().unwrap().iter();
        let of_broker = problems.filter(|one| one["kind"] == "home-server");
        let words: Vec<String> = of_broker.map(|one| one["what"].to_string()).collect();
        words.join("\n")
    };
    // It notes the failure beside the cycle.
    let noted = (0..500).map(|_| named()).find(|words| !words.is_empty());
    let words = noted.expect("it is noted");
    assert!(words.contains("cannot be reached"), "{words}");
    let doctor = both(&workshop.run(&[&["doctor"], &CONFIG[..]].concat()));
    assert!(doctor.contains("home server"), "{doctor}");
    let online = both(&workshop.run(&[&["check", "--online"], &CONFIG[..]].concat()));
    assert!(online.contains("fails  MQTT broker"), "{online}");

    let broker = Broker::start(&workshop, port);
    broker.listen(&[STATES], 4).heard();
    assert_eq!(named(), "");
    let online = both(&workshop.run(&[&["check", "--online"], &CONFIG[..]].concat()));
    assert!(online.contains("ok     MQTT broker"), "{online}");

    // A broker that comes back has forgotten all.
    drop(broker);
    let broker = Broker::start(&workshop, port);
    broker.listen(&[STATES], 4).heard();
    assert_eq!(broker.reads(AVAILABILITY).text, "online");
    service.signal("TERM");
    service.ends_well();
    let log = workshop.read("stderr");
    let count = |words: &str| log.matches(words).count();
    assert_eq!(count("is tried again until it works"), 2, "{log}");
    assert_eq!(count("is back"), 2, "{log}");
}

#[test]
#[ignore = "talks to mosquitto; run through tests/run"]
fn a_password_that_is_refused_is_named_and_one_that_fits_signs_in() {
    use std::os::unix::fs::PermissionsExt;
    let workshop = Workshop::new();
    let broker = Broker::with_password(&workshop, free_port());
    let keep = |password: &str| {
        let file = workshop.write("mqtt-password", password);
        let private = std::fs::Permissions::from_mode(0o600);
        std::fs::set_permissions(file, private).unwrap();
    };
    let online = || both(&workshop.run(&[&["check", "--online"], &CONFIG[..]].concat()));
    co_op(&workshop, broker.port, "");
    let answer = online().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        answer.contains("it wants a user and a password"),
        "{answer}"
    );

    let login = format!("username = {USER:?}\npassword_file = \"mqtt-password\"");
    co_op(&workshop, broker.port, &login);
    keep("dew point");
    let answer = online().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        answer.contains("it refuses the user \"turf\" or the password"),
        "{answer}"
    );
    assert!(!answer.contains("dew point"), "{answer}");

    keep(PASSWORD);
    assert!(online().contains("ok     MQTT broker"), "{}", online());
    let _service = start(&workshop);
    broker.listen(&[STATES], 4).heard();

    // In clear it goes to this machine only.
    let text = workshop.read("hatchbell.toml");
    workshop.write(
        "hatchbell.toml",
        &text.replace("\"127.0.0.1\"", "\"home.example\""),
    );
    let refused = both(&workshop.run(&[&["check"], &CONFIG[..]].concat()));
    assert!(refused.contains("without encryption"), "{refused}");
}

#[test]
#[ignore = "talks to mosquitto; run through tests/run"]
fn under_tls_only_a_broker_whose_certificate_is_trusted_is_published_to() {
    let workshop = Workshop::new();
    let broker = Broker::with_tls(&workshop, free_port(), &Certificates::new());
    let online = || {
        let answer = both(&workshop.run(&[&["check", "--online"], &CONFIG[..]].concat()));
        answer.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let text = co_op(&workshop, broker.port, "tls = true");
    assert!(
        online().contains("fails MQTT broker: no TLS"),
        "{}",
        online()
    );
    let trusting = "[service]\nextra_ca_file = \"authority.pem\"";
    workshop.write("hatchbell.toml", &text.replace("[service]", trusting));
    assert!(online().contains("ok MQTT broker"), "{}", online());
    let _service = start(&workshop);
    broker.listen(&[STATES], 4).heard();
}
