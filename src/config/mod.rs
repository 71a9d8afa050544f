//! Configuration: TOML text into domain values, with every problem reported at once as
//! `file:line:col`.
//!
//! [`mod@load`] reads the files; everything else here is pure. Species and dialects are files of the
//! same kind, built in and overridable: a file in the configured directory replaces the built-in
//! one with the same id.

use crate::domain::notation::Notation;
use crate::domain::phenology::season_days::Limits;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::{Member, Recipient, Site, Station};
use crate::domain::telling::season_letter::Policy;
use crate::domain::treatment::option::TreatmentOption;
use crate::notify::email::SmtpSecurity;
use crate::notify::push::PushFormat;
use crate::secret::SecretSource;
use crate::station_feed::dialect::Dialect;
use chrono::{DateTime, Utc};
use indexmap::IndexMap;
use std::collections::{BTreeMap, HashMap};
use std::path::PathBuf;

mod choice;
pub mod dialect_file;
pub mod fields;
mod include;
mod isolation;
mod lists;
pub mod load;
mod member_text;
mod members;
pub mod mention;
mod mqtt;
mod name;
mod notation;
pub mod option_file;
mod page_access;
pub mod problem;
mod reception;
mod renamed;
mod service;
mod site;
mod sites_file;
mod sourced_value;
mod sources;
pub mod species_file;
mod stations;
mod web;

use crate::station_feed::StationFeed;
pub use load::{Loaded, load, load_isolating, load_kept};
pub use mqtt::Mqtt;
pub use web::Web;

/// Everything hatchbell is told.
#[derive(Debug, Clone)]
pub struct Config {
    /// The service itself.
    pub service: Service,
    /// How much may be estimated.
    pub limits: Limits,
    /// When to foretell milestones.
    pub notices: Policy,
    /// The stations with their feeds, by id, in the order of the file.
    pub stations: IndexMap<String, StationFeed>,
    /// The members with their sites and recipients.
    pub members: Vec<Member>,
    /// Where each recipient is reached, by recipient id.
    pub addresses: BTreeMap<String, Addresses>,
    /// The mail server, if anybody wants mail.
    pub email: Option<EmailServer>,
    /// Every species, by id.
    pub species: BTreeMap<String, Species>,
    /// Every treatment option, by id.
    pub options: BTreeMap<String, TreatmentOption>,
    /// Every dialect, by name.
    pub dialects: BTreeMap<String, Dialect>,
    /// Set for a demonstration with its own clock.
    pub demo: Option<Demo>,
    /// The page, if there is to be one.
    pub web: Option<Web>,
    /// The broker of a home server, if there is one.
    pub mqtt: Option<Mqtt>,
    /// Where each recipient stands: the place of the member and the place among theirs.
    places: BTreeMap<String, (usize, usize)>,
}

impl Config {
    /// A station's feed by the station's id.
    pub fn station(&self, id: &str) -> Option<&StationFeed> {
        self.stations.get(id)
    }

    /// For each station the site that it is read for: the first that it stands for, else the first
    /// whose station it is a neighbour of. A station that is not here is never asked.
    pub fn read_for(&self) -> HashMap<&str, &Site> {
        stations::read_for(&self.stations, &self.members)
    }

    /// Of a site's stations the one whose days are usually the quickest: it says when days are late.
    pub fn quickest_station(&self, site: &Site) -> Option<&Station> {
        site.stations()
            .into_iter()
            .filter_map(|id| self.station(id))
            .map(|feed| &feed.station)
            .min_by_key(|station| station.usual_lag_days)
    }

    /// Whom a member's people answer to, a name or an address.
    pub fn answer_to<'c>(&'c self, member: &'c Member) -> &'c str {
        member.answer_to.as_ref().unwrap_or(&self.service.answer_to)
    }

    /// A recipient by their id.
    pub fn recipient(&self, id: &str) -> Option<&Recipient> {
        self.member_and_recipient(id)
            .map(|(_, recipient)| recipient)
    }

