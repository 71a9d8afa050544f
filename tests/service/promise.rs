//! The promise: recorded once, told at least once, the same id at every attempt, nothing told of
//! the time before watching began; whatever is interrupted.

use crate::support::command::{Workshop, both, config_with, second_member};
use crate::support::http_server::{Exchange, Reply, ScriptedServer};
use chrono::{Days, NaiveDate};
use hatchbell::clock::Clock;
use hatchbell::config::load;
use hatchbell::cycle::{Engine, Setup};
use hatchbell::store::Store;
use std::process::Child;
use std::time::Duration;

/// Longest wait for something that happens at once on an idle machine.
const PATIENCE: Duration = Duration::from_secs(60);

/// Export rows from 1 January 2026 that add `gain` °C·d a day.
pub fn days(count: u64, gain: f64) -> String {
    let start = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
    let mut text = String::from("DATE,TMAX,TMIN\n");
    for index in 0..count {
        let day = start + Days::new(index);
        text += &format!("{day},{:.1},{:.1}\n", 15.0 + gain, 5.0 + gain);
    }
    text
}

/// A demonstration whose clock starts on `starts`, hours before the schedule, and that sends for
/// real.
pub fn demo(starts: &str, seconds_per_day: f64) -> String {
    format!(
        "[demo]\nstarts = \"{starts}T06:00:00Z\"\nseconds_per_day = {seconds_per_day}\n\
         published_lag_days = 0\ndeliver = \"as-configured\"\n"
    )
}

fn push_to(server: &ScriptedServer) -> String {
    format!(
        "push = {{ url = \"{}\", format = \"json\" }}",
        server.url("/turf")
    )
}

fn accepts() -> Reply {
    Reply::Respond {
        status: 200,
        headers: vec![],
        body: vec![],
    }
}

fn refuses(status: u16) -> Reply {
    Reply::Respond {
        status,
        headers: vec![],
        body: vec![],
    }
}

fn id(exchange: &Exchange) -> String {
    exchange
        .headers
        .iter()
        .find(|(name, _)| name.eq_ignore_ascii_case("idempotency-key"))
        .map(|(_, value)| value.clone())
        .expect("every push carries its id")
}

fn title(exchange: &Exchange) -> String {
    let body: serde_json::Value = serde_json::from_slice(&exchange.body).expect("JSON");
    body["title"].as_str().expect("a title").to_owned()
}

fn body(exchange: &Exchange) -> String {
    let body: serde_json::Value = serde_json::from_slice(&exchange.body).expect("JSON");
    body["text"].as_str().expect("a text").to_owned()
}

/// Each message begins with a decision and the site it is of.
fn assert_decisions(server: &ScriptedServer, due: &[&str]) {
    let texts: Vec<String> = server.exchanges().iter().map(body).collect();
    assert_eq!(texts.len(), due.len(), "{texts:#?}");
    for (text, due) in texts.iter().zip(due) {
        assert!(text.starts_with(&format!("{due}.")), "{due}: {text}");
    }
}

fn sql(workshop: &Workshop, query: &str) -> Vec<String> {
    let database = rusqlite::Connection::open(workshop.path("hatchbell.db")).unwrap();
    let mut statement = database.prepare(query).unwrap();
    let rows = statement.query_map([], |row| row.get(0)).unwrap();
    rows.map(Result::unwrap).collect()
}

/// Ends the program the way a power cut does.
fn cut_power(mut program: Child) {
    program.kill().expect("it is killed");
    program.wait().expect("it is gone");
}

/// One cycle; returns what it printed.
fn cycle(workshop: &Workshop, config: &str) -> String {
    both(&workshop.run(&["run", "--once", "--config", config]))
}

/// A workshop where watching began on 20 February and the next cycle passes adult flight (560 °C·d
/// at 10 a day: 25 February). Days of the demonstration go by with each cycle.
fn on_the_eve_of_flight(address: &str, more: &str) -> (Workshop, String) {
    let workshop = Workshop::new();
    workshop.write("days.csv", &days(60, 10.0));
    let text = config_with("file = \"days.csv\"", address, more);
    let config = workshop.write("hatchbell.toml", &text);
    (workshop, config)
}

