//! Asking every server that the configuration names, without sending a message or storing anything.

use super::lines::{extra_ca, mailer, pusher};
use crate::config::{Config, DemoDelivery};
use crate::feed::fetch::{FetchPolicy, Fetcher, user_agent};
use crate::feed::reader::FeedReader;
use crate::station_feed::StationFeed;
use crate::station_feed::origin::Origin;
use crate::station_feed::parsed::Parsed;
use chrono::NaiveDate;
use indexmap::IndexMap;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;

/// Longest wait for a mail or push server.
const PATIENCE: Duration = Duration::from_secs(30);

/// Longest wait for a feed, which is asked once.
const FEED_PATIENCE: Duration = Duration::from_secs(60);

/// Hosts that are asked at the same time.
const SIDE_BY_SIDE: usize = 16;

/// What somebody who was asked said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// Who: a station, a forecast, the mail server, a push server.
    pub whom: String,
    /// What was done and came of it, or what is wrong and what to do.
    pub answer: Result<String, String>,
}

/// Asks each feed for its file, signs in at the mail server, and connects to each push server and to the
/// heartbeat's; in this order.
///
/// # Errors
/// A text that says why nobody can be asked.
pub async fn ask_everybody(config: &Config, today: NaiveDate) -> Result<Vec<Asked>, String> {
    let mut asked = ask_feeds(config, today).await?;
    let sends = config
        .demo
        .is_none_or(|demo| demo.deliver == DemoDelivery::AsConfigured);
    if sends {
        asked.extend(ask_mail_server(config).await);
        asked.extend(ask_push_servers(config).await);
    }
    Ok(asked)
}

/// Side by side, those of one host one after the other.
async fn ask_feeds(config: &Config, today: NaiveDate) -> Result<Vec<Asked>, String> {
    let policy = FetchPolicy {
        attempts: 1,
        total_timeout: FEED_PATIENCE,
        ..FetchPolicy::default()
    };
    let agent = user_agent(&config.service.contact);
    let fetcher = Fetcher::new(policy, &agent, extra_ca(config)?.as_deref());
    let fetcher = fetcher.map_err(|error| error.to_string())?;
    let reader = Arc::new(FeedReader::new(fetcher, None));
    let read_for = config.read_for();
    let needed = config.stations.values().enumerate();
    let needed = needed.filter(|(_, feed)| read_for.contains_key(feed.station.id.as_str()));
    let mut hosts: IndexMap<String, Vec<(usize, StationFeed)>> = IndexMap::new();
    for (place, feed) in needed {
        hosts
            .entry(host(&feed.origin))
            .or_default()
            .push((place, feed.clone()));
    }
    let with_forecasts = config.demo.is_none();
    let room = Arc::new(Semaphore::new(SIDE_BY_SIDE));
    let mut asking = JoinSet::new();
    for feeds in hosts.into_values() {
        let (reader, room) = (Arc::clone(&reader), Arc::clone(&room));
        asking.spawn(async move {
            let _room = room.acquire().await;
            let mut answers = Vec::new();
            for (place, feed) in feeds {
                answers.push((place, ask_feed(&reader, &feed, today, with_forecasts).await));
            }
            answers
        });
    }
    let mut answers: Vec<(usize, Vec<Asked>)> = Vec::new();
    while let Some(of_host) = asking.join_next().await {
        answers.extend(of_host.map_err(|error| error.to_string())?);
    }
    answers.sort_by_key(|(place, _)| *place);
    Ok(answers.into_iter().flat_map(|(_, asked)| asked).collect())
}

fn host(origin: &Origin) -> String {
    match origin {
        Origin::Url(url) => url.host_str().unwrap_or_default().to_owned(),
        Origin::File(_) | Origin::ByHand => String::new(),
    }
}

async fn ask_feed(
    reader: &FeedReader,
    feed: &StationFeed,
    today: NaiveDate,
    with_forecast: bool,
) -> Vec<Asked> {
    let mut asked = Vec::new();
    let named = |what: &str| format!("{what} {}", feed.station.id);
    match reader.look(feed, today).await {
        Ok(None) => {}
        Ok(Some(parsed)) => asked.push(Asked {
            whom: named("station"),
            answer: Ok(format!("{}: {}", feed.origin, days(&parsed))),
        }),
        Err(problem) => asked.push(Asked {
            whom: named("station"),
            answer: Err(problem.to_string()),
        }),
    }
    if let Some(forecast) = feed.forecast.as_ref().filter(|_| with_forecast) {
        let answer = match reader.look_ahead(forecast).await {
            Ok(Some(parsed)) => Ok(format!("{}: {}", forecast.origin, days(&parsed))),
            Ok(None) => return asked,
            Err(problem) => Err(problem.to_string()),
        };
        asked.push(Asked {
            whom: named("forecast"),
            answer,
        });
    }
    asked
}

fn days(parsed: &Parsed) -> String {
    let days = &parsed.readings;
    match (days.first_key_value(), days.last_key_value()) {
        (Some((first, _)), Some((last, _))) => format!("days from {first} to {last}"),
        _ => "no days".to_owned(),
    }
}

async fn ask_mail_server(config: &Config) -> Option<Asked> {
    let server = config.email.as_ref()?;
    let answer = match mailer(config, server, PATIENCE) {
        Ok(mailer) => {
            let signed_in = Box::pin(mailer.sign_in()).await;
            signed_in.map_err(|error| error.to_string())
        }
        Err(problem) => Err(problem),
    };
    Some(Asked {
        whom: "mail".to_owned(),
        answer,
    })
}

/// Each server once, whoever is told through it.
async fn ask_push_servers(config: &Config) -> Vec<Asked> {
    let mut servers = IndexMap::new();
    for address in config
        .addresses
        .values()
        .filter_map(|one| one.push.as_ref())
    {
        let origin = address.url.origin().ascii_serialization();
        servers.entry(origin).or_insert(("push", &address.url));
    }
    if let Some(url) = &config.service.heartbeat {
        let origin = url.origin().ascii_serialization();
        servers.entry(origin).or_insert(("heartbeat", url));
    }
    let pusher = pusher(config, PATIENCE);
    let mut asked = Vec::new();
    for (whom, url) in servers.into_values() {
        let answer = match &pusher {
            Ok(pusher) => pusher.knock(url).await.map_err(|error| error.to_string()),
            Err(problem) => Err(problem.clone()),
        };
        asked.push(Asked {
            whom: whom.to_owned(),
            answer,
        });
    }
    asked
}
