//! Fetching from servers that do as they should, and from servers that do not.

use crate::support::http_server::{Reply, ScriptedServer};
use flate2::{Compression, write::GzEncoder};
use hatchbell::feed::fetch::{FetchError, FetchPolicy, Fetched, Fetcher, user_agent};
use hatchbell::station_feed::origin::Origin;
use hatchbell::station_feed::version::Validators;
use std::io::Write;
use std::sync::Arc;
use std::time::Duration;

const ROWS: &[u8] = b"day,low,high\n2026-06-01,11.2,24.9\n2026-06-02,12.0,26.1\n";

/// Long enough for a busy machine; reached only where a test says so or fails.
const AMPLE: Duration = Duration::from_secs(20);

/// Three attempts without pauses.
fn policy() -> FetchPolicy {
    FetchPolicy {
        connect_timeout: AMPLE,
        total_timeout: AMPLE,
        max_bytes: 64 * 1024,
        attempts: 3,
        first_pause: Duration::ZERO,
        longest_pause: Duration::ZERO,
    }
}

fn fetcher(policy: FetchPolicy) -> Fetcher {
    Fetcher::new(policy, &user_agent("keeper@turf.example"), None).unwrap()
}

fn origin(url: &str) -> Origin {
    Origin::Url(url.parse().unwrap())
}

/// Fetches a path that nothing is known of, by [`policy`].
async fn fetch(server: &ScriptedServer, path: &str) -> Result<Fetched, FetchError> {
    fetch_by(policy(), &server.url(path)).await
}

async fn fetch_by(policy: FetchPolicy, url: &str) -> Result<Fetched, FetchError> {
    let fetcher = fetcher(policy);
    let nothing = Validators::default();
    tokio::time::timeout(AMPLE * 2, fetcher.fetch(&origin(url), &nothing))
        .await
        .expect("the fetch ends by itself")
}

fn rows() -> Reply {
    Reply::of(200, &[], ROWS)
}

fn bytes(fetched: Result<Fetched, FetchError>) -> Vec<u8> {
    match fetched.unwrap() {
        Fetched::Body { bytes, .. } => bytes,
        Fetched::NotModified => panic!("there should be a body"),
    }
}