#[test]
fn a_power_cut_between_record_and_send_repeats_the_message_under_the_same_id() {
    let silent = ScriptedServer::start(vec![Reply::Hang]);
    let (workshop, config) = on_the_eve_of_flight(&push_to(&silent), &demo("2026-02-24", 86_400.0));
    cycle(&workshop, &config);
    // The second cycle passes flight, records it, and waits for a server that never answers.
    let program = workshop.start(&["run", "--once", "--config", &config]);
    let first = silent.wait_for_exchanges(1, PATIENCE);
    cut_power(program);
    assert_eq!(
        sql(&workshop, "SELECT state || ' ' || tries FROM outbox"),
        ["waiting 1"],
        "recorded, tried, and not noted as sent"
    );

    let working = ScriptedServer::start(vec![accepts()]);
    let text = config_with(
        "file = \"days.csv\"",
        &push_to(&working),
        &demo("2026-02-24", 86_400.0),
    );
    workshop.write("hatchbell.toml", &text);
    cycle(&workshop, &config);
    cycle(&workshop, &config);
    let second = working.exchanges();
    assert_eq!(second.len(), 1, "sent once it could be, and not again");
    assert_eq!(id(&first[0]), id(&second[0]));
    assert_eq!(
        title(&first[0]),
        "Japanese beetle: adult flight has begun (25 February)"
    );
    assert_decisions(
        &working,
        &["Japanese beetle: adult flight has begun (25 February): The lawn"],
    );
    assert_eq!(first[0].body, second[0].body);
    assert_eq!(sql(&workshop, "SELECT state FROM outbox"), ["sent"]);
    assert_eq!(
        sql(&workshop, "SELECT milestone FROM crossing"),
        ["adult-flight"]
    );
}

#[test]
fn a_refused_message_is_kept_and_comes_again_under_the_same_id() {
    let server = ScriptedServer::start(vec![refuses(503), accepts()]);
    let (workshop, config) = on_the_eve_of_flight(&push_to(&server), &demo("2026-02-24", 86_400.0));
    for _ in 0..4 {
        cycle(&workshop, &config);
    }
    let exchanges = server.exchanges();
    assert_eq!(exchanges.len(), 2);
    assert_eq!(id(&exchanges[0]), id(&exchanges[1]));
    assert_eq!(sql(&workshop, "SELECT state FROM outbox"), ["sent"]);
}

#[test]
fn what_happened_before_watching_began_is_recorded_and_never_told() {
    let server = ScriptedServer::start(vec![accepts()]);
    let (workshop, config) = on_the_eve_of_flight(&push_to(&server), &demo("2026-02-28", 86_400.0));
    cycle(&workshop, &config);
    cycle(&workshop, &config);
    assert!(server.exchanges().is_empty());
    assert_eq!(
        sql(&workshop, "SELECT milestone || ' ' || told FROM crossing"),
        ["adult-flight 0"]
    );
}

#[test]
fn milestones_missed_while_the_machine_was_off_come_in_one_dated_message() {
    let server = ScriptedServer::start(vec![accepts()]);
    let workshop = Workshop::new();
    // 20 °C·d a day: flight on 28 January, egg lay on 3 February, hatch on 10 February.
    workshop.write("days.csv", &days(60, 20.0));
    let text = config_with(
        "file = \"days.csv\"",
        &push_to(&server),
        &demo("2026-01-20", 86_400.0),
    );
    let config = workshop.write("hatchbell.toml", &text);
    cycle(&workshop, &config);
    // The machine is off for a month: as if the last cycle had been later.
    rusqlite::Connection::open(workshop.path("hatchbell.db"))
        .unwrap()
        .execute(
            "UPDATE note SET value = '2026-02-20T06:00:00Z' WHERE name = 'last-cycle'",
            [],
        )
        .unwrap();
    cycle(&workshop, &config);
    let exchanges = server.exchanges();
    assert_eq!(exchanges.len(), 1);
    assert_eq!(
        title(&exchanges[0]),
        "Japanese beetle: adult flight has begun (28 January) (+2)"
    );
    assert_eq!(
        body(&exchanges[0]),
        "Japanese beetle: adult flight has begun (28 January): The lawn. \
         Japanese beetle: egg lay has begun (3 February): The lawn. \
         Japanese beetle: hatch has begun (10 February): The lawn."
    );
}

