//! Servers that answer something else, over real sockets.

use super::command::{Workshop, both, config_with};
use super::http_server::{Reply, ScriptedServer};

const ROWS: &str = "DATE,TMAX,TMIN\n2026-07-01,24.0,12.0\n2026-07-02,25.0,13.0\n";

/// Runs cycles against a server's replies; what the first printed, and `status` after the last.
fn cycles(replies: Vec<Reply>, count: usize) -> (String, String, usize) {
    let server = ScriptedServer::start(replies);
    let workshop = Workshop::new();
    let origin = format!("url = \"{}\"", server.url("/daily.csv"));
    let config = workshop.write(
        "hatchbell.toml",
        &config_with(&origin, "console = true", ""),
    );
    let mut printed = String::new();
    for _ in 0..count {
        printed += &both(&workshop.run(&["run", "--once", "--config", &config]));
    }
    let status = both(&workshop.run(&["status", "--config", &config]));
    let status = status.split_whitespace().collect::<Vec<_>>().join(" ");
    (printed, status, server.exchanges().len())
}

#[test]
fn d18_an_error_text_with_status_200_is_refused_and_a_download_header_is_not() {
    let (printed, ..) = cycles(
        vec![Reply::of(
            200,
            &[("Content-Type", "text/plain")],
            "ERROR: unknown station ZZA in network ZZ_NET",
        )],
        1,
    );
    assert!(
        printed.contains("error message: ERROR: unknown station ZZA"),
        "{printed}"
    );
    let download = [
        ("Content-Type", "application/force-download"),
        ("Content-Disposition", "attachment; filename=\"a.csv\""),
    ];
    let (printed, ..) = cycles(vec![Reply::of(200, &download, ROWS)], 1);
    assert!(printed.contains("added=2"), "{printed}");
}

#[test]
fn d27_a_server_that_is_over_its_limit_is_left_in_peace_and_nothing_stored_is_lost() {
    for (status, word) in [(429, "429"), (503, "503")] {
        let (printed, after, requests) = cycles(
            vec![
                Reply::of(200, &[], ROWS),
                Reply::of(status, &[("Retry-After", "3600")], "server over capacity"),
            ],
            2,
        );
        assert!(printed.contains("added=2"), "{printed}");
        assert!(printed.contains(word), "{printed}");
        assert!(after.contains("2026-07-02"), "{after}");
        assert_eq!(requests, 2, "it asked for an hour's patience");
    }
}
