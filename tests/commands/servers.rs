//! Asking every server before it is needed, and sending a test: `check --online` and `send-test`.

use crate::support::certificates::Certificates;
use crate::support::command::{Workshop, both, config_with};
use crate::support::http_server::{Reply, ScriptedServer};
use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt;

const DAYS: &str = "DATE,TMAX,TMIN\n2026-01-01,25.0,15.0\n2026-01-02,25.0,15.0\n";

fn run(workshop: &Workshop, config: &str, arguments: &[&str]) -> (Option<i32>, String) {
    let path = workshop.write("hatchbell.toml", config);
    let output = workshop
        .command(&[arguments, &["--config", &path]].concat())
        .env("COLUMNS", "400")
        .output()
        .unwrap();
    let text = both(&output);
    // Lines are wrapped for reading.
    let words: Vec<&str> = text.split_whitespace().collect();
    (output.status.code(), words.join(" "))
}

fn push(server: &ScriptedServer) -> String {
    format!(
        "push = {{ url = \"{}\", format = \"json\" }}",
        server.url("/hush")
    )
}

#[test]
fn every_feed_and_push_server_is_asked_and_nothing_is_sent_or_stored() {
    let feed = ScriptedServer::start(vec![Reply::of(200, &[], DAYS)]);
    let pushed = ScriptedServer::start(vec![Reply::of(404, &[], "")]);
    let heart = ScriptedServer::start(vec![Reply::of(200, &[], "")]);
    let workshop = Workshop::new();
    let config = config_with(
        &format!("url = \"{}\"", feed.url("/days.csv")),
        &push(&pushed),
        "",
    )
    .replace(
        "database =",
        &format!("heartbeat = \"{}\"\ndatabase =", heart.url("/beat")),
    );
    let (code, text) = run(&workshop, &config, &["check", "--online"]);
    assert_eq!(code, Some(0), "{text}");
    let due = "/days.csv: days from 2026-01-01 to 2026-01-02";
    assert!(
        text.contains(&format!("ok station only: {}{due}", feed.host())),
        "{text}"
    );
    let due = format!("ok push: {}: answers, not encrypted", pushed.host());
    assert!(text.contains(&due), "{text}");
    assert!(
        text.contains(&format!("ok heartbeat: {}", heart.host())),
        "{text}"
    );
    for server in [&pushed, &heart] {
        let asked = server.exchanges();
        assert_eq!(asked.len(), 1);
        assert_eq!(
            (asked[0].method.as_str(), asked[0].path.as_str()),
            ("HEAD", "/")
        );
        assert_eq!(asked[0].header("authorization"), None);
    }
    assert!(!workshop.path("hatchbell.db").exists());
}

#[test]
fn one_that_fails_is_named_with_what_to_do_and_ends_in_failure() {
    let feed = ScriptedServer::start(vec![Reply::of(404, &[], "")]);
    let workshop = Workshop::new();
    let unreachable = "push = { url = \"http://127.0.0.1:1/hush\", format = \"json\" }";
    let config = config_with(
        &format!("url = \"{}\"", feed.url("/days.csv")),
        unreachable,
        "",
    );
    let (code, text) = run(&workshop, &config, &["check", "--online"]);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("fails station only: "), "{text}");
    assert!(text.contains("404"), "{text}");
    assert!(
        text.contains("fails push: push to 127.0.0.1:1: no answer"),
        "{text}"
    );
    assert!(!text.contains("hush"), "{text}");
    assert_eq!(feed.exchanges().len(), 1, "asked once");
}

#[test]
fn a_file_that_is_not_what_it_should_be_fails_online_as_well() {
    let feed = ScriptedServer::start(vec![Reply::of(200, &[], "<html>Welcome</html>")]);
    let workshop = Workshop::new();
    let config = config_with(
        &format!("url = \"{}\"", feed.url("/days.csv")),
        "console = true",
        "",
    );
    let (code, text) = run(&workshop, &config, &["check", "--online"]);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("fails station only: "), "{text}");
}

#[test]
fn a_test_goes_to_one_recipient_by_push_and_says_so_past_the_outbox() {
    let server = ScriptedServer::start(vec![Reply::of(202, &[], "")]);
    let workshop = Workshop::new();
    let config = config_with(
        "file = \"days.csv\"",
        &(push(&server) + "\nfile = \"told.txt\""),
        "",
    );
    let (code, text) = run(&workshop, &config, &["send-test", "keeper"]);
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains("sent by push: 127.0.0.1 answered: 202"),
        "{text}"
    );
    let sent = server.exchanges();
    assert_eq!(sent.len(), 1);
    assert_eq!(
        (sent[0].method.as_str(), sent[0].path.as_str()),
        ("POST", "/hush")
    );
    let body = String::from_utf8(sent[0].body.clone()).unwrap();
    assert!(
        body.contains("This is a test") && body.contains("A member (The lawn)"),
        "{body}"
    );
    let told = workshop.read("told.txt");
    assert!(
        told.contains("Nothing to do.") && told.contains("For the keeper"),
        "{told}"
    );
    assert!(!workshop.path("hatchbell.db").exists());
}

