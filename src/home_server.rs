//! What a home server reads: the state of every site, kept by an MQTT broker, published anew when it has
//! changed. It runs beside the cycles in a thread of its own, so a broker that is away delays nothing.
//!
//! What the broker keeps is the truth: it is read after each sign-in, what is still right is left alone, and
//! what is of a site that is no longer there is removed.

use crate::clock::Clock;
use crate::config::{Config, Mqtt};
use crate::domain::place::site::Site;
use crate::notify::mqtt::{Broker, BrokerSettings};
use crate::report::home::HomeState;
use crate::report::kept_sites::KeptSites;
use crate::report::shown_day;
use crate::store::home_server::BrokerTrouble;
use crate::store::{Store, StoreError};
use crate::web::PageConfig;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io;
use std::time::Duration;
use tokio::sync::watch;
use tracing::{error, info, warn};

/// First and longest wait before a broker that failed is tried again.
const FIRST_WAIT: Duration = Duration::from_secs(1);
const LONGEST_WAIT: Duration = Duration::from_secs(300);

/// How often the broker is asked whether it is still there.
const PING_EVERY: Duration = Duration::from_secs(45);

/// How long taking leave may last once the program is to stop.
const LAST_MOMENTS: Duration = Duration::from_secs(2);

/// What the availability topic says.
const ONLINE: &str = "online";
const OFFLINE: &str = "offline";

/// What the broker is to keep, by topic.
type Messages = BTreeMap<String, Vec<u8>>;

/// Publishes in a thread of its own until the program is to stop; `news` changes when something may have.
///
/// # Errors
/// If there can be no further thread.
pub fn publish(
    in_force: watch::Receiver<PageConfig>,
    news: watch::Receiver<()>,
    stop: watch::Receiver<bool>,
) -> io::Result<std::thread::JoinHandle<()>> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let publisher = Publisher {
        in_force,
        news,
        stop,
        known: KeptSites::default(),
    };
    std::thread::Builder::new()
        .name("home server".to_owned())
        .spawn(move || {
            runtime.block_on(publisher.run());
            // A name that is being looked up is not waited for.
            runtime.shutdown_background();
        })
}

/// Signs in at a broker and takes leave again; what it says in words.
///
/// # Errors
/// A text that says what is wrong and what to do.
pub async fn ask_broker(config: &Config, mqtt: &Mqtt) -> Result<String, String> {
    let mut settings = settings(config, mqtt, "hatchbell-check".to_owned())?;
    settings.will = None;
    let broker = Broker::connect(&settings).await?;
    broker.leave().await?;
    Ok(format!("signed in at {}:{}", mqtt.host, mqtt.port))
}

struct Publisher {
    in_force: watch::Receiver<PageConfig>,
    news: watch::Receiver<()>,
    stop: watch::Receiver<bool>,
    /// How the sites were when they were looked at last.
    known: KeptSites<HomeState>,
}

/// Why a connection came to its end.
enum Ended {
    /// The program is to stop.
    Stopped,
    /// The table `[mqtt]` is another one.
    Changed,
    /// It failed.
    Failed(String),
}

/// What is to be done next on a connection.
enum Next {
    Look,
    Ping,
    End(Ended),
}

impl Publisher {
    async fn run(mut self) {
        let mut wait = FIRST_WAIT;
        let mut failing = false;
        while !*self.stop.borrow() {
            let now = self.in_force.borrow_and_update().clone();
            let Some(mqtt) = now.config.mqtt.clone() else {
                failing = false;
                self.pause(None).await;
                continue;
            };
            let why = match self.connected(&now.config, &mqtt).await {
                Ok((broker, published)) => {
                    if failing {
                        info!("the broker {} is back", mqtt.host);
                    } else {
                        info!("sites are published at {}:{}", mqtt.host, mqtt.port);
                    }
                    failing = false;
                    wait = FIRST_WAIT;
                    note(&now.config, None);
                    match self.session(broker, published, &mqtt).await {
                        Ended::Stopped => return,
                        Ended::Changed => continue,
                        Ended::Failed(why) => why,
                    }
                }
                Err(why) => why,
            };
            let why = format!("MQTT broker {}:{}: {why}", mqtt.host, mqtt.port);
            if !failing {
                failing = true;
                warn!("{why}; it is tried again until it works, alerts go on");
                note(&now.config, Some(&why));
            }
            self.pause(Some(wait)).await;
            wait = (wait * 2).min(LONGEST_WAIT);
        }
    }

