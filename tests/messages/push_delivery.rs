//! Pushing to a server, byte by byte.

use crate::support::http_server::{Exchange, Reply, ScriptedServer};
use chrono::{TimeZone, Utc};
use hatchbell::notify::push::{PushFormat, PushTarget, Pusher};
use hatchbell::notify::{Enclosed, Parcel, SendError};
use hatchbell::secret::Secret;
use std::time::Duration;

/// Long enough for a busy machine; reached only where a test says so or fails.
const AMPLE: Duration = Duration::from_secs(20);

fn parcel() -> Parcel {
    Parcel {
        id: "6f1c.42".to_owned(),
        title: "Eggs hatch – Mill Green · 412 °C·d".to_owned(),
        text: "First grubs in 3 days.\nWater in 12 mm – at dusk.\n".to_owned(),
        created_at: Utc.with_ymd_and_hms(2026, 7, 3, 5, 30, 0).unwrap(),
        enclosed: Enclosed::default(),
    }
}

fn target(server: &ScriptedServer, format: PushFormat) -> PushTarget {
    PushTarget {
        url: server.url("/in/hush-path?key=hush-query").parse().unwrap(),
        format,
        token: Some(Secret::new("hush-token".to_owned())),
    }
}

fn pusher(timeout: Duration) -> Pusher {
    Pusher::new("hatchbell/test (keeper@turf.example)", timeout, None).unwrap()
}

async fn send(server: &ScriptedServer, format: PushFormat) -> Result<(), SendError> {
    pusher(AMPLE).send(&target(server, format), &parcel()).await
}

/// Sends in JSON to a server that gives one reply.
async fn outcome(reply: Reply) -> Result<(), SendError> {
    let server = ScriptedServer::start(vec![reply]);
    send(&server, PushFormat::Json).await
}

fn accepting() -> ScriptedServer {
    ScriptedServer::start(vec![Reply::of(200, &[], "taken")])
}

/// The headers that say something of the message, sorted by name.
fn telling_headers(exchange: &Exchange) -> Vec<(&str, &str)> {
    let routine = ["accept", "accept-encoding", "content-length", "host"];
    let mut headers: Vec<(&str, &str)> = exchange
        .headers
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .filter(|(name, _)| !routine.contains(name))
        .collect();
    headers.sort_unstable();
    headers
}

#[tokio::test]
async fn a_json_push_is_one_object_with_four_texts() {
    let server = accepting();
    send(&server, PushFormat::Json).await.unwrap();
    let exchanges = server.exchanges();
    let [exchange] = exchanges.as_slice() else {
        panic!("{} requests came", exchanges.len());
    };
    assert_eq!(exchange.method, "POST");
    assert_eq!(exchange.path, "/in/hush-path?key=hush-query");
    let body = concat!(
        r#"{"id":"6f1c.42","title":"Eggs hatch – Mill Green · 412 °C·d","#,
        r#""text":"First grubs in 3 days.\nWater in 12 mm – at dusk.\n","#,
        r#""created_at":"2026-07-03T05:30:00Z"}"#
    );
    assert_eq!(String::from_utf8_lossy(&exchange.body), body);
    let headers = [
        ("authorization", "Bearer hush-token"),
        ("content-type", "application/json"),
        ("idempotency-key", "\"6f1c.42\""),
        ("user-agent", "hatchbell/test (keeper@turf.example)"),
    ];
    assert_eq!(telling_headers(exchange), headers);
}

#[tokio::test]
async fn a_text_push_is_the_text_with_the_title_in_ascii() {
    let server = accepting();
    send(&server, PushFormat::Text).await.unwrap();
    let exchange = &server.exchanges()[0];
    assert_eq!(exchange.method, "POST");
    assert_eq!(exchange.body, parcel().text.as_bytes());
    let headers = [
        ("authorization", "Bearer hush-token"),
        ("content-type", "text/plain; charset=utf-8"),
        ("idempotency-key", "\"6f1c.42\""),
        ("title", "Eggs hatch - Mill Green - 412 degC-d"),
        ("user-agent", "hatchbell/test (keeper@turf.example)"),
    ];
    assert_eq!(telling_headers(exchange), headers);
}

#[tokio::test]
async fn without_a_token_there_is_no_authorization() {
    let server = accepting();
    let open = PushTarget {
        token: None,
        ..target(&server, PushFormat::Text)
    };
    pusher(AMPLE).send(&open, &parcel()).await.unwrap();
    assert_eq!(server.exchanges()[0].header("Authorization"), None);
}

#[tokio::test]
async fn a_second_send_carries_the_same_id_and_body() {
    let server = ScriptedServer::start(vec![Reply::of(503, &[], ""), Reply::of(202, &[], "")]);
    let first = send(&server, PushFormat::Json).await;
    assert!(matches!(first, Err(SendError::Transient(_))), "{first:?}");
    assert_eq!(server.exchanges().len(), 1, "it is tried once per send");
    send(&server, PushFormat::Json).await.unwrap();
    let exchanges = server.exchanges();
    assert_eq!(exchanges[0], exchanges[1]);
}

#[tokio::test]
async fn every_2xx_is_accepted() {
    for status in [200, 201, 202, 204] {
        assert_eq!(
            outcome(Reply::of(status, &[], "")).await,
            Ok(()),
            "{status}"
        );
    }
}

#[tokio::test]
async fn statuses_that_pass_are_transient() {
    for status in [408, 425, 429, 500, 502, 503, 504] {
        let sent = outcome(Reply::of(status, &[], "")).await;
        assert!(matches!(sent, Err(SendError::Transient(_))), "{sent:?}");
    }
}