#[test]
fn a_told_date_that_revised_days_no_longer_reach_is_taken_back_and_told_anew() {
    let server = ScriptedServer::start(vec![accepts()]);
    let (workshop, config) = on_the_eve_of_flight(&push_to(&server), &demo("2026-02-24", 86_400.0));
    cycle(&workshop, &config);
    cycle(&workshop, &config);
    // The publisher revises January downwards: flight moves by five days.
    let revised = days(70, 10.0);
    let revised: String = revised
        .lines()
        .map(|line| match line.strip_prefix("2026-01-1") {
            Some(rest) => format!("2026-01-1{}", rest.replace("25.0,15.0", "20.0,10.0")),
            None => line.to_owned(),
        } + "\n")
        .collect();
    workshop.write("days.csv", &revised);
    for _ in 0..8 {
        cycle(&workshop, &config);
    }
    assert_decisions(
        &server,
        &[
            "Japanese beetle: adult flight has begun (25 February): The lawn",
            "Japanese beetle: adult flight of 25 February was told too soon: The lawn",
            "Japanese beetle: adult flight came on 2 March, not on 25 February: The lawn",
        ],
    );
    assert_eq!(
        sql(&workshop, "SELECT count(*) || '' FROM revision"),
        ["20"]
    );
}

#[test]
fn a_feed_that_goes_quiet_is_told_once_and_so_is_its_return() {
    let server = ScriptedServer::start(vec![accepts()]);
    let workshop = Workshop::new();
    workshop.write("days.csv", &days(50, 5.0));
    let text = config_with(
        "file = \"days.csv\"",
        &push_to(&server),
        &demo("2026-02-19", 86_400.0),
    )
    .replace(
        "unit = \"celsius\"",
        "unit = \"celsius\"\nusual_lag_days = 1",
    );
    let config = workshop.write("hatchbell.toml", &text);
    for _ in 0..10 {
        cycle(&workshop, &config);
    }
    workshop.write("days.csv", &days(60, 5.0));
    for _ in 0..3 {
        cycle(&workshop, &config);
    }
    assert_decisions(
        &server,
        &[
            "No new temperatures: The only station has sent no new day since 19 February 2026: The lawn",
            "The only station sends temperatures again: The lawn",
        ],
    );
}

#[test]
fn a_refused_file_leaves_the_stored_days_and_the_site_says_stale_since() {
    let (workshop, config) = on_the_eve_of_flight("console = true", "");
    workshop.succeeds(&[
        "import",
        "--config",
        &config,
        "--station",
        "only",
        &workshop.write("days.csv", &days(60, 10.0)),
    ]);
    let stored = || {
        let store = Store::open_to_read(&workshop.path("hatchbell.db")).unwrap();
        store.readings("only").unwrap()
    };
    let before = stored();
    assert!(!before.is_empty());
    workshop.write("days.csv", "<html><body>moved</body></html>\n");
    let output = workshop.run(&["run", "--once", "--config", &config]);
    assert!(!output.status.success());
    assert!(both(&output).contains("web page"), "{}", both(&output));
    assert_eq!(stored(), before);
    let status = workshop.succeeds(&["status", "--config", &config]);
    let status = status.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(status.contains("stale since"), "{status}");
    assert!(
        status.contains("days.csv, line 1: this is a web page"),
        "{status}"
    );
}

/// Export rows without some days.
fn days_without(count: u64, gain: f64, from: &str, to: &str) -> String {
    days(count, gain)
        .lines()
        .filter(|line| {
            !(*line >= from && line[..10.min(line.len())] <= *to && line.starts_with('2'))
        })
        .map(|line| line.to_owned() + "\n")
        .collect()
}

