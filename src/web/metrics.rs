//! Figures for Prometheus, in its text format 0.0.4: worked out from what is stored when it asks.
//! Labels name stations and fixed words only, no member, site or recipient.

use super::answers::NoPage;
use super::state::PageState;
use super::viewer::Viewer;
use crate::clock::Clock;
use crate::report::health::ServiceHealth;
use crate::report::week::{LayerDepth, Week};
use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;
use chrono::NaiveTime;
use std::fmt::{Display, Write};
use std::sync::Arc;

/// The format that is written.
const FORMAT: &str = "text/plain; version=0.0.4; charset=utf-8";

pub(super) async fn metrics(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
) -> Result<impl IntoResponse, NoPage> {
    if !viewer.is_operator {
        return Err(NoPage::Forbidden("the figures are the operator's"));
    }
    let made = tokio::task::spawn_blocking(move || {
        let now = Clock::Machine.now();
        let health =
            shared.ask(|asked| ServiceHealth::of(asked.config, asked.store, asked.today, now))?;
        Ok::<_, NoPage>(written(&health, &*shared.week(&viewer)?))
    });
    let headers = [
        (header::CONTENT_TYPE, FORMAT),
        (header::CACHE_CONTROL, "no-store"),
    ];
    Ok((headers, made.await??))
}

/// The text, family by family.
#[derive(Default)]
struct Exposition(String);

impl Exposition {
    /// A family: its name, kind and meaning, then each value with its label, if it has one.
    fn family<V: Display>(
        &mut self,
        (name, kind, help): (&str, &str, &str),
        values: impl IntoIterator<Item = (Option<(&'static str, String)>, V)>,
    ) {
        let text = &mut self.0;
        // A text takes everything.
        let _ = writeln!(text, "# HELP {name} {help}\n# TYPE {name} {kind}");
        for (label, value) in values {
            let label = label.map_or_else(String::new, |(key, of)| {
                format!("{{{key}=\"{}\"}}", escaped(&of))
            });
            let _ = writeln!(text, "{name}{label} {value}");
        }
    }
}

/// A label's value as the format wants it.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('\n', "\\n")
}

fn one<V>(value: V) -> [(Option<(&'static str, String)>, V); 1] {
    [(None, value)]
}

fn written(health: &ServiceHealth, week: &Week) -> String {
    let mut text = Exposition::default();
    let version = Some(("version", env!("CARGO_PKG_VERSION").to_owned()));
    text.family(
        (
            "hatchbell_build_info",
            "gauge",
            "The program, by its version.",
        ),
        [(version, 1)],
    );
    text.family(
        (
            "hatchbell_last_cycle_timestamp_seconds",
            "gauge",
            "When the last cycle ran.",
        ),
        health.last_cycle.map(|last| (None, last.timestamp())),
    );
    text.family(
        (
            "hatchbell_overdue",
            "gauge",
            "1 if no cycle has run, or one is overdue by two hours.",
        ),
        one(u8::from(!health.runs)),
    );
    let of_station = |station: &str| Some(("station", station.to_owned()));
    let stations = || health.stations.iter();
    text.family(
        (
            "hatchbell_station_newest_day_timestamp_seconds",
            "gauge",
            "Midnight UTC of a station's newest day with both extremes.",
        ),
        stations().filter_map(|one| {
            let midnight = one.newest_day?.and_time(NaiveTime::MIN).and_utc();
            Some((of_station(&one.station), midnight.timestamp()))
        }),
    );
    text.family(
        (
            "hatchbell_station_stale",
            "gauge",
            "1 if a station's newest day is older than it should be.",
        ),
        stations().map(|one| (of_station(&one.station), u8::from(one.stale))),
    );
    text.family(
        (
            "hatchbell_station_failing_since_timestamp_seconds",
            "gauge",
            "Since when every attempt at a station's feed has failed; absent while it works.",
        ),
        stations()
            .filter_map(|one| Some((of_station(&one.station), one.failing_since?.timestamp()))),
    );
    let messages = &health.messages;
    let states = [
        (
            "waiting",
            messages.waiting - messages.failing.min(messages.waiting),
        ),
        ("failing", messages.failing),
        ("given-up", messages.given_up),
    ];
    text.family(
        (
            "hatchbell_messages",
            "gauge",
            "Messages not sent: waiting, waiting after a failed attempt, or given up.",
        ),
        states.map(|(state, count)| (Some(("state", state.to_owned())), count)),
    );
    text.family(
        (
            "hatchbell_messages_sent_total",
            "counter",
            "Messages sent since the database was made.",
        ),
        one(messages.sent),
    );
    text.family(
        (
            "hatchbell_sites",
            "gauge",
            "Sites by how soon something is to be done there.",
        ),
        LayerDepth::ALL.map(|depth| {
            let layer = week.layers.iter().find(|layer| layer.depth == depth);
            let label = ("depth", depth.name().to_owned());
            (Some(label), layer.map_or(0, |layer| layer.sites))
        }),
    );
    text.family(
        (
            "hatchbell_problems",
            "gauge",
            "Lines of what is wrong, as hatchbell status --problems shows them.",
        ),
        one(week.problems.len()),
    );
    text.0
}
