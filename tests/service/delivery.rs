//! Delivery to many servers: side by side, one connection each, and nobody waits for another's.

use super::promise::days;
use crate::support::command::{Workshop, config_with};
use crate::support::http_server::{Reply, ScriptedServer};
use chrono::{DateTime, TimeDelta, Utc};
use hatchbell::clock::Clock;
use hatchbell::config::load;
use hatchbell::cycle::{Engine, Report, Setup};
use hatchbell::domain::place::site::Channel;
use hatchbell::store::Store;
use hatchbell::store::outbox::{About, Draft};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::sync::watch;

/// Longest wait for something that happens at once on an idle machine.
const PATIENCE: Duration = Duration::from_secs(60);

pub(super) fn noon() -> DateTime<Utc> {
    "2026-07-01T12:00:00Z".parse().expect("an instant")
}

fn push_to(url: &str) -> String {
    format!("push = {{ url = \"{url}\", format = \"json\" }}")
}

/// A recipient of the one member beside the keeper.
fn recipient(id: &str, address: &str) -> String {
    format!("[[member.recipient]]\nid = \"{id}\"\nname = \"{id}\"\n{address}\n")
}

fn accepting() -> ScriptedServer {
    ScriptedServer::start(vec![Reply::of(200, &[], "")])
}

/// An engine at noon that nothing but a delivery is asked of.
pub(super) struct Post {
    pub workshop: Workshop,
    pub engine: Engine,
    stop: watch::Sender<bool>,
}

impl Post {
    /// `keeper` is the address of the first recipient.
    pub fn new(keeper: &str, more: &str) -> Self {
        let workshop = Workshop::new();
        workshop.write("days.csv", &days(60, 10.0));
        let text = config_with("file = \"days.csv\"", keeper, more);
        let path = workshop.write("hatchbell.toml", &text);
        let config = match load(path.as_ref()) {
            Ok(loaded) => loaded.config,
            Err(problems) => panic!("{problems:?}"),
        };
        let store = Store::open_for_a_while(&config.service.database).expect("a database");
        let setup = Setup::of(&config).expect("a setup");
        let (stop, stopping) = watch::channel(false);
        let clock = Clock::Set(noon());
        let output = Box::new(std::io::sink());
        Self {
            workshop,
            engine: Engine::new(config, setup, store, clock, output, stopping),
            stop,
        }
    }

    pub fn write_for(&mut self, recipient: &str, member: &str, channel: Channel) {
        let draft = Draft {
            recipient,
            member,
            channel,
            title: format!("for {recipient}"),
            body: "a text".into(),
            urgent: false,
            about: About::default(),
        };
        let now = self.engine.clock.now();
        self.engine
            .store
            .record(&[], &[draft], now)
            .expect("it is written");
    }

    fn push_for(&mut self, recipient: &str) {
        self.write_for(recipient, "member", Channel::Push);
    }

    pub async fn deliver(&mut self) -> Report {
        let mut report = Report::default();
        let delivery = self.engine.deliver(&|| (), &mut report);
        delivery.await.expect("the database works");
        report
    }

    pub fn later(&mut self, by: TimeDelta) {
        self.engine.clock = Clock::Set(self.engine.clock.now() + by);
    }

    /// Recipient, state and tries of each message.
    pub fn states(&self) -> Vec<String> {
        self.column("SELECT recipient || ' ' || state || ' ' || tries FROM outbox ORDER BY id")
    }

    pub fn column(&self, query: &str) -> Vec<String> {
        let database = rusqlite::Connection::open(self.workshop.path("hatchbell.db")).unwrap();
        let mut statement = database.prepare(query).unwrap();
        let rows = statement.query_map([], |row| row.get(0)).unwrap();
        rows.map(Result::unwrap).collect()
    }
}

/// Twenty servers that never answer, and what is meant for them comes first.
#[tokio::test]
async fn servers_that_never_answer_delay_nobody_else_and_a_stop_does_not_wait_for_them() {
    let silent: Vec<ScriptedServer> = (0..20)
        .map(|_| ScriptedServer::start(vec![Reply::Hang]))
        .collect();
    let working = Arc::new(accepting());
    let recipients: String = silent
        .iter()
        .enumerate()
        .map(|(index, server)| recipient(&format!("silent-{index}"), &push_to(&server.url("/"))))
        .collect();
    let mut post = Post::new(&push_to(&working.url("/")), &recipients);
    for index in 0..silent.len() {
        post.push_for(&format!("silent-{index}"));
        post.push_for(&format!("silent-{index}"));
    }
    post.push_for("keeper");
    post.push_for("keeper");
    let (stop, seen) = (post.stop.clone(), Arc::clone(&working));
    let stopping = tokio::task::spawn_blocking(move || {
        seen.wait_for_exchanges(2, PATIENCE);
        for server in &silent {
            server.wait_for_exchanges(1, PATIENCE);
        }
        stop.send_replace(true);
        silent
    });
    let delivery = tokio::time::timeout(Duration::from_secs(50), post.deliver()).await;
    let report = delivery.expect("it ends before any server's time is up");
    assert_eq!(report.sent, 2);
    for server in stopping.await.expect("they were asked") {
        assert_eq!(server.exchanges().len(), 1, "one after the other");
    }
    let states = post.states();
    let count = |end: &str| states.iter().filter(|state| state.ends_with(end)).count();
    assert_eq!(
        (count("waiting 1"), count("waiting 0"), count("sent 1")),
        (20, 20, 2)
    );
}

