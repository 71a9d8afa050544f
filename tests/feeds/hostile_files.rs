//! Files that are made to exhaust whoever reads them: refused by name, in little memory. The program
//! itself runs as a service against a web server; the kernel says how much memory it took at most.

use crate::support::command::{Workshop, config_with_station};
use crate::support::http_server::{Reply, ScriptedServer};
use flate2::{Compression, write::GzEncoder};
use std::io::{BufRead, BufReader, Cursor, Write};
use std::process::{Child, Stdio};
use std::time::Duration;
use zip::write::SimpleFileOptions;

/// What the service may take at most, kB.
const MOST_MEMORY_KB: u64 = 200_000;

/// Longest wait for what it says, so that a file that it takes ends the test.
const PATIENCE: Duration = Duration::from_secs(60);

const ROW: &[u8] = b"ZZI00000009,2026-06-01,25.0,12.0\n";
const HEADER: &[u8] = b"STATION,DATE,TMAX,TMIN\n";

/// Gzip of some bytes, and others again and again.
fn gzipped(start: &[u8], again: &[u8], times: usize, end: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(start).unwrap();
    let block = again.repeat((1 << 20) / again.len() + 1);
    let mut left = again.len() * times;
    while left > 0 {
        let some = left.min(block.len());
        encoder.write_all(&block[..some]).unwrap();
        left -= some;
    }
    encoder.write_all(end).unwrap();
    encoder.finish().unwrap()
}

/// A program that is ended with the test.
struct Service(Child);

impl Drop for Service {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Runs the service on a feed that serves this answer until it says what is wrong with it; returns
/// that line and the most memory it had, kB.
fn serve(reply: Reply, dialect: &str) -> (String, u64) {
    let server = ScriptedServer::start(vec![reply]);
    let workshop = Workshop::new();
    let text = config_with_station(&format!("url = \"{}\"", server.url("/days.csv")))
        .replace("ncei-export", dialect);
    let config = workshop.write("hatchbell.toml", &text);
    let program = workshop
        .command(&["run", "--config", &config])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut service = Service(program);
    let lines = BufReader::new(service.0.stderr.take().unwrap()).lines();
    let (sender, receiver) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let mut about_the_file = lines
            .map_while(Result::ok)
            .filter(|line| line.contains("/days.csv"));
        about_the_file.try_for_each(|line| sender.send(line))
    });
    let said = receiver
        .recv_timeout(PATIENCE)
        .expect("it says what is wrong with the file");
    let status = std::fs::read_to_string(format!("/proc/{}/status", service.0.id())).unwrap();
    let peak = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .and_then(|line| line.trim().strip_suffix(" kB"))
        .expect("the kernel counts it");
    (said, peak.trim().parse().unwrap())
}

/// The answer is refused with these words, in little memory.
fn is_refused(reply: Reply, dialect: &str, words: &[&str]) {
    let (said, peak) = serve(reply, dialect);
    eprintln!("{peak} kB at most: {said}");
    for words in words {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(peak < MOST_MEMORY_KB, "{peak} kB: {said}");
}

fn gzip_file(body: Vec<u8>) -> Reply {
    Reply::of(200, &[], body)
}

#[test]
fn a_header_of_ninety_five_million_commas_is_refused() {
    let body = gzipped(&HEADER[..HEADER.len() - 1], b",", 95_000_000, b"\n");
    let words = ["line 1: the row has more than the 65536 bytes"];
    is_refused(gzip_file(body.clone()), "ncei-export", &words);
    let encoded = Reply::of(200, &[("Content-Encoding", "gzip")], body);
    is_refused(encoded, "ncei-export", &words);
}

#[test]
fn a_header_of_too_many_columns_is_refused() {
    let body = gzipped(&HEADER[..HEADER.len() - 1], b",", 40_000, b"\n");
    let words = ["line 1: the row has 40004 columns where 1000 are allowed"];
    is_refused(gzip_file(body), "ncei-export", &words);
}

#[test]
fn rows_of_ten_million_commas_are_refused() {
    let start = [HEADER, &ROW[..ROW.len() - 1]].concat();
    let body = gzipped(&start, b",", 10_000_000, b"\n");
    let words = ["line 2: the row has more than the 65536 bytes"];
    is_refused(gzip_file(body), "ncei-export", &words);
}

#[test]
fn a_line_or_a_quote_without_an_end_is_refused() {
    for start in [ROW, b"ZZI00000009,\""] {
        let start = [HEADER, &start[..start.len() - 1], b"\"x"].concat();
        let body = gzipped(&start, b"y", 90_000_000, b"\n");
        let words = ["line 2: the row has more than the 65536 bytes"];
        is_refused(gzip_file(body), "ncei-export", &words);
    }
    let start = [HEADER, b"ZZI00000009,\"".as_slice()].concat();
    let lines = gzipped(&start, b"y\n", 45_000_000, b"");
    let words = ["line 2: the row has more than the 65536 bytes"];
    is_refused(gzip_file(lines), "ncei-export", &words);
}

#[test]
fn tens_of_millions_of_tiny_rows_are_refused() {
    let body = gzipped(HEADER, b"x\n", 45_000_000, ROW);
    let words = ["line 100002: more than 100000 rows and values"];
    is_refused(gzip_file(body), "ncei-export", &words);
    let start = [HEADER, ROW].concat();
    let body = gzipped(&start, b"ZZI00000009,x,,\n", 5_000_000, ROW);
    let words = ["more than 100000 rows and values"];
    is_refused(gzip_file(body), "ncei-export", &words);
}

#[test]
fn a_gzip_file_within_a_gzip_file_is_refused_at_its_size() {
    let deep = gzipped(b"", &[0], 400_000_000, b"");
    let packed = gzipped(b"", &deep, 1, b"");
    for headers in [&[][..], &[("Content-Encoding", "gzip")][..]] {
        let words = match headers.is_empty() {
            true => "binary file",
            false => "larger than the 100663296 bytes",
        };
        is_refused(
            Reply::of(200, headers, packed.clone()),
            "ncei-export",
            &[words],
        );
    }
}

fn zipped(members: usize, bytes: usize) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for member in 0..members {
        let name = format!("produkt_klima_tag_{member}.txt");
        writer
            .start_file(name, SimpleFileOptions::default())
            .unwrap();
        let block = [b'0'; 1 << 20];
        for _ in 0..bytes >> 20 {
            writer.write_all(&block).unwrap();
        }
    }
    writer.finish().unwrap().into_inner()
}

#[test]
fn a_zip_archive_with_a_huge_entry_or_very_many_is_refused() {
    let words = ["unpacks to more than 100663296 bytes"];
    is_refused(Reply::of(200, &[], zipped(1, 500 << 20)), "dwd-kl", &words);
    let words = ["more than the 1000 members"];
    is_refused(Reply::of(200, &[], zipped(60_000, 0)), "dwd-kl", &words);
}
