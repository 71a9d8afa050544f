//! The program is killed again and again under failing feed, mail and push servers: nothing is lost,
//! nothing is told under two ids, the database stays sound, and each day is evaluated once.
//!
//! `HATCHBELL_KILLS=300 cargo test --test service kills` kills more often, `HATCHBELL_SEED` elsewhere.

use super::promise::{days, demo};
use crate::support::chance::Chance;
use crate::support::command::{Workshop, config_with, second_member};
use rusqlite::Connection;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Longest wait for what is to come once the servers work.
const PATIENCE: Duration = Duration::from_secs(120);

/// What a server does with a message or a request.
#[derive(Clone, Copy, PartialEq)]
enum Fate {
    Accept,
    RefuseForNow,
    Refuse,
    CutBefore,
    CutAfter,
    Hang,
}

/// Recipient and bytes of messages.
type Accepted = Vec<(String, Vec<u8>)>;

/// The servers of the world outside.
struct World {
    chance: Mutex<Chance>,
    is_mended: AtomicBool,
    /// What was accepted, by id.
    accepted: Mutex<BTreeMap<String, Accepted>>,
    /// Whether the next message is to be followed by a kill before its answer.
    is_armed: AtomicBool,
    strike: Mutex<Sender<Sender<()>>>,
}

impl World {
    fn fate(&self) -> Fate {
        let mut chance = self.chance.lock().expect("no panic before");
        if self.is_mended.load(Ordering::SeqCst) || chance.percent(60) {
            return Fate::Accept;
        }
        let fates = [
            Fate::RefuseForNow,
            Fate::Refuse,
            Fate::CutBefore,
            Fate::CutAfter,
            Fate::Hang,
        ];
        fates[chance.within(0..5) as usize]
    }

    fn accept(&self, id: &str, to: &str, bytes: &[u8]) {
        let mut accepted = self.accepted.lock().expect("no panic before");
        let all = accepted.entry(id.to_owned()).or_default();
        all.push((to.to_owned(), bytes.to_owned()));
        drop(accepted);
        if self.is_armed.swap(false, Ordering::SeqCst) {
            let (killed, is_killed) = channel();
            let strike = self.strike.lock().expect("no panic before").clone();
            if strike.send(killed).is_ok() {
                // The end of the sender says so as well.
                let _ = is_killed.recv();
            }
        }
    }
}

/// Serves each connection in a thread of its own. A peer that goes away is no matter.
fn serve(world: &Arc<World>, talk: fn(&World, TcpStream) -> std::io::Result<()>) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    let world = Arc::clone(world);
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let world = Arc::clone(&world);
            std::thread::spawn(move || talk(&world, stream));
        }
    });
    port
}

/// Reads a request: its path, its id, its body.
fn request(reader: &mut impl BufRead) -> std::io::Result<Option<(String, String, Vec<u8>)>> {
    let (mut path, mut id, mut length) = (String::new(), String::new(), 0);
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line)? == 0 {
            return Ok(None);
        }
        let line = line.trim_end();
        if line.is_empty() {
            break;
        }
        let value = |name: &str| {
            let (found, value) = line.split_once(':')?;
            found
                .eq_ignore_ascii_case(name)
                .then(|| value.trim().to_owned())
        };
        if path.is_empty() {
            path = line.split(' ').nth(1).unwrap_or_default().to_owned();
        }
        id = value("idempotency-key").map_or(id, |id| id.trim_matches('"').to_owned());
        length = value("content-length").map_or(length, |text| text.parse().expect("a length"));
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body)?;
    Ok(Some((path, id, body)))
}

fn push(world: &World, stream: TcpStream) -> std::io::Result<()> {
    let mut reader = BufReader::new(stream.try_clone()?);
    let mut stream = stream;
    while let Some((path, id, body)) = request(&mut reader)? {
        let status = match world.fate() {
            Fate::Accept => {
                world.accept(&id, &path, &body);
                "200 OK"
            }
            Fate::CutAfter => {
                world.accept(&id, &path, &body);
                return stream.shutdown(Shutdown::Both);
            }
            Fate::RefuseForNow => "503 Later",
            Fate::Refuse => "404 No",
            Fate::CutBefore => return stream.shutdown(Shutdown::Both),
            Fate::Hang => {
                std::thread::sleep(Duration::from_millis(300));
                return stream.shutdown(Shutdown::Both);
            }
        };
        write!(stream, "HTTP/1.1 {status}\r\nContent-Length: 0\r\n\r\n")?;
    }
    Ok(())
}

