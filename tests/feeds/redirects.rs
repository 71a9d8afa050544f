//! Redirects: followed within the host that the configuration names and to public addresses, never
//! from there into the machine or network that hatchbell runs in.

use crate::support::command::config_with_station;
use crate::support::feeds::date;
use crate::support::http_server::{Reply, ScriptedServer};
use hatchbell::config::load::from_text;
use hatchbell::feed::fetch::{FetchError, FetchPolicy, Fetched, Fetcher, user_agent};
use hatchbell::feed::reader::{FeedReader, FetchOutcome, IntakeError};
use hatchbell::feed::vetting::Yardstick;
use hatchbell::station_feed::origin::Origin;
use hatchbell::station_feed::version::Validators;

const ROWS: &[u8] = b"STATION,DATE,TMAX,TMIN\nZZI00000009,2026-06-01,25.0,12.0\n";

fn policy() -> FetchPolicy {
    FetchPolicy {
        attempts: 1,
        ..FetchPolicy::default()
    }
}

fn origin(url: &str) -> Origin {
    Origin::Url(url.parse().unwrap())
}

async fn fetch(fetcher: &Fetcher, url: &str) -> Result<Fetched, FetchError> {
    fetcher.fetch(&origin(url), &Validators::default()).await
}

fn fetcher() -> Fetcher {
    Fetcher::new(policy(), &user_agent("x"), None).unwrap()
}

/// A fetcher to which every address is public, so that a server of this machine passes for one.
fn trusting() -> Fetcher {
    Fetcher::with_public(policy(), &user_agent("x"), None, |_| true).unwrap()
}

fn redirect(to: &str) -> ScriptedServer {
    ScriptedServer::start(vec![Reply::of(302, &[("Location", to)], "")])
}

fn rows() -> ScriptedServer {
    ScriptedServer::start(vec![Reply::of(200, &[], ROWS)])
}

/// The address of a server's path, by another name or form of its host.
fn by(host: &str, server: &ScriptedServer) -> String {
    server.url("/rows.csv?key=hush").replace("127.0.0.1", host)
}

#[tokio::test]
async fn a_redirect_to_another_host_of_the_own_machine_is_refused_however_it_is_written() {
    for host in [
        "localhost",
        "127.0.0.2",
        "2130706433",
        "[::ffff:127.0.0.1]",
        "[::1]",
        "0.0.0.0",
    ] {
        let inside = rows();
        let server = redirect(&by(host, &inside));
        let error = fetch(&fetcher(), &server.url("/days.csv")).await;
        if host == "2130706433" {
            // The same address in another form is the configured host.
            assert!(error.is_ok());
            continue;
        }
        let error = error.unwrap_err();
        assert!(
            matches!(error, FetchError::Redirect { .. }),
            "{host}: {error:?}"
        );
        assert!(!error.is_transient());
        let text = error.to_string();
        assert!(
            text.contains("an address of this machine or its own network"),
            "{text}"
        );
        assert!(!text.contains("hush"), "{text}");
        assert!(inside.exchanges().is_empty(), "{host}");
    }
}

#[tokio::test]
async fn a_name_that_resolves_to_the_own_machine_is_told_with_its_address() {
    let inside = rows();
    let server = redirect(&by("localhost", &inside));
    let error = fetch(&fetcher(), &server.url("/days.csv"))
        .await
        .unwrap_err();
    let text = error.to_string();
    let final_address = format!(
        "(redirected to {}/rows.csv)",
        inside.host().replace("127.0.0.1", "localhost")
    );
    assert!(text.contains(&final_address), "{text}");
    assert!(
        text.contains("it leads to localhost (127.0.0.1)")
            || text.contains("it leads to localhost (::1)"),
        "{text}"
    );
}

#[tokio::test]
async fn a_configured_address_of_the_own_machine_is_read_and_may_redirect_within_its_host() {
    let inside = rows();
    for host in ["127.0.0.1", "localhost"] {
        let server = redirect(&by(host, &inside));
        let url = by(host, &server);
        let Fetched::Body {
            bytes, elsewhere, ..
        } = fetch(&fetcher(), &url).await.unwrap()
        else {
            panic!("there should be a body");
        };
        assert!(bytes == ROWS && elsewhere.is_none());
    }
}

#[tokio::test]
async fn an_error_behind_a_redirect_names_the_final_address() {
    let gone = ScriptedServer::start(vec![Reply::of(404, &[], "")]);
    let server = redirect(&by("localhost", &gone));
    let error = fetch(&trusting(), &server.url("/days.csv"))
        .await
        .unwrap_err();
    let due = format!(
        "{}/days.csv (redirected to {}/rows.csv): the server answered 404",
        server.host(),
        gone.host().replace("127.0.0.1", "localhost")
    );
    assert!(error.to_string().starts_with(&due), "{error}");
}

/// Reads a feed of rows of export files by a fetcher that takes this machine for a public one.
async fn read(url: &str) -> Result<FetchOutcome, IntakeError> {
    let text = config_with_station(&format!("url = \"{url}\""));
    let loaded = from_text("hatchbell.toml", &text, std::path::Path::new("/")).expect("it loads");
    let mut reader = FeedReader::new(trusting(), None);
    let nothing = Validators::default();
    let yardstick = |_: &_| Ok::<_, ()>(Yardstick::default());
    let today = date("2026-06-03");
    let feed = &loaded.config.stations[0];
    reader.read(feed, &nothing, yardstick, today).await.unwrap()
}

#[tokio::test]
async fn what_another_host_said_is_not_repeated_and_what_the_configured_one_said_is() {
    let pages: [&[u8]; 3] = [
        b"{\"secret\": \"hush\"}\n",
        b"<title>hush</title>\n",
        b"hush,of,the,inside\n1,2,3,4\n",
    ];
    for page in pages {
        let inside = ScriptedServer::start(vec![Reply::of(200, &[], page)]);
        let told = read(&inside.url("/rows.csv"))
            .await
            .unwrap_err()
            .to_string();
        assert!(told.contains("hush"), "{told}");
        let server = redirect(&by("localhost", &inside).replace("?key=hush", ""));
        let told = read(&server.url("/days.csv"))
            .await
            .unwrap_err()
            .to_string();
        assert!(!told.contains("hush"), "{told}");
        let place = inside.host().replace("127.0.0.1", "localhost");
        assert!(
            told.contains(&format!("(redirected to {place}/rows.csv)")),
            "{told}"
        );
    }
    let rows = [ROWS, b"ZZI00000009,2026-06-02,hush,12.0\n"].concat();
    let inside = ScriptedServer::start(vec![Reply::of(200, &[], rows)]);
    let server = redirect(&by("localhost", &inside));
    for (url, repeated) in [
        (inside.url("/rows.csv"), true),
        (server.url("/days.csv"), false),
    ] {
        let Ok(FetchOutcome::Readings {
            refused, profile, ..
        }) = read(&url).await
        else {
            panic!("the rows are taken");
        };
        assert_eq!(refused[0].field.contains("hush"), repeated);
        assert_eq!(profile.unwrap().header.is_empty(), !repeated);
    }
}