#[test]
fn a_hold_is_told_once_and_so_is_its_end_and_no_season_s_end_is_made_up_meanwhile() {
    let server = ScriptedServer::start(vec![accepts()]);
    let workshop = Workshop::new();
    let holey = days_without(60, 10.0, "2026-01-25", "2026-02-10");
    workshop.write("days.csv", &holey);
    let text = config_with(
        "file = \"days.csv\"",
        &push_to(&server),
        &demo("2026-01-20", 86_400.0),
    );
    let config = workshop.write("hatchbell.toml", &text);
    for _ in 0..30 {
        cycle(&workshop, &config);
    }
    let texts = |server: &ScriptedServer| -> String {
        let texts: Vec<String> = server.exchanges().iter().map(body).collect();
        texts.join("\n")
    };
    let held = texts(&server);
    assert_eq!(
        held.matches("Japanese beetle: milestones are held back: The lawn.")
            .count(),
        1,
        "{held}"
    );
    assert!(
        held.contains("lacks 17 days, 25 January to 10 February"),
        "{held}"
    );
    assert!(!held.contains("has begun"), "{held}");

    // The missing days are imported: what they held back is told with its date.
    workshop.write("days.csv", &days(60, 10.0));
    for _ in 0..12 {
        cycle(&workshop, &config);
    }
    let all = texts(&server);
    assert_eq!(
        all.matches("Japanese beetle: milestones are told again: The lawn.")
            .count(),
        1,
        "{all}"
    );
    assert!(
        all.contains("adult flight has begun (25 February)"),
        "{all}"
    );
}

#[test]
fn somebody_new_at_a_quiet_station_is_told_that_it_is_quiet() {
    let server = ScriptedServer::start(vec![accepts()]);
    let workshop = Workshop::new();
    workshop.write("days.csv", &days(30, 7.0));
    let text = config_with(
        "file = \"days.csv\"",
        &push_to(&server),
        &demo("2026-02-19", 86_400.0),
    );
    let config = workshop.write("hatchbell.toml", &text);
    cycle(&workshop, &config);
    cycle(&workshop, &config);
    assert_eq!(server.exchanges().len(), 1);
    let second = second_member(&push_to(&server));
    workshop.write(
        "hatchbell.toml",
        &text.replace("[demo]", &(second + "\n[demo]")),
    );
    cycle(&workshop, &config);
    cycle(&workshop, &config);
    let quiet = "No new temperatures: The only station has sent no new day since 30 January 2026";
    assert_decisions(
        &server,
        &[&format!("{quiet}: The lawn"), &format!("{quiet}: The rink")],
    );
}

/// Flight was told for 25 February; the trap says 28 February, so flight and what follows move.
#[test]
fn a_catch_logged_after_the_milestone_was_told_corrects_it_and_moves_what_follows() {
    let server = ScriptedServer::start(vec![accepts()]);
    let workshop = Workshop::new();
    workshop.write("days.csv", &days(90, 10.0));
    let text = config_with(
        "file = \"days.csv\"",
        &push_to(&server),
        &demo("2026-02-24", 86_400.0),
    );
    let config = workshop.write("hatchbell.toml", &text);
    for _ in 0..7 {
        cycle(&workshop, &config);
    }
    let logged = workshop.succeeds(&[
        "log",
        "catch",
        "--config",
        &config,
        "--site",
        "lawn",
        "--species",
        "japanese-beetle",
        "--date",
        "2026-02-28",
    ]);
    assert!(
        logged.contains("The sum on that day was 590 °C·d; the table has flight at 560"),
        "{logged}"
    );
    for _ in 0..11 {
        cycle(&workshop, &config);
    }
    assert_decisions(
        &server,
        &[
            "Japanese beetle: adult flight has begun (25 February): The lawn",
            "Japanese beetle: adult flight came on 27 February, not on 25 February: The lawn",
            "Japanese beetle: egg lay has begun (10 March): The lawn",
        ],
    );
    let status = workshop.succeeds(&["outlook", "--config", &config, "lawn"]);
    assert!(
        status.contains("moved by +13 °C·d by this season's first catch"),
        "{status}"
    );

    // Wrong entries are refused with a reason, and what is logged twice is not counted twice.
    for (arguments, due) in [
        (
            [
                "--site",
                "lawn",
                "--species",
                "japanese-beetle",
                "--date",
                "2026-02-28",
            ],
            "logged for 2026-02-28 already, as number 1",
        ),
        (
            [
                "--site",
                "lawn",
                "--species",
                "japanese-beetle",
                "--date",
                "2027-02-28",
            ],
            "in the future",
        ),
        (
            [
                "--site",
                "lawn",
                "--species",
                "european-chafer",
                "--date",
                "2026-02-27",
            ],
            "not watched for",
        ),
        (
            [
                "--site",
                "moon",
                "--species",
                "japanese-beetle",
                "--date",
                "2026-02-27",
            ],
            "no site \"moon\"",
        ),
    ] {
        let mut all = vec!["log", "catch", "--config", config.as_str()];
        all.extend(arguments);
        let output = workshop.run(&all);
        assert!(!output.status.success());
        assert!(both(&output).contains(due), "{}", both(&output));
    }
    workshop.succeeds(&["log", "undo", "--config", &config, "1"]);
    let status = workshop.succeeds(&["outlook", "--config", &config, "lawn"]);
    assert!(!status.contains("moved by"), "{status}");
}

