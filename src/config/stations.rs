//! The tables `[[station]]`.

use super::fields::{Fields, Located};
use super::name::required_name;
use super::problem::closest;
use super::service::{is_loopback, path_in};
use crate::domain::place::site::{Member, Site, Station};
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::observation_day::DayShift;
use crate::station_feed::dialect::{Binding, Dialect, plain_code};
use crate::station_feed::origin::Origin;
use crate::station_feed::{ForecastFeed, StationFeed};
use indexmap::{IndexMap, IndexSet};
use std::collections::{BTreeMap, HashMap};
use std::path::Path;

/// Days after which a station's newest day is usual if it does not say so itself. GHCN-Daily files
/// were 2 to 4 days behind over 707 downloads of one station, 6 at the 99th percentile.
const USUAL_LAG_DAYS: u32 = 6;

/// Days for a station that is fed by hand and does not say how often: nobody waits for it, so it is
/// never stale.
const LAG_BY_HAND_DAYS: u32 = 36_500;

/// The day that an extreme belongs to.
const BELONGS_TO: [(&str, bool); 2] = [("its-date", false), ("day-before", true)];

pub(super) struct Stations {
    pub feeds: IndexMap<String, StationFeed>,
    /// Every id that was readable, even where the rest of the table was not, so that sites that
    /// name it are not reported as well.
    pub ids: IndexSet<String>,
}

/// The stations of all files, the main one first, each with the folder of its relative paths.
pub(super) fn stations<'p, 't: 'p, 'f>(
    tops: impl Iterator<Item = (&'f Fields<'p, 't>, &'f Path)> + Clone,
    dialects: &BTreeMap<String, Dialect>,
) -> Stations
where
    'p: 'f,
{
    let mut stations = Stations {
        feeds: IndexMap::new(),
        ids: IndexSet::new(),
    };
    let tables = |(top, folder): (&'f Fields<'p, 't>, &'f Path)| {
        let tables = top.tables("station").into_iter();
        tables.map(move |table| (table, folder))
    };
    for (table, folder) in tops.clone().flat_map(tables) {
        let id = table.required_id("id", "harbour-meadow");
        if let Some(id) = &id
            && !stations.ids.insert(id.value.clone())
        {
            table.page().error(
                id.at.clone(),
                format!("there is another [[station]] with id = \"{}\"", id.value),
            );
        }
        if let Some(feed) = station(table, id, folder, dialects) {
            stations.feeds.insert(feed.station.id.clone(), feed);
        }
    }
    for (top, _) in tops.clone() {
        check_neighbours(top, &stations.ids);
    }
    if !tops.clone().any(|(top, _)| top.has("station"))
        && let Some((main, _)) = tops.clone().next()
    {
        main.page()
            .error(main.at(), "the file needs at least one [[station]]");
    }
    stations
}

/// Every neighbour must be a station, and another one.
fn check_neighbours(top: &Fields<'_, '_>, ids: &IndexSet<String>) {
    for table in top.tables("station") {
        let own = table.text("id").map(|id| id.value);
        for neighbour in table.texts("neighbours").unwrap_or_default() {
            if Some(&neighbour.value) == own.as_ref() || !ids.contains(&neighbour.value) {
                table.page().error(
                    neighbour.at,
                    format!(
                        "neighbours names \"{}\", which is no other [[station]]; there are {}",
                        neighbour.value,
                        ids.iter()
                            .map(String::as_str)
                            .collect::<Vec<_>>()
                            .join(", ")
                    ),
                );
            }
        }
    }
}

/// For each station the site that it is read for: the first that it stands for, else the first whose
/// station it is a neighbour of. A station that is not here is never asked.
pub(super) fn read_for<'c>(
    feeds: &'c IndexMap<String, StationFeed>,
    members: &'c [Member],
) -> HashMap<&'c str, &'c Site> {
    let sites = || members.iter().flat_map(|member| &member.sites);
    let mut read_for = HashMap::new();
    for site in sites() {
        for station in site.stations() {
            read_for.entry(station).or_insert(site);
        }
    }
    for site in sites() {
        let own = site.stations().into_iter().filter_map(|id| feeds.get(id));
        for neighbour in own.flat_map(|feed| &feed.station.neighbours) {
            read_for.entry(neighbour).or_insert(site);
        }
    }
    read_for
}