/// A web server that keeps connections open. Counts connections and requests.
async fn lasting_server() -> (String, Arc<[AtomicUsize; 2]>) {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}/", listener.local_addr().unwrap());
    let counts = Arc::new([AtomicUsize::new(0), AtomicUsize::new(0)]);
    let seen = Arc::clone(&counts);
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            seen[0].fetch_add(1, Ordering::SeqCst);
            let seen = Arc::clone(&seen);
            tokio::spawn(async move {
                let mut stream = BufReader::new(stream);
                let mut length = 0;
                let mut line = String::new();
                while stream.read_line(&mut line).await.is_ok_and(|read| read > 0) {
                    if let Some(value) = line.to_lowercase().strip_prefix("content-length:") {
                        length = value.trim().parse().expect("a length");
                    }
                    if line.trim().is_empty() {
                        let mut body = vec![0; length];
                        stream.read_exact(&mut body).await.expect("a body");
                        seen[1].fetch_add(1, Ordering::SeqCst);
                        let answer = b"HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\ntaken";
                        stream.write_all(answer).await.expect("a listener");
                    }
                    line.clear();
                }
            });
        }
    });
    (url, counts)
}

#[tokio::test]
async fn all_messages_to_one_server_go_over_one_connection() {
    let (url, counts) = lasting_server().await;
    let other = recipient("other", &push_to(&format!("{url}other")));
    let mut post = Post::new(&push_to(&url), &other);
    for _ in 0..25 {
        post.push_for("keeper");
        post.push_for("other");
    }
    assert_eq!(post.deliver().await.sent, 50);
    let [connections, requests] = [0, 1].map(|index| counts[index].load(Ordering::SeqCst));
    assert_eq!((connections, requests), (1, 50));
}

#[tokio::test]
async fn a_server_that_takes_nothing_is_asked_once_a_look_and_given_all_once_it_is_back() {
    let closed = ScriptedServer::start(vec![
        Reply::Raw(Vec::new()),
        Reply::Raw(Vec::new()),
        Reply::of(200, &[], ""),
    ]);
    let mut post = Post::new(&push_to(&closed.url("/")), "");
    for _ in 0..4 {
        post.push_for("keeper");
    }
    let report = post.deliver().await;
    assert_eq!((report.sent, report.unsent), (0, 4));
    assert_eq!(closed.exchanges().len(), 1);
    post.deliver().await;
    assert_eq!(closed.exchanges().len(), 2);
    assert_eq!(
        post.states(),
        [
            "keeper waiting 1",
            "keeper waiting 1",
            "keeper waiting 0",
            "keeper waiting 0"
        ]
    );
    post.later(TimeDelta::minutes(2));
    assert_eq!(post.deliver().await.sent, 4);
}

#[tokio::test]
async fn a_server_that_asks_for_a_pause_gets_it_and_so_do_its_other_messages() {
    let busy = ScriptedServer::start(vec![
        Reply::of(503, &[("Retry-After", "600")], ""),
        Reply::of(200, &[], ""),
    ]);
    let mut post = Post::new(&push_to(&busy.url("/")), "");
    post.push_for("keeper");
    post.push_for("keeper");
    assert_eq!(post.deliver().await.unsent, 2);
    post.later(TimeDelta::minutes(9));
    assert_eq!(post.deliver().await.unsent, 1);
    assert_eq!(busy.exchanges().len(), 1, "it is left alone");
    post.later(TimeDelta::minutes(4));
    assert_eq!(post.deliver().await.sent, 2);
}

#[tokio::test]
async fn a_pause_asked_for_as_an_instant_is_kept_by_the_server_s_own_clock() {
    let (date, until) = (
        "Mon, 05 Jan 2026 08:00:00 GMT",
        "Mon, 05 Jan 2026 08:10:00 GMT",
    );
    let busy = ScriptedServer::start(vec![
        Reply::of(503, &[("Date", date), ("Retry-After", until)], ""),
        Reply::of(200, &[], ""),
    ]);
    let mut post = Post::new(&push_to(&busy.url("/")), "");
    post.push_for("keeper");
    post.deliver().await;
    post.later(TimeDelta::minutes(9));
    assert_eq!(post.deliver().await.sent, 0);
    post.later(TimeDelta::minutes(4));
    assert_eq!(post.deliver().await.sent, 1);
}

