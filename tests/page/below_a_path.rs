//! The page below a path of a server that has other things at its root.

use super::support::journal::Site;
use super::support::served_page::{Answer, Page, encoded};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};

/// A server before the page: what lies below `/turf/` it hands on, with or without that path, and
/// everything else it does not know. It ends with the test program.
fn proxy(takes_path_off: bool) -> (SocketAddr, std::sync::mpsc::Sender<SocketAddr>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    let (tell, told) = std::sync::mpsc::channel::<SocketAddr>();
    std::thread::spawn(move || {
        let page = told.recv().unwrap();
        for stream in listener.incoming() {
            hand_on(stream.unwrap(), page, takes_path_off);
        }
    });
    (address, tell)
}

fn hand_on(mut stream: TcpStream, page: SocketAddr, takes_path_off: bool) {
    let mut asked = Vec::new();
    let mut part = [0; 4096];
    let whole = |asked: &[u8]| {
        let text = String::from_utf8_lossy(asked).into_owned();
        let (head, body) = text.split_once("\r\n\r\n")?;
        let length = head.split_once("Content-Length: ").map_or(0, |(_, rest)| {
            rest.lines().next().unwrap().parse::<usize>().unwrap()
        });
        (body.len() >= length).then_some(text)
    };
    let text = loop {
        if let Some(text) = whole(&asked) {
            break text;
        }
        let read = stream.read(&mut part).unwrap();
        assert_ne!(read, 0, "the request is whole");
        asked.extend(&part[..read]);
    };
    let (method, rest) = text.split_once(' ').unwrap();
    let Some(below) = rest.strip_prefix("/turf/") else {
        let nothing = "HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\nConnection: close\r\n\r\n";
        stream.write_all(nothing.as_bytes()).unwrap();
        return;
    };
    let path = if takes_path_off { "/" } else { "/turf/" };
    let mut behind = TcpStream::connect(page).unwrap();
    behind
        .write_all(format!("{method} {path}{below}").as_bytes())
        .unwrap();
    let mut answer = Vec::new();
    behind.read_to_end(&mut answer).unwrap();
    stream.write_all(&answer).unwrap();
}

/// Every address that a page leads to on its own server.
fn leads(answer: &Answer) -> Vec<String> {
    let marks = ["href=\"", "action=\"", "src=\""];
    let found = marks
        .iter()
        .flat_map(|mark| answer.body.split(mark).skip(1));
    let found = found.map(|rest| rest.split('"').next().unwrap().replace("&#38;", "&"));
    found.filter(|to| !to.starts_with('#')).collect()
}

fn walk(takes_path_off: bool) {
    let site = Site::of("area = \"450 m2\"");
    site.logs("application --option imidacloprid --date 2026-06-10");
    let (address, tell) = proxy(takes_path_off);
    let web = format!("\n[web]\naddress = \"http://{address}/turf/\"\n");
    let text = std::fs::read_to_string(&site.config).unwrap();
    std::fs::write(&site.config, text + &web).unwrap();
    let page = Page::of_site(&site);
    tell.send(page.address).unwrap();
    let host = address.to_string();
    let origin = format!("http://{address}");
    let through = |method: &str, path: &str, body: &str| {
        let headers = [
            ("Host", host.as_str()),
            ("Origin", &origin),
            ("Content-Type", "application/x-www-form-urlencoded"),
        ];
        page.ask_at(address, method, path, &headers, body)
    };
    let mut known = vec!["/turf/".to_owned()];
    let mut place = 0;
    while place < known.len() && place < 60 {
        let path = known[place].clone();
        place += 1;
        let answer = through("GET", &path, "");
        // Forms that only take what is sent are not there to look at.
        assert!(
            [200, 303, 405].contains(&answer.status),
            "{path}: {answer:?}"
        );
        if answer.status != 200 {
            continue;
        }
        for lead in leads(&answer) {
            assert!(lead.starts_with("/turf/"), "{path} leads to {lead}");
            if !known.contains(&lead) {
                known.push(lead);
            }
        }
    }
    assert!(place > 12, "{known:?}");
    let form = through("GET", "/turf/sites/lawn/enter/water", "");
    let (key, form_key) = (form.hidden("key"), form.hidden("form_key"));
    let fields = [
        ("key", key.as_str()),
        ("form_key", &form_key),
        ("date", "2026-06-10"),
        ("depth", "2"),
        ("depth_unit", "mm"),
    ];
    let sent = through("POST", "/turf/sites/lawn/enter/water", &encoded(&fields));
    assert_eq!(sent.leads_to(), "/turf/sites/lawn/journal?said=2");
    let described = through("GET", "/turf/api/v1/openapi.json", "");
    assert!(described.body.contains("\"url\": \"/turf/api/v1\""));
}

#[test]
fn every_link_and_form_stays_below_the_path_of_a_server_that_takes_it_off() {
    walk(true);
}

#[test]
fn every_link_and_form_stays_below_the_path_of_a_server_that_leaves_it() {
    walk(false);
}