#[tokio::test]
async fn a_pause_that_the_server_asks_for_is_told() {
    for (asked, pause) in [("120", Some(120)), ("soon", None), ("-5", None)] {
        let sent = outcome(Reply::of(429, &[("Retry-After", asked)], "")).await;
        match (sent, pause) {
            (Err(SendError::Later(_, told)), Some(pause)) => {
                assert_eq!(told, Duration::from_secs(pause));
            }
            (Err(SendError::Transient(_)), None) => {}
            (sent, _) => panic!("{asked}: {sent:?}"),
        }
    }
}

#[tokio::test]
async fn statuses_that_stay_are_permanent_and_say_what_to_do() {
    for status in [400, 401, 403, 404, 410, 413, 415, 422] {
        let sent = outcome(Reply::of(status, &[], "")).await;
        let Err(SendError::Permanent(text)) = sent else {
            panic!("{sent:?}");
        };
        assert!(text.contains(&format!("answered {status} ")), "{text}");
        assert!(
            text.contains("; check ") || text.contains("; let "),
            "{text}"
        );
    }
}

#[tokio::test]
async fn a_redirect_is_not_followed() {
    let elsewhere = accepting();
    let location = elsewhere.url("/in");
    for status in [301, 302, 307, 308] {
        let sent = outcome(Reply::of(status, &[("Location", &location)], "")).await;
        assert!(matches!(sent, Err(SendError::Permanent(_))), "{sent:?}");
    }
    assert!(elsewhere.exchanges().is_empty());
}

#[tokio::test]
async fn a_server_that_never_answers_takes_nothing() {
    let server = ScriptedServer::start(vec![Reply::Hang]);
    let hasty = pusher(Duration::from_millis(200));
    let sent = hasty
        .send(&target(&server, PushFormat::Json), &parcel())
        .await;
    let text = format!("push to {}: no answer within 200ms", server.host());
    assert_eq!(sent, Err(SendError::Unreachable(text)));
}

#[tokio::test]
async fn a_server_that_closes_without_an_answer_takes_nothing() {
    let sent = outcome(Reply::Raw(Vec::new())).await;
    assert!(matches!(sent, Err(SendError::Unreachable(_))), "{sent:?}");
}

#[tokio::test]
async fn error_texts_name_the_host_and_keep_path_query_and_token_to_themselves() {
    let mut texts = Vec::new();
    for reply in [
        Reply::of(401, &[], "hush-token"),
        Reply::of(503, &[], "hush-token"),
        Reply::of(302, &[("Location", "/hush-path")], ""),
        Reply::Raw(Vec::new()),
    ] {
        let server = ScriptedServer::start(vec![reply]);
        let error = send(&server, PushFormat::Json).await.unwrap_err();
        texts.push((server.host(), error));
    }
    // Nobody is given port 1 by chance, so no server is there.
    let unreachable = PushTarget {
        url: "http://127.0.0.1:1/hush-path".parse().unwrap(),
        ..target(&accepting(), PushFormat::Json)
    };
    let error = pusher(AMPLE).send(&unreachable, &parcel()).await;
    texts.push(("127.0.0.1:1".to_owned(), error.unwrap_err()));
    for (host, error) in texts {
        assert!(
            error.to_string().starts_with(&format!("push to {host}: ")),
            "{error}"
        );
        assert!(!format!("{error} {error:?}").contains("hush"), "{error:?}");
    }
}

#[tokio::test]
async fn a_token_that_no_header_can_hold_is_refused_without_showing_it() {
    let server = accepting();
    let broken = PushTarget {
        token: Some(Secret::new("hush\r\nX-Other: y".to_owned())),
        ..target(&server, PushFormat::Json)
    };
    let sent = pusher(AMPLE).send(&broken, &parcel()).await;
    let Err(SendError::Permanent(text)) = sent else {
        panic!("{sent:?}");
    };
    assert!(text.contains("the token holds a line break"), "{text}");
    assert!(!text.contains("hush"), "{text}");
    assert!(server.exchanges().is_empty());
}

#[test]
fn debug_output_of_a_target_shows_the_host_only() {
    let target = PushTarget {
        url: "https://push.turf.example/in/hush?k=hush".parse().unwrap(),
        format: PushFormat::Text,
        token: Some(Secret::new("hush".to_owned())),
    };
    assert_eq!(
        format!("{target:?}"),
        r#"PushTarget { host: "push.turf.example", format: Text, .. }"#
    );
}

#[tokio::test]
async fn a_token_is_not_sent_to_the_internet_without_tls() {
    for url in ["http://1.1.1.1/turf", "http://[2606:4700::1111]/turf"] {
        let target = PushTarget {
            url: url.parse().unwrap(),
            format: PushFormat::Json,
            token: Some(Secret::new("verdant".to_owned())),
        };
        let error = pusher(Duration::from_secs(5))
            .send(&target, &parcel())
            .await
            .unwrap_err();
        assert!(
            matches!(&error, SendError::Permanent(text) if text.contains("the token is not sent")),
            "{error}"
        );
    }
    // A name of this machine is resolved, and allowed.
    let server = accepting();
    let target = PushTarget {
        url: server
            .url("/")
            .replace("127.0.0.1", "localhost")
            .parse()
            .unwrap(),
        format: PushFormat::Json,
        token: Some(Secret::new("verdant".to_owned())),
    };
    pusher(Duration::from_secs(5))
        .send(&target, &parcel())
        .await
        .unwrap();
    assert_eq!(
        server.exchanges()[0].header("Authorization"),
        Some("Bearer verdant")
    );
}
