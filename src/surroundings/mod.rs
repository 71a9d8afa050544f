//! What the configuration names on this machine, looked at before the service runs: secrets,
//! certificates, station files, folders. Nothing is made or changed, and neither network nor database
//! is touched.
//!
//! A problem is an error where the service could not do its work with what is there, and a warning
//! where it may come right by itself or cannot be seen by whoever looks.

use crate::config::load::Loaded;
use crate::config::mention::Mentioned;
use crate::config::problem::{Problem, Severity};
use crate::config::{Config, DemoDelivery};
use crate::station_feed::dialect::Binding;
use crate::station_feed::origin::Origin;
use chrono::{DateTime, Utc};
use std::collections::{HashMap, VecDeque};
use std::path::Path;

mod certificates;
mod folders;
mod secrets;
mod station_files;

pub use folders::folder_of;

/// What is wrong with one thing.
type Defect = (Severity, String);

/// What to do where a thing can be seen by the service's user only.
const AS_SERVICE_USER: &str =
    "to look at it, run this as the user the service runs as (sudo -u hatchbell hatchbell check)";

/// What is wrong around a configuration, at the keys that name it, in their order.
pub fn look(loaded: &Loaded, now: DateTime<Utc>) -> Vec<Problem> {
    let config = &loaded.config;
    let sends = config
        .demo
        .is_none_or(|demo| demo.deliver == DemoDelivery::AsConfigured);
    let user = folders::service_user(&config.service.database);
    let mut feeds = feeds_by_file(config);
    let mut problems = Vec::new();
    for mention in &loaded.mentions {
        let faults = match &mention.what {
            // A demonstration that prints its messages reads no secret.
            Mentioned::Secret(_) if !sends => Vec::new(),
            Mentioned::Secret(source) => secrets::look(source, user).into_iter().collect(),
            Mentioned::Path { key, path } => match (*key, feeds.get_mut(path.as_path())) {
                ("file", Some(bindings)) => bindings
                    .pop_front()
                    .and_then(|binding| station_files::look(path, binding))
                    .into_iter()
                    .collect(),
                ("normals", _) => station_files::look_at_normals(path).into_iter().collect(),
                ("file", None) => folders::look_at_text_file(path).into_iter().collect(),
                ("database", _) => folders::look_at_database(path),
                ("extra_ca_file", _) => certificates::look(path, now),
                // Folders of species and the like were read with the configuration.
                _ => Vec::new(),
            },
        };
        let at_key = faults
            .into_iter()
            .map(|(severity, text)| mention.problem(severity, text));
        problems.extend(at_key);
    }
    problems
}

/// The feeds that read each file, in the order of the configuration.
fn feeds_by_file(config: &Config) -> HashMap<&Path, VecDeque<&Binding>> {
    let mut feeds: HashMap<&Path, VecDeque<&Binding>> = HashMap::new();
    for feed in config.stations.values() {
        let forecast = feed.forecast.as_ref();
        let both = [Some((&feed.origin, &feed.binding))]
            .into_iter()
            .chain([forecast.map(|forecast| (&forecast.origin, &forecast.binding))]);
        for (origin, binding) in both.flatten() {
            if let Origin::File(path) = origin {
                feeds.entry(path).or_default().push_back(binding);
            }
        }
    }
    feeds
}