/// A console at which somebody ends the program as soon as a message appears.
struct StopsAtOnce(tokio::sync::watch::Sender<bool>);

impl std::io::Write for StopsAtOnce {
    fn write(&mut self, printed: &[u8]) -> std::io::Result<usize> {
        self.0.send_replace(true);
        Ok(printed.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[tokio::test]
async fn a_stop_comes_between_messages_and_those_that_wait_are_sent_after_the_next_start() {
    let rink = second_member("console = true");
    let (workshop, config) = on_the_eve_of_flight("console = true", &rink);
    let start = || {
        let config = load(config.as_ref()).expect("it is sound").config;
        let store = Store::open(&config.service.database).expect("a database");
        let setup = Setup::of(&config).expect("a setup");
        let (sender, stop) = tokio::sync::watch::channel(false);
        let clock = Clock::Set("2026-02-24T06:00:00Z".parse().expect("an instant"));
        let console = Box::new(StopsAtOnce(sender));
        Engine::new(config, setup, store, clock, console, stop)
    };
    let states = || sql(&workshop, "SELECT state FROM outbox ORDER BY id");
    let mut engine = start();
    workshop.write("days.csv", &days(55, 10.0));
    engine.cycle(&|| ()).await.expect("a cycle");
    workshop.write("days.csv", &days(60, 10.0));
    engine.clock = Clock::Set("2026-03-02T06:00:00Z".parse().expect("an instant"));
    let report = engine.cycle(&|| ()).await.expect("a cycle");
    assert_eq!((report.messages, report.sent), (2, 1));
    assert_eq!(states(), ["sent", "waiting"]);
    drop(engine);
    let mut engine = start();
    engine.clock = Clock::Set("2026-03-02T07:00:00Z".parse().expect("an instant"));
    engine.cycle(&|| ()).await.expect("a cycle");
    assert_eq!(states(), ["sent", "sent"]);
}

/// Whoever looks at an earlier day sees what was known on it.
#[test]
fn a_catch_counts_from_its_day_on_and_not_before() {
    let (workshop, config) = on_the_eve_of_flight("console = true", &demo("2026-03-10", 86_400.0));
    cycle(&workshop, &config);
    workshop.succeeds(&[
        "log",
        "catch",
        "--config",
        &config,
        "--site",
        "lawn",
        "--species",
        "japanese-beetle",
        "--date",
        "2026-02-20",
    ]);
    let seen = |command: &str, on: &str| {
        let all = [command, "--config", &config, "--date", on, "lawn"];
        workshop.succeeds(&all)
    };
    let moved = "by this season's first catch";
    assert!(!seen("outlook", "2026-02-19").contains(moved));
    assert!(seen("outlook", "2026-02-20").contains(moved));
    for (on, catches) in [("2026-02-19", 0), ("2026-02-20", 1)] {
        let json = [
            "season", "--json", "--config", &config, "--date", on, "lawn",
        ];
        let season: serde_json::Value =
            serde_json::from_str(&workshop.succeeds(&json)).expect("JSON");
        let seen = season["species"][0]["catches"].as_array().expect("a list");
        assert_eq!(seen.len(), catches, "{on}: {season}");
    }
}