/// A station that no site needs is never asked.
pub(super) fn warn_of_unread(top: &Fields<'_, '_>, read_for: &HashMap<&str, &Site>) {
    for table in top.tables("station") {
        if let Some(id) = table.text("id")
            && !read_for.contains_key(id.value.as_str())
        {
            table.page().warning(
                id.at,
                format!(
                    "no site has the station \"{0}\", nor is it a neighbour of one that a site has, so it is never asked",
                    id.value
                ),
            );
        }
    }
}

fn station(
    table: Fields<'_, '_>,
    id: Option<Located<String>>,
    folder: &Path,
    dialects: &BTreeMap<String, Dialect>,
) -> Option<StationFeed> {
    let name = required_name(&table, "name", "Harbour Meadow");
    let dialect = dialect(&table, dialects).filter(|dialect| is_a_record(&table, dialect));
    let by_hand = dialect.is_some_and(|dialect| dialect.import_only);
    let origin = if by_hand && !table.has("url") && !table.has("file") {
        Some(Origin::ByHand)
    } else {
        origin(&table, folder)
    };
    let unit = unit(&table, dialect);
    let code = code(&table);
    let usual_lag = match &origin {
        Some(Origin::ByHand) => LAG_BY_HAND_DAYS,
        _ => dialect
            .and_then(|dialect| dialect.usual_lag_days)
            .unwrap_or(USUAL_LAG_DAYS),
    };
    let lag = table.whole("usual_lag_days", 0..=60);
    let elevation = table.number("elevation_m", -450.0..=9000.0);
    let neighbours = table.texts("neighbours").unwrap_or_default();
    let day_late = |key| {
        table
            .choice(key, &BELONGS_TO)
            .is_some_and(|choice| choice.value)
    };
    let day_shift = DayShift {
        min: day_late("minimum_belongs_to"),
        max: day_late("maximum_belongs_to"),
    };
    let normals = path_in(&table, "normals", folder);
    let had_forecast = table.has("forecast");
    let forecast = table
        .table("forecast")
        .and_then(|table| forecast(table, folder, dialects));
    table.finish();
    if had_forecast && forecast.is_none() {
        return None;
    }
    Some(StationFeed {
        station: Station {
            id: id?.value,
            name: name?.value,
            usual_lag_days: lag.map_or(usual_lag, |lag| lag.value),
            elevation_m: elevation.map(|elevation| elevation.value),
            neighbours: neighbours.into_iter().map(|id| id.value).collect(),
            day_shift,
        },
        origin: origin?,
        binding: Binding {
            dialect: dialect?.clone(),
            unit: unit?,
            code,
            latitude: None,
        },
        forecast,
        normals,
    })
}

fn forecast(
    table: Fields<'_, '_>,
    folder: &Path,
    dialects: &BTreeMap<String, Dialect>,
) -> Option<ForecastFeed> {
    let origin = origin(&table, folder);
    let dialect = dialect(&table, dialects);
    let unit = unit(&table, dialect);
    if let (Some(dialect), Some(code)) = (dialect, table.text("code"))
        && !dialect.columns.station.exists()
    {
        let problem = format!(
            "a {} file holds one place and no station's code; leave code out",
            dialect.name
        );
        table.page().error(code.at, problem);
    }
    let code = code(&table);
    table.finish();
    Some(ForecastFeed {
        origin: origin?,
        binding: Binding {
            dialect: dialect?.clone(),
            unit: unit?,
            code,
            latitude: None,
        },
    })
}

/// Whether a dialect is a station's own; a model's forecast is not.
fn is_a_record(table: &Fields<'_, '_>, dialect: &Dialect) -> bool {
    if dialect.model
        && let Some(name) = table.text("dialect")
    {
        let problem = format!(
            "\"{}\" is the forecast of a model and no station's record: give the station its own feed, and name the forecast in a [station.forecast] below it",
            name.value
        );
        table.page().error(name.at, problem);
    }
    !dialect.model
}