#[test]
fn a_test_that_is_refused_ends_in_failure_with_the_reason() {
    let server = ScriptedServer::start(vec![Reply::of(403, &[], "")]);
    let workshop = Workshop::new();
    let config = config_with("file = \"days.csv\"", &push(&server), "");
    let (code, text) = run(&workshop, &config, &["send-test", "keeper"]);
    assert_eq!(code, Some(1), "{text}");
    assert!(
        text.contains("not sent by push: ") && text.contains("check the token"),
        "{text}"
    );
    let (code, text) = run(&workshop, &config, &["send-test", "keper"]);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("did you mean \"keeper\"?"), "{text}");
}

#[test]
fn a_demonstration_prints_its_test() {
    let workshop = Workshop::new();
    let demo = "[demo]\nstarts = \"2026-01-01T06:00:00Z\"\n";
    let push = "push = { url = \"http://127.0.0.1:1/hush\", format = \"json\" }";
    let config = config_with("file = \"days.csv\"", push, demo);
    let (code, text) = run(&workshop, &config, &["send-test", "keeper"]);
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains("This is a test") && text.contains("sent by push: printed"),
        "{text}"
    );
}

/// A mail server with a certificate of its own, and the configuration for it.
fn mail_config(
    workshop: &Workshop,
    certificates: &Certificates,
    port: u16,
    password: &str,
) -> String {
    workshop.write("own-ca.pem", &certificates.authority);
    let path = workshop.write("mail-password", password);
    std::fs::set_permissions(path, Permissions::from_mode(0o600)).unwrap();
    let mail = format!(
        "[email]\nhost = \"127.0.0.1\"\nport = {port}\nsecurity = \"starttls\"\n\
         from = \"turf@three-brooks.example\"\nusername = \"turf\"\npassword_file = \"mail-password\"\n"
    );
    workshop.write("days.csv", DAYS);
    let config = config_with(
        "file = \"days.csv\"",
        "email = \"ada@three-brooks.example\"",
        &mail,
    );
    config.replace("database =", "extra_ca_file = \"own-ca.pem\"\ndatabase =")
}

#[test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
fn check_signs_in_at_the_mail_server_and_sends_nothing() {
    let certificates = Certificates::new();
    let server = certificates.server(&["--auth", "turf:thatch rake"]);
    let workshop = Workshop::new();
    let config = mail_config(&workshop, &certificates, server.port(), "thatch rake\n");
    let (code, text) = run(&workshop, &config, &["check", "--online"]);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("signed in over STARTTLS"), "{text}");
    let config = mail_config(&workshop, &certificates, server.port(), "leaf rake\n");
    let (code, text) = run(&workshop, &config, &["check", "--online"]);
    assert_eq!(code, Some(1), "{text}");
    assert!(
        text.contains("fails mail: ") && text.contains("check user name and password"),
        "{text}"
    );
    assert!(!text.contains("leaf rake"), "{text}");
    let seen = server.finish();
    assert!(seen.messages.is_empty());
    assert_eq!(seen.sign_ins[0], ("turf".to_owned(), true));
    assert!(seen.sign_ins[1..].iter().all(|(_, accepted)| !accepted));
}

#[test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
fn a_test_by_mail_prints_what_the_server_answered() {
    let certificates = Certificates::new();
    let server = certificates.server(&["--auth", "turf:thatch rake"]);
    let workshop = Workshop::new();
    let config = mail_config(&workshop, &certificates, server.port(), "thatch rake\n");
    let (code, text) = run(&workshop, &config, &["send-test", "keeper"]);
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains("sent by email: 127.0.0.1 answered: 250 "),
        "{text}"
    );
    let seen = server.finish();
    assert_eq!(seen.messages.len(), 1);
    let message = &seen.messages[0];
    assert_eq!(message.rcpt_to, ["ada@three-brooks.example"]);
    assert_eq!(message.header("Subject"), "Test from A test: nothing to do");
    assert!(
        message
            .text
            .contains("You are told of A member (The lawn)."),
        "{}",
        message.text
    );
}