    /// A recipient by their id, with the member whose they are.
    pub fn member_and_recipient(&self, id: &str) -> Option<(&Member, &Recipient)> {
        let (member, recipient) = self.places.get(id)?;
        let member = self.members.get(*member)?;
        Some((member, member.recipients.get(*recipient)?))
    }

    /// Every site with its member.
    pub fn sites(&self) -> impl Iterator<Item = (&Member, &Site)> {
        self.members
            .iter()
            .flat_map(|member| member.sites.iter().map(move |site| (member, site)))
    }
}

/// Where each recipient stands.
fn places(members: &[Member]) -> BTreeMap<String, (usize, usize)> {
    let each = members.iter().enumerate();
    each.flat_map(|(member, of)| {
        let recipients = of.recipients.iter().enumerate();
        recipients.map(move |(place, one)| (one.id.clone(), (member, place)))
    })
    .collect()
}

/// The service itself.
#[derive(Debug, Clone)]
pub struct Service {
    /// The co-op's or owner's name, shown in messages.
    pub name: String,
    /// Whom feed operators may write to; sent in the User-Agent.
    pub contact: String,
    /// Whom people answer to, a name or an address, where their member says nothing else.
    pub answer_to: String,
    /// When to look for new days, a cron expression in UTC.
    pub schedule: cron::Schedule,
    /// The database file.
    pub database: PathBuf,
    /// Further root certificates (PEM), for one's own servers.
    pub extra_ca_file: Option<PathBuf>,
    /// The recipient, by id, who is told when something is wrong with a feed.
    pub operator: Option<String>,
    /// An address that is called after each good cycle. Its path may be a secret and is never shown.
    pub heartbeat: Option<Box<reqwest::Url>>,
    /// Whether the operator is told once a week that all is well.
    pub proof_of_life: bool,
    /// How many years records of applications are to be kept, if that is said.
    pub keep_records_years: Option<u32>,
    /// How numbers and dates are written where nobody says otherwise.
    pub notation: Notation,
}

/// Where a recipient is reached.
#[derive(Debug, Clone, Default)]
pub struct Addresses {
    /// Mail address.
    pub email: Option<String>,
    /// Their own push server.
    pub push: Option<PushAddress>,
    /// A text file that messages are appended to.
    pub file: Option<PathBuf>,
}

/// A recipient's own push server.
#[derive(Debug, Clone)]
pub struct PushAddress {
    /// Where to POST. The path may be a secret of its own and is never shown.
    pub url: reqwest::Url,
    /// Form of the body.
    pub format: PushFormat,
    /// Bearer token.
    pub token: Option<SecretSource>,
}

/// The mail server.
#[derive(Debug, Clone)]
pub struct EmailServer {
    /// Host name.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Encryption.
    pub security: SmtpSecurity,
    /// Sender address.
    pub from: String,
    /// User name, if the server wants one.
    pub username: Option<String>,
    /// Its password.
    pub password: Option<SecretSource>,
}

/// A demonstration: files that hold a past season, played by a clock of its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demo {
    /// Where the clock starts the first time.
    pub starts: DateTime<Utc>,
    /// Real seconds that a day of the demonstration takes.
    pub seconds_per_day: f64,
    /// Days by which the feed lags behind the clock.
    pub published_lag_days: u32,
    /// What becomes of mail and push messages.
    pub deliver: DemoDelivery,
}

/// What becomes of mail and push messages in a demonstration.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DemoDelivery {
    /// They are printed instead of sent.
    Console,
    /// They are sent.
    AsConfigured,
}

impl DemoDelivery {
    /// Every choice with the name it has in configuration files.
    pub const NAMED: [(&'static str, DemoDelivery); 2] = [
        ("console", DemoDelivery::Console),
        ("as-configured", DemoDelivery::AsConfigured),
    ];
}
