//! The table `[mqtt]`: the broker of a home server.

use super::fields::{Fields, Located};
use super::service::{is_loopback, refuse_plain_secret, secret};
use crate::domain::place::site::Member;
use crate::secret::SecretSource;
use std::path::Path;

/// The broker that a home server reads from, and what is published there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mqtt {
    /// Host name.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Whether the connection is encrypted.
    pub tls: bool,
    /// User name, if the broker wants one.
    pub username: Option<String>,
    /// Its password.
    pub password: Option<SecretSource>,
    /// What all topics begin with.
    pub topic_prefix: String,
    /// What the topics begin with by which a home server finds what there is; none if it need not.
    pub discovery_prefix: Option<String>,
    /// The sites, by ids; none is all.
    pub sites: Option<Vec<String>>,
}

/// Longest beginning of a topic, in bytes.
const LONGEST_PREFIX: usize = 100;

impl Mqtt {
    /// Whether a site is published.
    pub fn has(&self, site: &str) -> bool {
        let listed = self.sites.as_ref();
        listed.is_none_or(|ids| ids.iter().any(|id| id == site))
    }
}

/// `[mqtt]`, if it is there.
pub(super) fn mqtt(
    top: &Fields<'_, '_>,
    folder: &Path,
    clear_token_hosts: &[String],
) -> Option<Mqtt> {
    let table = top.table("mqtt")?;
    let host = table.required_text("host", "home-server.example.org");
    let tls = table.flag("tls");
    let port = table.whole("port", 1..=65535);
    let username = table.text("username");
    let password = secret(&table, "password_file", "password_credential", folder);
    refuse_plain_secret(&table, "password");
    if username.is_some() != password.is_some() {
        table.page().error(
            table.at(),
            "[mqtt] needs username and a password (password_file or password_credential), or neither",
        );
    }
    if let (Some(host), Some(_)) = (&host, &password)
        && !tls
        && !is_loopback(&host.value)
        && !clear_token_hosts.contains(&host.value)
    {
        let host = &host.value;
        table.page().error(
            table.at(),
            format!(
                "the password would go to {host} without encryption; use tls = true, or, for a broker in \
                 your own network, clear_token_hosts = [\"{host}\"] under [service]"
            ),
        );
    }
    let topic_prefix = prefix(&table, "topic_prefix");
    let discovery_prefix = prefix(&table, "discovery_prefix");
    let sites = table.texts("sites");
    table.finish();
    Some(Mqtt {
        host: host?.value,
        port: port.map_or(if tls { 8883 } else { 1883 }, |port| port.value as u16),
        tls,
        username: username.map(|name| name.value),
        password,
        topic_prefix: topic_prefix.unwrap_or_else(|| "hatchbell".to_owned()),
        discovery_prefix,
        sites: sites.map(|all| all.into_iter().map(|id| id.value).collect()),
    })
}

/// What topics begin with: levels with names, and none of the signs that stand for any name.
fn prefix(table: &Fields<'_, '_>, key: &'static str) -> Option<String> {
    let Located { value, at } = table.text(key)?;
    let fits = value.len() <= LONGEST_PREFIX && !value.starts_with('$');
    let has_names = value.split('/').all(|level| !level.is_empty());
    if !fits || !has_names || value.contains(['+', '#']) || value.contains(char::is_control) {
        table.page().error(
            at,
            format!(
                "{key} must be names with / between them, without +, # and $ in front, at most {LONGEST_PREFIX} bytes, for example \"home/turf\""
            ),
        );
        return None;
    }
    Some(value)
}

/// Warns of sites that are not there: a member who is left out takes theirs along.
pub(super) fn warn_of_missing_sites(top: &Fields<'_, '_>, mqtt: Option<&Mqtt>, members: &[Member]) {
    let listed = mqtt.and_then(|mqtt| mqtt.sites.as_ref());
    let is_there = |id: &&String| {
        let mut sites = members.iter().flat_map(|member| &member.sites);
        sites.any(|site| site.id == **id)
    };
    for id in listed.into_iter().flatten().filter(|id| !is_there(id)) {
        top.page().warning(
            top.at_key("mqtt"),
            format!("sites under [mqtt] names \"{id}\", which is no [[member.site]]"),
        );
    }
}
