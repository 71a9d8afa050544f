//! Feeds of many hosts are fetched side by side, those of one host one after the other, and taken in
//! in the order of the stations.

use crate::support::command::{Workshop, config_with};
use crate::support::http_server::{Reply, ScriptedServer};
use hatchbell::clock::Clock;
use hatchbell::config::load;
use hatchbell::cycle::{Engine, Setup};
use hatchbell::feed::ahead::{Ahead, Request};
use hatchbell::feed::fetch::{FetchPolicy, Fetched, Fetcher};
use hatchbell::station_feed::origin::Origin;
use hatchbell::station_feed::version::Validators;
use hatchbell::store::Store;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

/// Longest wait for something that happens at once on an idle machine.
const AMPLE: Duration = Duration::from_secs(30);

/// The limit of a fetch from a server that drips.
const LIMIT: Duration = Duration::from_secs(2);

fn policy(total_timeout: Duration) -> FetchPolicy {
    FetchPolicy {
        total_timeout,
        first_pause: Duration::ZERO,
        ..FetchPolicy::default()
    }
}

fn ahead(urls: &[String], total_timeout: Duration) -> Ahead {
    let fetcher = Fetcher::new(policy(total_timeout), "test", None).unwrap();
    let requests = urls.iter().map(|url| Request {
        origin: Origin::Url(url.parse().unwrap()),
        known: Validators::default(),
    });
    Ahead::new(Arc::new(fetcher), requests.enumerate())
}

async fn body(ahead: &mut Ahead, place: usize) -> String {
    let answer = tokio::time::timeout(AMPLE, ahead.answer(place)).await;
    match answer.expect("it ends").expect("it was asked").unwrap() {
        Fetched::Body { bytes, .. } => String::from_utf8(bytes).unwrap(),
        Fetched::NotModified => panic!("there should be a body"),
    }
}

/// A server on every address of 127.0.0.0/8 whose callers wait until they are answered.
struct Waiting {
    listener: TcpListener,
    callers: BTreeMap<String, TcpStream>,
}

impl Waiting {
    async fn start() -> Self {
        Self {
            listener: TcpListener::bind("0.0.0.0:0").await.unwrap(),
            callers: BTreeMap::new(),
        }
    }

    fn url(&self, host: u8, path: &str) -> String {
        let port = self.listener.local_addr().unwrap().port();
        format!("http://127.0.0.{host}:{port}/{path}")
    }

    /// Waits for another caller; keeps it by its path.
    async fn another(&mut self) {
        let calling = tokio::time::timeout(AMPLE, self.listener.accept()).await;
        let (mut caller, _) = calling.expect("somebody calls").unwrap();
        let mut request = Vec::new();
        while !request.ends_with(b"\r\n\r\n") {
            request.push(caller.read_u8().await.unwrap());
        }
        let request = String::from_utf8(request).unwrap();
        let path = request.split([' ', '/']).nth(2).unwrap().to_owned();
        self.callers.insert(path, caller);
    }

    async fn answer(&mut self, path: &str) {
        let mut caller = self.callers.remove(path).expect("it calls");
        let length = path.len();
        let answer = format!(
            "HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: {length}\r\n\r\n{path}"
        );
        caller.write_all(answer.as_bytes()).await.unwrap();
    }

    fn paths(&self) -> Vec<&str> {
        self.callers.keys().map(String::as_str).collect()
    }
}

#[tokio::test]
async fn eight_hosts_are_asked_at_once_and_the_order_of_answers_is_that_of_places() {
    let mut server = Waiting::start().await;
    let urls: Vec<String> = (0..12)
        .map(|n| server.url(10 + n, &format!("f{n:02}")))
        .collect();
    let mut ahead = ahead(&urls, AMPLE);
    let answering = tokio::spawn(async move {
        let mut bodies = Vec::new();
        for place in 0..12 {
            bodies.push(body(&mut ahead, place).await);
        }
        bodies
    });
    for _ in 0..8 {
        server.another().await;
    }
    let first: Vec<String> = (0..8).map(|n| format!("f{n:02}")).collect();
    assert_eq!(server.paths(), first);
    let ninth = tokio::time::timeout(Duration::from_millis(100), server.another()).await;
    assert!(ninth.is_err(), "no more than eight at once");
    // The last of them is answered first.
    server.answer("f07").await;
    for n in 8..12 {
        server.another().await;
        server.answer(&format!("f{n:02}")).await;
    }
    for n in 0..7 {
        server.answer(&format!("f{n:02}")).await;
    }
    let expected: Vec<String> = (0..12).map(|n| format!("f{n:02}")).collect();
    assert_eq!(answering.await.unwrap(), expected);
}