/// The station's code in its files, also where it was copied with the name of the data set.
fn code(table: &Fields<'_, '_>) -> Option<String> {
    let code = table.text("code")?;
    Some(plain_code(&code.value).to_owned())
}

fn origin(table: &Fields<'_, '_>, folder: &Path) -> Option<Origin> {
    let url = table.text("url");
    let file = path_in(table, "file", folder);
    match (url, file) {
        (Some(url), None) => checked_url(table, "url", &url).map(Origin::Url),
        (None, Some(file)) => Some(Origin::File(file)),
        (None, None) if table.has("url") || table.has("file") => None,
        _ => {
            table.page().error(
                table.at(),
                format!(
                    "{} needs either url = \"https://…\" or file = \"…\"",
                    table.name()
                ),
            );
            None
        }
    }
}

/// An http or https address without secrets in it.
pub(super) fn checked_url(
    table: &Fields<'_, '_>,
    key: &str,
    text: &Located<String>,
) -> Option<reqwest::Url> {
    let url = match reqwest::Url::parse(&text.value) {
        Ok(url) if matches!(url.scheme(), "http" | "https") && url.host_str().is_some() => url,
        _ => {
            table.page().error(
                text.at.clone(),
                format!("{key} must be a whole address that starts with https:// (or http://)"),
            );
            return None;
        }
    };
    if !url.username().is_empty() || url.password().is_some() {
        table.page().error(
            text.at.clone(),
            format!(
                "{key} holds a user name or password; addresses end up in logs, so they may not"
            ),
        );
        return None;
    }
    let secret = url
        .query_pairs()
        .map(|(key, _)| key.into_owned())
        .find(|key| {
            let key = key.to_ascii_lowercase();
            ["token", "passw", "key", "secret", "auth", "appid", "sig"]
                .iter()
                .any(|word| key.contains(word))
        });
    if let Some(secret) = secret {
        table.page().error(
            text.at.clone(),
            format!("{key} carries a secret in its query ({secret}=…); addresses end up in logs, so they may not"),
        );
        return None;
    }
    if url.scheme() == "http" && !url.host_str().is_some_and(is_loopback) {
        table.page().warning(
            text.at.clone(),
            format!("{key} is not encrypted; use https:// if the server can"),
        );
    }
    Some(url)
}

fn dialect<'d>(
    table: &Fields<'_, '_>,
    dialects: &'d BTreeMap<String, Dialect>,
) -> Option<&'d Dialect> {
    let text = table.required_text("dialect", "ghcn-access")?;
    let found = dialects.get(&text.value);
    if found.is_none() {
        let names = || dialects.keys().map(String::as_str);
        let hint = match closest(&text.value, names()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are {}", names().collect::<Vec<_>>().join(", ")),
        };
        table.page().error(
            text.at,
            format!("there is no dialect \"{}\"; {hint}", text.value),
        );
    }
    found
}

/// The bound unit; needed where the dialect comes in several.
fn unit(table: &Fields<'_, '_>, dialect: Option<&Dialect>) -> Option<Unit> {
    let chosen = table.choice("unit", &Unit::NAMED);
    let dialect = dialect?;
    let names: Vec<&str> = dialect.units.iter().map(|unit| unit.name()).collect();
    match chosen {
        Some(unit) if dialect.units.contains(&unit.value) => Some(unit.value),
        Some(unit) => {
            table.page().error(
                unit.at,
                format!("a {} file comes in {}", dialect.name, names.join(" or ")),
            );
            None
        }
        None if table.has("unit") => None,
        None if dialect.units.len() == 1 => dialect.units.first().copied(),
        None => {
            table.page().error(
                table.at(),
                format!(
                    "a {} file does not say its unit; add unit = one of {}",
                    dialect.name,
                    names.join(", ")
                ),
            );
            None
        }
    }
}
