//! Notices on their way to a browser, byte by byte; read by others' libraries.

use crate::support::http_server::{Exchange, Reply, ScriptedServer};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use hatchbell::notify::web_push::{
    BrowserAddress, NewServiceKey, NoticeTerms, WebPushSettings, WebPusher,
};
use hatchbell::notify::{Enclosed, Parcel, SendError};
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Duration;

/// A browser's key and authentication secret: those of RFC 8291, appendix A.
const KEY: &str =
    "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4";
const AUTH: &str = "BTBZMqHH6r4Tts7J_aSIgg";

fn now() -> DateTime<Utc> {
    "2026-07-06T06:00:00Z".parse().unwrap()
}

/// Sends a notice; gives the public key that it was signed by.
async fn send(url: &str, own: &[&str], agent: &str) -> (Result<(), SendError>, String) {
    let own: Vec<String> = own.iter().map(|host| (*host).to_owned()).collect();
    let key = NewServiceKey::random().unwrap();
    let pusher = WebPusher::new(&WebPushSettings {
        user_agent: agent,
        contact: "mailto:office@three-brooks.example",
        timeout: Duration::from_secs(20),
        extra_ca_pem: None,
        own_hosts: &own,
        private_key: &key.private,
    });
    let parcel = Parcel {
        id: "6f1c".to_owned(),
        title: "Last week for imidacloprid: Mill Lane".to_owned(),
        text: "By 13 July. Water in 13 mm.\nCautions: the label is the law.".to_owned(),
        created_at: now(),
        enclosed: Enclosed::default(),
    };
    let terms = NoticeTerms {
        until: now() + TimeDelta::days(7),
        urgent: true,
        task: Some("apply lawn imidacloprid".to_owned()),
        opens: Some("https://turf.three-brooks.example/task/6f1c/lawn/k".to_owned()),
    };
    // As it may have been stored by a program that looked less closely.
    let all = ["localhost".to_owned(), "127.0.0.1".to_owned()];
    let to = BrowserAddress::read(url, KEY, AUTH, &all).unwrap();
    let sent = pusher.unwrap().send(&to, &parcel, &terms, now()).await;
    (sent.map(|_| ()), key.public)
}

/// What others make of what was sent.
fn read(exchange: &Exchange) -> Value {
    let python = std::env::var_os("HATCHBELL_PEERS_PYTHON").expect("run through tests/run");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/peers/read_notice.py");
    let mut process = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("it starts");
    let sent = json!({
        "body": URL_SAFE_NO_PAD.encode(&exchange.body),
        "authorization": exchange.header("authorization"),
    });
    let mut input = process.stdin.take().unwrap();
    input.write_all(sent.to_string().as_bytes()).unwrap();
    drop(input);
    let output = process.wait_with_output().unwrap();
    assert!(output.status.success());
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// http_ece and py_vapid stand for browser and push service.
#[tokio::test]
#[ignore = "needs the peers of tests/run"]
async fn a_browser_can_read_the_notice_and_a_push_service_knows_who_sends_it() {
    let server = ScriptedServer::start(vec![Reply::of(201, &[], "")]);
    let url = server.url("/a/hush-path");
    let (sent, public) = send(&url, &["127.0.0.1"], "hatchbell/test").await;
    sent.unwrap();
    let exchange = server.exchanges().remove(0);
    assert!(exchange.body.len() <= 4096);
    let read = read(&exchange);
    assert_eq!(read["key"], KEY);
    let topic = exchange.header("topic").unwrap();
    assert_eq!(
        read["notice"],
        json!({
            "title": "Last week for imidacloprid: Mill Lane",
            "body": "By 13 July. Water in 13 mm.\nCautions: the label is the law.",
            "tag": topic,
            "opens": "https://turf.three-brooks.example/task/6f1c/lawn/k",
        })
    );
    assert_eq!(read["signed"], true);
    assert_eq!(read["signer"], public);
    assert_eq!(
        read["claims"],
        json!({
            "aud": format!("http://{}", server.host()),
            "exp": (now() + TimeDelta::hours(12)).timestamp(),
            "sub": "mailto:office@three-brooks.example",
        })
    );
    let of = |name| exchange.header(name).unwrap();
    assert_eq!(
        (exchange.method.as_str(), exchange.path.as_str()),
        ("POST", "/a/hush-path")
    );
    assert_eq!(of("content-encoding"), "aes128gcm");
    assert_eq!((of("ttl"), of("urgency")), ("604800", "high"));
}

#[tokio::test]
async fn a_browsers_address_in_the_own_network_is_not_asked_and_no_redirect_leads_there() {
    let inside = ScriptedServer::start(vec![Reply::of(201, &[], "")]);
    let port = inside.host().rsplit_once(':').unwrap().1.to_owned();
    for url in [
        inside.url("/hush-path"),
        format!("https://localhost:{port}/hush-path"),
        format!("https://127.0.0.1:{port}/hush-path"),
    ] {
        let refused = send(&url, &[], "hatchbell/test").await.0.unwrap_err();
        assert!(matches!(refused, SendError::Permanent(_)), "{refused:?}");
        assert!(!refused.to_string().contains("hush-path"), "{refused}");
    }
    let target = inside.url("/elsewhere");
    let outside = ScriptedServer::start(vec![Reply::of(307, &[("Location", &target)], "")]);
    let answer = send(&outside.url("/a"), &["127.0.0.1"], "hatchbell/test")
        .await
        .0;
    assert!(matches!(answer, Err(SendError::Permanent(_))), "{answer:?}");
    assert_eq!(outside.exchanges().len(), 1);
    assert_eq!(inside.exchanges(), []);
}

#[tokio::test]
async fn a_service_that_asks_for_a_pause_gets_one_and_a_browser_that_is_gone_is_told_apart() {
    let answers = [(429, "90"), (410, "0"), (413, "0")];
    let replies = answers.map(|(status, pause)| Reply::of(status, &[("Retry-After", pause)], ""));
    let server = ScriptedServer::start(replies.to_vec());
    let mut problems = Vec::new();
    for _ in answers {
        problems.push(
            send(&server.url("/hush-path"), &["127.0.0.1"], "a")
                .await
                .0
                .unwrap_err(),
        );
    }
    assert!(
        matches!(&problems[0], SendError::Later(_, pause) if *pause == Duration::from_secs(90))
    );
    assert!(matches!(&problems[1], SendError::Gone(_)));
    assert!(matches!(&problems[2], SendError::Permanent(_)));
    assert!(
        problems
            .iter()
            .all(|one| !one.to_string().contains("hush-path"))
    );
}