fn mail(world: &World, stream: TcpStream) -> std::io::Result<()> {
    let mut reader = BufReader::new(stream.try_clone()?);
    let mut stream = stream;
    stream.write_all(b"220 mail\r\n")?;
    let (mut to, mut line) = (String::new(), String::new());
    while reader.read_line(&mut line)? > 0 {
        let command = line.trim_end().to_owned();
        line.clear();
        let answer = match command.split([' ', ':']).next().unwrap_or_default() {
            "EHLO" => "250-mail\r\n250 8BITMIME",
            "RCPT" => {
                to = command
                    .split(['<', '>'])
                    .nth(1)
                    .unwrap_or_default()
                    .to_owned();
                "250 ok"
            }
            "DATA" => {
                stream.write_all(b"354 go on\r\n")?;
                let mut bytes = Vec::new();
                while !bytes.ends_with(b"\r\n.\r\n") {
                    if reader.read_until(b'\n', &mut bytes)? == 0 {
                        return Ok(());
                    }
                }
                let text = String::from_utf8_lossy(&bytes);
                let id = text
                    .split("Message-ID: <")
                    .nth(1)
                    .and_then(|rest| rest.split('@').next());
                let id = id.expect("a Message-ID").to_owned();
                match world.fate() {
                    Fate::Accept => {
                        world.accept(&id, &to, &bytes);
                        "250 ok"
                    }
                    Fate::CutAfter => {
                        world.accept(&id, &to, &bytes);
                        return stream.shutdown(Shutdown::Both);
                    }
                    Fate::RefuseForNow => "451 later",
                    Fate::Refuse => "554 no",
                    Fate::CutBefore => return stream.shutdown(Shutdown::Both),
                    Fate::Hang => {
                        std::thread::sleep(Duration::from_millis(300));
                        return stream.shutdown(Shutdown::Both);
                    }
                }
            }
            _ => "250 ok",
        };
        write!(stream, "{answer}\r\n")?;
    }
    Ok(())
}

/// Ninety warm days, of which each adds 10 °C·d.
fn feed(world: &World, stream: TcpStream) -> std::io::Result<()> {
    let mut reader = BufReader::new(stream.try_clone()?);
    let mut stream = stream;
    let rows = days(90, 10.0);
    while request(&mut reader)?.is_some() {
        let (status, sent) = match world.fate() {
            Fate::Refuse => ("404 Gone", ""),
            Fate::CutBefore => return stream.shutdown(Shutdown::Both),
            Fate::CutAfter => ("200 OK", &rows[..rows.len() / 2]),
            _ => ("200 OK", rows.as_str()),
        };
        let length = if status == "200 OK" { rows.len() } else { 0 };
        write!(
            stream,
            "HTTP/1.1 {status}\r\nContent-Length: {length}\r\n\r\n{sent}"
        )?;
        if sent.len() < length {
            return stream.shutdown(Shutdown::Both);
        }
    }
    Ok(())
}

fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().expect("a whole number"))
}

/// Whether a copy of the database is sound; the log of the killed process is left for its next start.
fn is_sound(workshop: &Workshop) -> bool {
    let copy = tempfile::tempdir().expect("a folder");
    for name in ["hatchbell.db", "hatchbell.db-wal"] {
        if workshop.path(name).exists() {
            std::fs::copy(workshop.path(name), copy.path().join(name)).expect("a copy");
        }
    }
    let database = Connection::open(copy.path().join("hatchbell.db")).expect("a database");
    let said: String = database
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .expect("an answer");
    said == "ok"
}

fn column(workshop: &Workshop, query: &str) -> Vec<String> {
    let database = Connection::open(workshop.path("hatchbell.db")).expect("a database");
    database.busy_timeout(PATIENCE).expect("a wait");
    let mut statement = database.prepare(query).expect("a query");
    let rows = statement.query_map([], |row| row.get(0)).expect("rows");
    rows.map(|row| row.expect("a text")).collect()
}

/// Kills the program after a while, or between a server's receipt and its answer.
fn run_and_kill(
    workshop: &Workshop,
    world: &World,
    strikes: &Receiver<Sender<()>>,
    chance: &mut Chance,
) {
    let mut program = workshop.start(&["run", "--config", "hatchbell.toml"]);
    let while_alive = Duration::from_millis(chance.within(30..900) as u64);
    world.is_armed.store(chance.percent(60), Ordering::SeqCst);
    let struck = strikes.recv_timeout(while_alive);
    program.kill().expect("it runs");
    program.wait().expect("it ends");
    world.is_armed.store(false, Ordering::SeqCst);
    // One that began to wait for the kill at the last moment.
    drop(struck);
    drop(strikes.try_recv());
}