    /// Waits for a time, another configuration or the end.
    async fn pause(&mut self, wait: Option<Duration>) {
        let over = async {
            match wait {
                Some(wait) => tokio::time::sleep(wait).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            () = over => {}
            // Whoever has gone will say nothing new.
            changed = self.in_force.changed() => if changed.is_err() { std::future::pending().await },
            _ = self.stop.wait_for(|stop| *stop) => {}
        }
    }

    /// A connection on which we are said to be there, and what of ours the broker keeps.
    async fn connected(&self, config: &Config, mqtt: &Mqtt) -> Result<(Broker, Messages), String> {
        let connecting = async {
            let install = install(config).map_err(|problem| problem.in_full())?;
            let settings = settings(config, mqtt, install)?;
            let mut broker = Broker::connect(&settings).await?;
            broker
                .publish(&availability(mqtt), ONLINE.as_bytes())
                .await?;
            let mut filters = vec![state_topic(mqtt, "+")];
            let discovery = mqtt.discovery_prefix.as_ref();
            filters.extend(discovery.map(|prefix| format!("{prefix}/sensor/+/config")));
            let mut kept = broker.kept(&filters).await?;
            kept.retain(|topic, payload| is_ours(mqtt, topic, payload));
            Ok((broker, kept))
        };
        let mut stop = self.stop.clone();
        tokio::select! {
            connected = connecting => connected,
            _ = stop.wait_for(|stop| *stop) => Err("the program stops".to_owned()),
        }
    }

    async fn session(&mut self, mut broker: Broker, mut published: Messages, mqtt: &Mqtt) -> Ended {
        let mut next = Next::Look;
        loop {
            let done = match next {
                Next::Look => {
                    self.news.mark_unchanged();
                    let now = self.in_force.borrow_and_update().clone();
                    if now.config.mqtt.as_ref() != Some(mqtt) {
                        let successor = now.config.mqtt.as_ref();
                        return match leave(broker, mqtt, &published, successor).await {
                            Ok(()) => Ended::Changed,
                            Err(why) => Ended::Failed(why),
                        };
                    }
                    match messages(&now, mqtt, &mut self.known) {
                        Ok(wanted) => bring_about(&mut broker, &mut published, wanted).await,
                        Err(problem) => {
                            warn!("sites are not published: {}", problem.in_full());
                            Ok(())
                        }
                    }
                }
                Next::Ping => broker.ping().await,
                Next::End(Ended::Stopped) => {
                    let leaving = async {
                        broker
                            .publish(&availability(mqtt), OFFLINE.as_bytes())
                            .await?;
                        broker.leave().await
                    };
                    let _ = tokio::time::timeout(LAST_MOMENTS, leaving).await;
                    return Ended::Stopped;
                }
                Next::End(ended) => return ended,
            };
            if let Err(why) = done {
                return Ended::Failed(why);
            }
            next = tokio::select! {
                biased;
                _ = self.stop.wait_for(|stop| *stop) => Next::End(Ended::Stopped),
                Ok(()) = self.in_force.changed() => Next::Look,
                Ok(()) = self.news.changed() => Next::Look,
                ended = broker.end() => {
                    let why = ended.err().unwrap_or_else(|| "the connection ended".to_owned());
                    Next::End(Ended::Failed(why))
                }
                () = tokio::time::sleep(PING_EVERY) => Next::Ping,
            };
        }
    }
}

/// Publishes what the broker does not keep as it is wanted, and removes what is not wanted.
async fn bring_about(
    broker: &mut Broker,
    published: &mut Messages,
    wanted: Messages,
) -> Result<(), String> {
    let gone: Vec<String> = published.keys().cloned().collect();
    for topic in gone.iter().filter(|topic| !wanted.contains_key(*topic)) {
        broker.publish(topic, b"").await?;
        published.remove(topic);
    }
    for (topic, payload) in wanted {
        if published.get(&topic) != Some(&payload) {
            broker.publish(&topic, &payload).await?;
            published.insert(topic, payload);
        }
    }
    Ok(())
}

/// Takes leave of a broker for good: what is not published in its place by the next table is removed.
async fn leave(
    mut broker: Broker,
    mqtt: &Mqtt,
    published: &Messages,
    successor: Option<&Mqtt>,
) -> Result<(), String> {
    let place = |of: &Mqtt| {
        let prefixes = (of.topic_prefix.clone(), of.discovery_prefix.clone());
        (of.host.clone(), of.port, prefixes)
    };
    if successor.map(place) != Some(place(mqtt)) {
        for topic in published.keys() {
            broker.publish(topic, b"").await?;
        }
    }
    broker
        .publish(&availability(mqtt), OFFLINE.as_bytes())
        .await?;
    broker.leave().await
}

fn settings(config: &Config, mqtt: &Mqtt, client_id: String) -> Result<BrokerSettings, String> {
    let password = mqtt.password.as_ref().map(|source| source.load());
    let password = password.transpose().map_err(|error| error.to_string())?;
    let extra_ca = config.service.extra_ca_file.as_ref();
    let extra_ca_pem = extra_ca.map(std::fs::read).transpose();
    Ok(BrokerSettings {
        host: mqtt.host.clone(),
        port: mqtt.port,
        tls: mqtt.tls,
        login: mqtt.username.clone().zip(password),
        extra_ca_pem: extra_ca_pem.map_err(|error| format!("extra_ca_file: {error}"))?,
        client_id,
        will: Some((availability(mqtt), OFFLINE)),
    })
}

/// Who this install is to the broker.
fn install(config: &Config) -> Result<String, StoreError> {
    let install = Store::open_to_read(&config.service.database)?.install()?;
    let short: String = install.chars().take(12).collect();
    Ok(format!("hatchbell-{short}"))
}

/// Notes what is wrong, or that nothing is, for those who ask.
fn note(config: &Config, why: Option<&str>) {
    let trouble = why.map(|why| BrokerTrouble {
        since: Clock::Machine.now(),
        why: why.to_owned(),
    });
    let database = &config.service.database;
    let noted = Store::open_to_read(database).and_then(|known| {
        if known.broker_trouble()?.is_none() && trouble.is_none() {
            return Ok(());
        }
        Store::open(database)?.note_broker(trouble.as_ref())
    });
    if let Err(problem) = noted {
        error!("{}", problem.in_full());
    }
}

fn availability(mqtt: &Mqtt) -> String {
    format!("{}/availability", mqtt.topic_prefix)
}

fn state_topic(mqtt: &Mqtt, site: &str) -> String {
    format!("{}/site/{site}/state", mqtt.topic_prefix)
}

/// Whether a message was published by us: a state below our prefix, or a sensor that reads one.
fn is_ours(mqtt: &Mqtt, topic: &str, payload: &[u8]) -> bool {
    let states = format!("{}/site/", mqtt.topic_prefix);
    if topic.starts_with(&states) {
        return true;
    }
    let sensor: Option<Value> = serde_json::from_slice(payload).ok();
    sensor.is_some_and(|sensor| {
        let reads = sensor["state_topic"].as_str();
        reads.is_some_and(|reads| reads.starts_with(&states))
    })
}

/// What the broker is to keep; of sites where nothing has changed by what was known of them.
fn messages(
    now: &PageConfig,
    mqtt: &Mqtt,
    known: &mut KeptSites<HomeState>,
) -> Result<Messages, StoreError> {
    let config = &now.config;
    let store = Store::open_to_read(&config.service.database)?;
    let today = shown_day(config, &store, Clock::Machine.civil_day())?;
    let is_published = |site: &Site| mqtt.has(&site.id);
    let states = known.of(
        config,
        &store,
        today,
        is_published,
        |state| &state.site,
        |anew| HomeState::of_all(config, &store, today, anew),
    )?;
    let mut wanted = Messages::new();
    for state in states {
        wanted.insert(
            state_topic(mqtt, &state.site),
            json!(*state).to_string().into(),
        );
        if let Some(prefix) = &mqtt.discovery_prefix {
            wanted.extend(sensors(mqtt, prefix, &config.service.name, &state));
        }
    }
    Ok(wanted)
}

/// The messages by which a home server finds the values of a site.
fn sensors(mqtt: &Mqtt, prefix: &str, service: &str, state: &HomeState) -> Messages {
    let whose = mqtt
        .topic_prefix
        .replace(|c: char| !c.is_ascii_alphanumeric(), "_");
    let of_site = format!("{whose}_{}", state.site);
    let each = state.sensors().into_iter().map(|sensor| {
        let id = format!("{of_site}_{}", sensor.id);
        let mut message = json!({
            "name": sensor.name,
            "unique_id": id,
            "state_topic": state_topic(mqtt, &state.site),
            "value_template": format!("{{{{ value_json.{} }}}}", sensor.path),
            "availability_topic": availability(mqtt),
            "device": {
                "identifiers": [of_site],
                "name": state.name,
                "manufacturer": "hatchbell",
                "model": service,
            },
        });
        if let Some(unit) = sensor.unit {
            message["unit_of_measurement"] = json!(unit);
        }
        if let Some(class) = sensor.class {
            message["device_class"] = json!(class);
        }
        let topic = format!("{prefix}/sensor/{id}/config");
        (topic, message.to_string().into())
    });
    each.collect()
}