fn gzipped(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

fn redirect(to: &str) -> Reply {
    Reply::of(302, &[("Location", to)], "")
}

#[tokio::test]
async fn validators_are_sent_back_and_a_304_means_not_modified() {
    let headers = [
        ("ETag", "\"v1\""),
        ("Last-Modified", "Mon, 01 Jun 2026 06:00:00 GMT"),
    ];
    let server = ScriptedServer::start(vec![
        Reply::of(200, &headers, ROWS),
        Reply::of(304, &[("ETag", "\"v1\"")], ""),
    ]);
    let fetcher = fetcher(policy());
    let origin = origin(&server.url("/green.csv"));
    let first = fetcher.fetch(&origin, &Validators::default()).await;
    let Fetched::Body {
        bytes, validators, ..
    } = first.unwrap()
    else {
        panic!("there should be a body");
    };
    assert_eq!(bytes, ROWS);

    let second = fetcher.fetch(&origin, &validators).await.unwrap();

    assert_eq!(second, Fetched::NotModified);
    let exchanges = server.exchanges();
    assert_eq!(exchanges[0].header("If-None-Match"), None);
    assert_eq!(exchanges[0].header("If-Modified-Since"), None);
    assert_eq!(exchanges[1].header("If-None-Match"), Some("\"v1\""));
    assert_eq!(
        exchanges[1].header("If-Modified-Since"),
        Some("Mon, 01 Jun 2026 06:00:00 GMT")
    );
}

#[tokio::test]
async fn a_304_that_was_not_asked_for_is_an_error() {
    let server = ScriptedServer::start(vec![Reply::of(304, &[], "")]);
    let error = fetch(&server, "/green.csv").await.unwrap_err();
    assert!(error.to_string().contains("304 Not Modified"), "{error}");
    assert!(!error.is_transient());
}

#[tokio::test]
async fn the_service_names_itself_and_takes_gzip() {
    let server = ScriptedServer::start(vec![rows()]);
    fetch(&server, "/green.csv?from=2026").await.unwrap();
    let request = &server.exchanges()[0];
    let named = concat!(
        "hatchbell/",
        env!("CARGO_PKG_VERSION"),
        " (keeper@turf.example)"
    );
    assert_eq!(request.method, "GET");
    assert_eq!(request.path, "/green.csv?from=2026");
    assert_eq!(request.header("User-Agent"), Some(named));
    assert_eq!(request.header("Accept-Encoding"), Some("gzip"));
}

#[tokio::test]
async fn a_server_in_trouble_is_asked_again() {
    for status in [408, 429, 500, 503] {
        let trouble = Reply::of(status, &[], "later");
        let server = ScriptedServer::start(vec![trouble.clone(), trouble, rows()]);
        assert_eq!(bytes(fetch(&server, "/green.csv").await), ROWS);
        assert_eq!(server.exchanges().len(), 3, "{status}");
    }
}

#[tokio::test]
async fn attempts_come_to_an_end() {
    let server = ScriptedServer::start(vec![Reply::of(503, &[], "")]);
    let error = fetch(&server, "/green.csv").await.unwrap_err();
    assert_eq!(server.exchanges().len(), 3);
    assert!(error.is_transient());
    assert!(
        error.to_string().contains("503 Service Unavailable"),
        "{error}"
    );
}

#[tokio::test]
async fn retry_after_takes_the_place_of_the_own_pause() {
    let busy = Reply::of(429, &[("Retry-After", "0")], "");
    let server = ScriptedServer::start(vec![busy, rows()]);
    let patient = FetchPolicy {
        first_pause: Duration::from_secs(3600),
        longest_pause: Duration::from_secs(3600),
        ..policy()
    };
    let fetched = fetch_by(patient, &server.url("/green.csv")).await;
    assert_eq!(bytes(fetched), ROWS);
}

#[tokio::test]
async fn a_server_that_asks_for_a_long_pause_is_left_alone() {
    let busy = Reply::of(429, &[("Retry-After", "3600")], "");
    let server = ScriptedServer::start(vec![busy, rows()]);
    let error = fetch(&server, "/green.csv").await.unwrap_err();
    assert!(error.is_transient());
    assert!(error.to_string().contains("asks to wait 3600 s"), "{error}");
    assert_eq!(server.exchanges().len(), 1);
}

#[tokio::test]
async fn a_refusal_is_not_asked_about_again() {
    for status in [400, 401, 403, 404, 410] {
        let server = ScriptedServer::start(vec![Reply::of(status, &[], ""), rows()]);
        let error = fetch(&server, "/green.csv").await.unwrap_err();
        assert!(!error.is_transient(), "{error}");
        assert!(
            error.to_string().contains(&format!("answered {status} ")),
            "{error}"
        );
        assert_eq!(server.exchanges().len(), 1);
    }
}

#[tokio::test]
async fn a_body_shorter_than_announced_is_fetched_again() {
    let short = Reply::of(200, &[("Content-Length", "500")], ROWS);
    let server = ScriptedServer::start(vec![short.clone(), rows()]);
    assert_eq!(bytes(fetch(&server, "/green.csv").await), ROWS);

    let server = ScriptedServer::start(vec![short]);
    let error = fetch(&server, "/green.csv").await.unwrap_err();
    assert!(matches!(error, FetchError::CutShort { .. }), "{error:?}");
    assert_eq!(server.exchanges().len(), 3);
}

#[tokio::test]
async fn chunks_that_break_off_are_no_body() {
    let broken = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n40\r\nday,low,high\n";
    let server = ScriptedServer::start(vec![Reply::Raw(broken.to_vec())]);
    let error = fetch(&server, "/green.csv").await.unwrap_err();
    assert!(matches!(error, FetchError::CutShort { .. }), "{error:?}");
}

#[tokio::test]
async fn gzip_is_undone_as_encoding_as_file_and_as_both() {
    let encoded = [("Content-Encoding", "gzip")];
    let server = ScriptedServer::start(vec![
        Reply::of(200, &encoded, gzipped(ROWS)),
        Reply::of(200, &[], gzipped(ROWS)),
        Reply::of(200, &encoded, gzipped(&gzipped(ROWS))),
    ]);
    for path in ["/green.csv", "/green.csv.gz", "/again.csv.gz"] {
        assert_eq!(bytes(fetch(&server, path).await), ROWS, "{path}");
    }
}

#[tokio::test]
async fn a_body_over_the_limit_is_refused_however_it_is_packed() {
    let zeros = vec![b'0'; 8 * 1024 * 1024];
    let bomb = gzipped(&zeros);
    assert!((bomb.len() as u64) < policy().max_bytes);
    let until_closed = [b"HTTP/1.1 200 OK\r\n\r\n".as_slice(), &zeros].concat();
    let replies = [
        Reply::of(200, &[("Content-Encoding", "gzip")], bomb.clone()),
        Reply::of(200, &[], bomb),
        Reply::of(200, &[], zeros),
        Reply::Raw(until_closed),
    ];
    for reply in replies {
        let server = ScriptedServer::start(vec![reply]);
        let error = fetch(&server, "/bomb").await.unwrap_err();
        assert!(matches!(error, FetchError::TooLarge { .. }), "{error:?}");
        assert_eq!(server.exchanges().len(), 1);
    }
}

#[tokio::test]
async fn a_gzip_that_ends_too_early_is_no_body() {
    let whole = gzipped(ROWS);
    let cut = &whole[..whole.len() - 9];
    for headers in [&[][..], &[("Content-Encoding", "gzip")][..]] {
        let server = ScriptedServer::start(vec![Reply::of(200, headers, cut)]);
        let error = fetch(&server, "/green.csv.gz").await.unwrap_err();
        assert!(matches!(error, FetchError::CutShort { .. }), "{error:?}");
    }
}

#[tokio::test]
async fn what_is_called_gzip_and_is_not_is_damaged() {
    let server = ScriptedServer::start(vec![Reply::of(200, &[("Content-Encoding", "gzip")], ROWS)]);
    let error = fetch(&server, "/green.csv").await.unwrap_err();
    assert!(matches!(error, FetchError::Damaged { .. }), "{error:?}");
    assert_eq!(server.exchanges().len(), 1);
}

#[tokio::test]
async fn a_server_that_never_answers_runs_into_the_time_limit() {
    let server = ScriptedServer::start(vec![Reply::Hang]);
    let hasty = FetchPolicy {
        total_timeout: Duration::from_millis(200),
        attempts: 2,
        ..policy()
    };
    let error = fetch_by(hasty, &server.url("/green.csv"))
        .await
        .unwrap_err();
    assert!(matches!(error, FetchError::Timeout { .. }), "{error:?}");
    assert!(error.is_transient());
    assert!(error.to_string().contains("200ms"), "{error}");
    assert_eq!(
        server.wait_for_exchanges(1, AMPLE).len(),
        1,
        "the limit is that of all attempts"
    );
}

#[tokio::test]
async fn attempts_and_pauses_end_with_the_time_limit() {
    let server = ScriptedServer::start(vec![Reply::of(503, &[], "")]);
    let persistent = FetchPolicy {
        total_timeout: Duration::from_millis(500),
        attempts: u32::MAX,
        first_pause: Duration::from_millis(20),
        longest_pause: Duration::from_millis(20),
        ..policy()
    };
    let error = fetch_by(persistent, &server.url("/green.csv"))
        .await
        .unwrap_err();
    // The last answer, or a wait for one that did not come in time.
    let said = error.to_string();
    let ends = ["503", "not done within 500ms"];
    assert!(ends.iter().any(|end| said.contains(end)), "{said}");
    let asked = server.exchanges().len();
    assert!((2..=26).contains(&asked), "{asked}");
}

#[tokio::test]
async fn an_answer_that_is_not_http_is_no_answer() {
    for raw in ["", "220 mail.turf.example ready\r\n"] {
        let server = ScriptedServer::start(vec![Reply::Raw(raw.into())]);
        let error = fetch(&server, "/green.csv").await.unwrap_err();
        assert!(matches!(error, FetchError::Connection { .. }), "{error:?}");
    }
}

#[tokio::test]
async fn five_redirects_are_followed_and_a_loop_is_not() {
    let mut replies = vec![redirect("/green.csv"); 5];
    replies.push(rows());
    let server = ScriptedServer::start(replies);
    assert_eq!(bytes(fetch(&server, "/green.csv").await), ROWS);

    let server = ScriptedServer::start(vec![redirect("/green.csv")]);
    let error = fetch(&server, "/green.csv").await.unwrap_err();
    assert!(
        error.to_string().contains("more than 5 in a row"),
        "{error}"
    );
    assert!(!error.is_transient());
    assert_eq!(server.exchanges().len(), 6);
}

#[tokio::test]
async fn a_redirect_to_another_scheme_is_not_followed() {
    let server = ScriptedServer::start(vec![redirect("ftp://files.turf.example/green.csv")]);
    let error = fetch(&server, "/green.csv").await.unwrap_err();
    assert!(error.to_string().contains("it leads to ftp:"), "{error}");
    assert_eq!(server.exchanges().len(), 1);
}

/// A certificate for 127.0.0.1 that only its own PEM text vouches for.
fn own_certificate() -> (Arc<rustls::ServerConfig>, String) {
    hatchbell::tls::install_tls_provider();
    let made = rcgen::generate_simple_self_signed(["127.0.0.1".to_owned()]).unwrap();
    let key = made.signing_key.serialize_der().try_into().unwrap();
    let config = rustls::ServerConfig::builder()
        .with_no_client_auth()
        .with_single_cert(vec![made.cert.der().clone()], key)
        .unwrap();
    (Arc::new(config), made.cert.pem())
}

#[tokio::test]
async fn a_root_of_ones_own_is_trusted_only_when_it_is_named() {
    let (config, pem) = own_certificate();
    let server = ScriptedServer::start_tls(vec![rows()], config);
    let url = server.url("/green.csv");
    let error = fetch_by(policy(), &url).await.unwrap_err();
    assert!(matches!(error, FetchError::Tls { .. }), "{error:?}");
    assert!(error.to_string().contains("UnknownIssuer"), "{error}");
    assert!(server.exchanges().is_empty());

    let trusting = Fetcher::new(policy(), &user_agent("x"), Some(pem.as_bytes())).unwrap();
    let fetched = trusting.fetch(&origin(&url), &Validators::default()).await;
    assert_eq!(bytes(fetched), ROWS);
}

#[tokio::test]
async fn a_redirect_from_https_to_http_is_not_followed() {
    let plain = ScriptedServer::start(vec![rows()]);
    let (config, pem) = own_certificate();
    let to = plain.url("/green.csv?key=hush");
    let server = ScriptedServer::start_tls(vec![redirect(&to)], config);
    let fetcher = Fetcher::new(policy(), &user_agent("x"), Some(pem.as_bytes())).unwrap();
    let origin = origin(&server.url("/green.csv"));
    let error = fetcher
        .fetch(&origin, &Validators::default())
        .await
        .unwrap_err();
    assert!(
        error.to_string().contains("from https to plain http"),
        "{error}"
    );
    assert!(!error.to_string().contains("hush"), "{error}");
    assert!(plain.exchanges().is_empty());
}

/// An address where no server is. Free ports would do, but another test may take them; nobody is
/// given port 1 by chance.
fn nobody_there(path: &str) -> String {
    format!("http://127.0.0.1:1{path}")
}

#[tokio::test]
async fn a_refused_connection_is_told_with_the_place_and_the_reason() {
    let url = nobody_there("/green.csv");
    let error = fetch_by(policy(), &url).await.unwrap_err();
    assert!(error.is_transient());
    let text = error.to_string();
    let place = url.strip_prefix("http://").unwrap();
    assert!(
        text.starts_with(&format!("{place}: no answer: Connection refused")),
        "{text}"
    );
}

#[tokio::test]
async fn no_error_text_shows_the_query() {
    let path = "/green.csv?key=hush";
    let replies = [
        Reply::of(404, &[], ""),
        Reply::of(503, &[], ""),
        Reply::of(200, &[("Content-Length", "500")], ROWS),
        Reply::of(200, &[], vec![b'0'; 70_000]),
        Reply::of(200, &[], &gzipped(ROWS)[..20]),
        Reply::Raw(Vec::new()),
        redirect(path),
        redirect("ftp://turf.example/green.csv?key=hush"),
    ];
    let mut errors = vec![fetch_by(policy(), &nobody_there(path)).await.unwrap_err()];
    for reply in replies {
        let server = ScriptedServer::start(vec![reply]);
        errors.push(fetch(&server, path).await.unwrap_err());
    }
    for error in errors {
        let texts = format!("{error} {error:?}");
        assert!(!texts.contains("hush"), "{texts}");
        assert!(error.to_string().contains("/green.csv"), "{error}");
    }
}

#[test]
fn extra_roots_that_are_no_pem_are_refused_at_once() {
    let error = Fetcher::new(policy(), &user_agent("x"), Some(b"nothing")).unwrap_err();
    assert!(error.to_string().contains("BEGIN CERTIFICATE"), "{error}");
}