#[tokio::test]
async fn files_of_one_host_are_fetched_one_after_the_other() {
    let mut server = Waiting::start().await;
    let urls = [
        server.url(1, "a"),
        server.url(1, "b"),
        server.url(2, "c"),
        server.url(1, "d"),
    ];
    let mut ahead = ahead(&urls, AMPLE);
    let answering = tokio::spawn(async move {
        let mut bodies = Vec::new();
        for place in 0..4 {
            bodies.push(body(&mut ahead, place).await);
        }
        bodies.concat()
    });
    server.another().await;
    server.another().await;
    assert_eq!(server.paths(), ["a", "c"]);
    for (path, others) in [("a", ["b", "c"]), ("b", ["c", "d"])] {
        server.answer(path).await;
        server.another().await;
        assert_eq!(server.paths(), others);
    }
    server.answer("d").await;
    server.answer("c").await;
    assert_eq!(answering.await.unwrap(), "abcd");
}

#[tokio::test]
async fn a_file_too_large_to_wait_for_its_turn_is_fetched_when_that_comes() {
    let large = "1".repeat(9 << 20);
    let first = ScriptedServer::start(vec![Reply::of(200, &[], "first")]);
    let second = ScriptedServer::start(vec![Reply::of(200, &[], large.clone())]);
    let second_url = second.url("/second").replace("127.0.0.1", "localhost");
    let mut ahead = ahead(&[first.url("/first"), second_url], AMPLE);
    assert_eq!(body(&mut ahead, 0).await, "first");
    assert!(body(&mut ahead, 1).await == large);
    assert!(second.exchanges().len() <= 2);
}

#[tokio::test]
async fn a_station_that_drips_holds_a_cycle_no_longer_than_its_own_limit_and_no_other_station() {
    let drips = ScriptedServer::start(vec![Reply::Drip]);
    let rows = "DATE,TMAX,TMIN\n2026-06-01,25.0,15.0\n2026-06-02,26.0,15.0\n";
    let good = ScriptedServer::start(vec![Reply::of(200, &[], rows)]);
    let more = ["second", "third"].map(|id| {
        format!(
            "[[station]]\nid = \"{id}\"\nname = \"{id}\"\ndialect = \"ncei-export\"\nunit = \
             \"celsius\"\nurl = \"{}\"\n",
            good.url(&format!("/{id}"))
                .replace("127.0.0.1", "localhost")
        )
    });
    let text = config_with(
        &format!("url = \"{}\"", drips.url("/")),
        "console = true",
        &more.concat(),
    )
    .replace(
        "station = \"only\"",
        "stations = [\"only\", \"second\", \"third\"]",
    );
    let workshop = Workshop::new();
    let path = workshop.write("hatchbell.toml", &text);
    let config = match load(path.as_ref()) {
        Ok(loaded) => loaded.config,
        Err(problems) => panic!("{problems:?}"),
    };
    let store = Store::open_for_a_while(&config.service.database).unwrap();
    let setup = Setup::with_policy(&config, policy(LIMIT)).unwrap();
    let (_stop, stopping) = watch::channel(false);
    let clock = Clock::Set("2026-06-04T12:00:00Z".parse().unwrap());
    let mut engine = Engine::new(
        config,
        setup,
        store,
        clock,
        Box::new(std::io::sink()),
        stopping,
    );
    let begun = Instant::now();
    let report = engine.cycle(&|| ()).await.unwrap();
    let lasted = begun.elapsed();
    assert_eq!((report.stations, report.failed), (3, 1));
    assert!(LIMIT <= lasted && lasted < 2 * LIMIT, "{lasted:?}");
    for station in ["second", "third"] {
        assert_eq!(
            engine.store.readings(station).unwrap().len(),
            2,
            "{station}"
        );
    }
    let problem = engine.store.feed("only").unwrap().problem.unwrap();
    assert!(problem.contains("not done within 2s"), "{problem}");
}