#[test]
fn killed_again_and_again_it_loses_nothing_and_tells_nothing_under_two_ids() {
    let kills = number("HATCHBELL_KILLS", 14);
    let seed = number("HATCHBELL_SEED", 9);
    let (strike, strikes) = channel();
    let world = Arc::new(World {
        chance: Mutex::new(Chance(seed)),
        is_mended: AtomicBool::new(false),
        accepted: Mutex::default(),
        is_armed: AtomicBool::new(false),
        strike: Mutex::new(strike),
    });
    let (push, mail, feed) = (
        serve(&world, push),
        serve(&world, mail),
        serve(&world, feed),
    );
    let address = |name: &str| {
        format!(
            "email = \"{name}@three-brooks.example\"\n\
             push = {{ url = \"http://127.0.0.1:{push}/{name}\", format = \"json\" }}"
        )
    };
    // The season is over when the last kill comes.
    let seconds_per_day = (kills as f64 * 0.011).max(0.25);
    let more = format!(
        "[email]\nhost = \"127.0.0.1\"\nport = {mail}\nsecurity = \"plain\"\n\
         from = \"turf@three-brooks.example\"\n{}{}",
        second_member(&address("neighbour")),
        demo("2026-02-20", seconds_per_day)
    );
    let workshop = Workshop::new();
    let origin = format!("url = \"http://127.0.0.1:{feed}/days.csv\"");
    workshop.write(
        "hatchbell.toml",
        &config_with(&origin, &address("keeper"), &more),
    );
    let mut chance = Chance(seed + 1);
    for kill in 0..kills {
        run_and_kill(&workshop, &world, &strikes, &mut chance);
        assert!(
            !workshop.path("hatchbell.db").exists() || is_sound(&workshop),
            "after kill {kill}"
        );
    }

    // Mended servers: what waits arrives.
    world.is_mended.store(true, Ordering::SeqCst);
    let mut program = workshop.start(&["run", "--config", "hatchbell.toml"]);
    let begun = Instant::now();
    let is_over = || {
        let ended =
            "SELECT count(*) || '' FROM note WHERE name = 'last-cycle' AND value > '2026-04-02'";
        let waits = "SELECT count(*) || '' FROM outbox WHERE state = 'waiting'";
        column(&workshop, ended) == ["1"] && column(&workshop, waits) == ["0"]
    };
    while !is_over() {
        assert!(begun.elapsed() < PATIENCE, "{}", workshop.read("stderr"));
        std::thread::sleep(Duration::from_millis(50));
    }
    program.kill().expect("it runs");
    program.wait().expect("it ends");
    assert!(is_sound(&workshop));

    let accepted = world.accepted.lock().expect("no panic before");
    let rows = column(
        &workshop,
        "SELECT CASE WHEN state = 'given-up' AND tries >= 5
                      AND julianday(next_try_at) - julianday(created_at) >= 14
                     THEN 'parked' ELSE state END || '|' || message_id || '|' || recipient || ' ' || channel || '|' || title FROM outbox",
    );
    let mut ids = BTreeSet::new();
    let mut told: BTreeMap<(&str, &str), Vec<&str>> = BTreeMap::new();
    for row in &rows {
        let parts: Vec<&str> = row.splitn(4, '|').collect();
        let [state, id, to, title] = parts[..] else {
            panic!("{row}")
        };
        // Many kills take weeks of the demonstration: what servers refuse for two of them is parked.
        assert!(state == "sent" || state == "parked" && kills > 50, "{row}");
        assert!(
            state == "parked" || accepted.contains_key(id),
            "noted as sent, but nobody had it: {row}"
        );
        ids.insert(id);
        told.entry((to, title)).or_default().push(id);
    }
    let unknown = accepted.keys().find(|id| !ids.contains(id.as_str()));
    assert_eq!(unknown, None, "nobody had what is not noted");
    for (id, all) in accepted.iter() {
        let different: BTreeSet<_> = all.iter().collect();
        assert_eq!(different.len(), 1, "{id}: a repeat is the same message");
    }
    // Thresholds of 560, 670 and 820 °C·d, at 10 a day from 1 January on.
    let events = [
        "Japanese beetle: adult flight has begun (25 February)",
        "Japanese beetle: egg lay has begun (8 March)",
        "Japanese beetle: hatch has begun (23 March)",
    ];
    for to in [
        "keeper email",
        "keeper push",
        "rink-keeper email",
        "rink-keeper push",
    ] {
        for event in events {
            let of_event = told
                .iter()
                .filter(|((whose, title), _)| *whose == to && title.starts_with(event));
            let ids: usize = of_event.map(|(_, ids)| ids.len()).sum();
            assert_eq!(ids, 1, "{to}: {event}; told {:?}", told.keys());
        }
    }
    // On a slow machine many kills last until the window has ended by the calendar.
    let passed = "SELECT site || ' ' || milestone || ' ' || passed_on FROM crossing
                  WHERE milestone <> 'window-end' ORDER BY 1";
    let days: Vec<String> = column(&workshop, passed);
    assert_eq!(days.len(), 6, "{days:?}");
    for site in ["lawn", "rink"] {
        for day in ["2026-02-25", "2026-03-08", "2026-03-23"] {
            let once = days
                .iter()
                .filter(|one| one.starts_with(site) && one.ends_with(day));
            assert_eq!(once.count(), 1, "{site} {day}: {days:?}");
        }
    }
}