#[tokio::test]
async fn a_long_delivery_gives_way_to_a_cycle_that_has_become_due_and_goes_on_after_it() {
    let working = accepting();
    let mut post = Post::new(&push_to(&working.url("/")), "");
    for _ in 0..5 {
        post.push_for("keeper");
    }
    post.engine.least_delivery = Duration::ZERO;
    // No cycle has run yet, so one is due.
    let report = post.deliver().await;
    assert_eq!((report.sent, report.unsent), (0, 5));
    post.engine.store.note_cycle(noon()).expect("it is written");
    assert_eq!(post.deliver().await.sent, 5);
    for _ in 0..5 {
        post.push_for("keeper");
    }
    post.later(TimeDelta::days(1));
    assert_eq!(post.deliver().await.sent, 0);
    post.engine.least_delivery = Duration::from_secs(60);
    assert_eq!(
        post.deliver().await.sent,
        5,
        "it gets on even where cycles are always due"
    );
}

#[tokio::test]
async fn a_message_whose_acceptance_cannot_be_noted_comes_again_under_the_same_id() {
    let working = accepting();
    let mut post = Post::new(&push_to(&working.url("/")), "");
    post.push_for("keeper");
    let run = |statement: &str| {
        let database = rusqlite::Connection::open(post.workshop.path("hatchbell.db"));
        database.unwrap().execute_batch(statement).unwrap();
    };
    run("CREATE TRIGGER full BEFORE UPDATE OF state ON outbox
         BEGIN SELECT RAISE(ABORT, 'the disk is full'); END");
    let failed = post.engine.deliver(&|| (), &mut Report::default()).await;
    assert!(failed.is_err());
    run("DROP TRIGGER full");
    post.later(TimeDelta::minutes(2));
    assert_eq!(post.deliver().await.sent, 1);
    let both = working.exchanges();
    assert_eq!(both.len(), 2);
    assert_eq!(
        both[0].header("Idempotency-Key"),
        both[1].header("Idempotency-Key")
    );
    assert_eq!(both[0].body, both[1].body);
    post.later(TimeDelta::days(2));
    assert_eq!(post.deliver().await.sent, 0);
}

#[tokio::test]
async fn the_operator_is_told_what_the_message_that_cannot_be_sent_ran_into() {
    let server = ScriptedServer::start(vec![
        Reply::of(503, &[], ""),
        Reply::of(410, &[], ""),
        Reply::of(503, &[], ""),
    ]);
    let operator = format!("{}\nfile = \"operator.txt\"", push_to(&server.url("/")));
    let mut post = Post::new(&operator, "");
    let text = post.workshop.read("hatchbell.toml");
    let text = text.replace("[service]", "[service]\noperator = \"keeper\"");
    let path = post.workshop.write("hatchbell.toml", &text);
    post.engine.config = load(path.as_ref()).expect("it is sound").config.into();
    for _ in 0..3 {
        post.push_for("keeper");
    }
    post.deliver().await;
    let told = post.workshop.read("operator.txt");
    assert!(
        told.contains("answered 410") && !told.contains("503"),
        "{told}"
    );
}

/// A message that is refused leaves the next one to be tried.
#[tokio::test]
async fn a_refused_message_holds_up_no_other_and_waits_for_a_day() {
    let picky = ScriptedServer::start(vec![Reply::of(404, &[], ""), Reply::of(200, &[], "")]);
    let mut post = Post::new(&push_to(&picky.url("/")), "");
    post.push_for("keeper");
    post.push_for("keeper");
    let report = post.deliver().await;
    assert_eq!((report.sent, report.unsent), (1, 1));
    post.later(TimeDelta::hours(23));
    assert_eq!(post.deliver().await.sent, 0);
    post.later(TimeDelta::hours(6));
    assert_eq!(post.deliver().await.sent, 1);
}

#[tokio::test]
async fn the_operator_is_told_by_another_way_once_of_somebody_who_cannot_be_reached() {
    let refuses = ScriptedServer::start(vec![Reply::of(410, &[], "")]);
    let operator = format!("{}\nfile = \"operator.txt\"", push_to(&refuses.url("/")));
    let mut post = Post::new(&operator, "");
    let text = post.workshop.read("hatchbell.toml");
    let text = text.replace("[service]", "[service]\noperator = \"keeper\"");
    post.engine.config = {
        let path = post.workshop.write("hatchbell.toml", &text);
        load(path.as_ref()).expect("it is sound").config.into()
    };
    post.push_for("keeper");
    post.deliver().await;
    let told = || post.workshop.read("operator.txt");
    assert!(
        told().contains("keeper cannot be reached by push"),
        "{}",
        told()
    );
    assert!(told().contains("answered 410"), "{}", told());
    assert_eq!(post.states(), ["keeper waiting 1", "keeper sent 1"]);
    for _ in 0..5 {
        post.push_for("keeper");
        post.later(TimeDelta::days(2));
        post.deliver().await;
    }
    let told = post.workshop.read("operator.txt");
    assert_eq!(told.matches("cannot be reached").count(), 1, "{told}");
}

#[tokio::test]
async fn a_message_for_a_recipient_of_another_member_is_not_given_to_whoever_has_the_id_now() {
    let working = accepting();
    let mut post = Post::new(&push_to(&working.url("/")), "");
    post.write_for("keeper", "a-member-who-left", Channel::Push);
    post.push_for("keeper");
    assert_eq!(post.deliver().await.sent, 1);
    assert_eq!(post.states(), ["keeper waiting 1", "keeper sent 1"]);
    let why = post.column("SELECT last_error FROM outbox WHERE id = 1");
    assert!(why[0].contains("of member a-member-who-left"), "{why:?}");
}

#[tokio::test]
async fn a_proof_of_life_comes_once_a_week_and_not_again_after_a_restart() {
    let mut post = Post::new("file = \"operator.txt\"", "");
    let text = post.workshop.read("hatchbell.toml");
    let text = text.replace(
        "[service]",
        "[service]\noperator = \"keeper\"\nproof_of_life = true",
    );
    let path = post.workshop.write("hatchbell.toml", &text);
    let told = |post: &Post| {
        let told = post.workshop.read("operator.txt");
        told.lines()
            .filter(|line| line.starts_with("All is well") || line.starts_with("Not all"))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    let mut now: DateTime<Utc> = "2026-03-02T06:00:00Z".parse().expect("an instant");
    for day in 0..16 {
        // Each day after a restart.
        let config = load(path.as_ref()).expect("it is sound").config;
        let store = Store::open_for_a_while(&config.service.database).expect("a database");
        let setup = Setup::of(&config).expect("a setup");
        let output = Box::new(std::io::sink());
        let stopping = post.stop.subscribe();
        post.engine = Engine::new(config, setup, store, Clock::Set(now), output, stopping);
        for _ in 0..2 {
            post.engine.cycle(&|| ()).await.expect("the database works");
        }
        let lines = told(&post);
        // The title, and the body that begins with it.
        assert_eq!(lines.len(), 2 * (day / 7 + 1), "day {day}: {lines:?}");
        now += TimeDelta::days(1);
    }
    let lines = told(&post);
    assert_eq!(
        lines[2], "All is well: healthy since 2 March 2026",
        "{lines:?}"
    );
    assert!(lines[3].contains("1 station fresh"), "{lines:?}");
    assert_eq!(
        lines[4], "Not all is well: see hatchbell status --problems",
        "the days end on 1 March"
    );
}

#[tokio::test]
async fn the_outbox_lists_what_waits_tries_it_at_once_and_gives_it_up() {
    let refuses = ScriptedServer::start(vec![Reply::of(410, &[], ""), Reply::of(200, &[], "")]);
    let mut post = Post::new(&push_to(&refuses.url("/")), "");
    post.engine.clock = Clock::Set(Utc::now());
    post.push_for("keeper");
    post.deliver().await;
    let outbox = |arguments: &[&str]| {
        let config = ["--config", "hatchbell.toml"];
        let all = [&["outbox"], arguments, &config].concat();
        post.workshop.shows(60, &all)
    };
    let listed = outbox(&[]);
    for words in [
        "1  keeper by push, since ",
        "for keeper",
        "tried 1 time; next at ",
        "answered 410",
    ] {
        assert!(listed.contains(words), "no {words:?} in\n{listed}");
    }
    assert!(
        listed.lines().all(|line| line.chars().count() <= 60),
        "{listed}"
    );
    let json: serde_json::Value = serde_json::from_str(&outbox(&["--json"])).expect("JSON");
    assert_eq!(
        (&json[0]["number"], &json[0]["tries"]),
        (&1.into(), &1.into())
    );
    outbox(&["drop", "1"]);
    assert_eq!(outbox(&[]), "nothing waits\n");
    assert!(outbox(&["--given-up"]).contains("1  keeper by push"));
    assert_eq!(outbox(&["retry", "1"]), "1 message due now\n");
    assert!(outbox(&[]).contains("due now"));
    let unknown = ["outbox", "drop", "7", "--config", "hatchbell.toml"];
    assert!(!post.workshop.run(&unknown).status.success());
    post.engine.clock = Clock::Set(Utc::now());
    assert_eq!(post.deliver().await.sent, 1);
}
