//! The tables `[[member.site]]`, and the defaults for them: `[site_defaults]` for all members,
//! `[member.site_defaults]` for those of one.

use super::choice::{area, choice};
use super::fields::{Fields, Located};
use super::lists::TextOrTable;
use super::members::KnownIds;
use super::name::required_name;
use super::problem::closest;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::domain::scouting::{SampleKind, TurfCondition};
use crate::domain::weather::blend::{Blend, Order, Source};
use std::collections::BTreeMap;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What holds for sites that do not say otherwise.
#[derive(Clone, Copy)]
pub(super) struct SiteDefaults<'t> {
    table: Option<&'t DeTable<'t>>,
    /// Whether something is wrong with them, which is noted once, where they stand.
    faulty: bool,
}

impl<'t> SiteDefaults<'t> {
    /// No defaults.
    pub const NONE: SiteDefaults<'static> = SiteDefaults {
        table: None,
        faulty: false,
    };

    /// The defaults that a table has below it.
    pub fn below<'p: 't>(table: &Fields<'p, 'p>, known: &KnownIds<'_>) -> SiteDefaults<'p> {
        let page = table.page();
        let before = page.errors();
        let Some(defaults) = table.table("site_defaults") else {
            return SiteDefaults {
                table: None,
                faulty: page.errors() > before,
            };
        };
        for key in ["id", "name"] {
            if let Some(text) = defaults.text(key) {
                page.error(
                    text.at,
                    format!("{key} is each site's own; leave it out here"),
                );
            }
        }
        if defaults.has("turf") {
            let _ = required_name(&defaults, "turf", TURF);
        } else {
            defaults.known("turf");
        }
        defaults.number("latitude", LATITUDES);
        let _ = stations_of(&defaults, known, false);
        let species = defaults.texts("species").unwrap_or_default();
        check_species(&defaults, &species, known.species);
        let _ = defaults.choice("condition", &TurfCondition::NAMED);
        let _ = defaults.choice("samples", &SampleKind::NAMED);
        let _ = area(&defaults);
        let _ = choice(&defaults, known.options);
        let values = defaults.values();
        defaults.finish();
        SiteDefaults {
            table: Some(values),
            faulty: page.errors() > before,
        }
    }

    /// Puts what is missing into a site's table; it stands where the site does.
    fn complete<'s>(&self, site: &mut DeTable<'s>, at: &Range<usize>)
    where
        't: 's,
    {
        let names_stations = STATION_KEYS.iter().any(|key| site.contains_key(*key));
        for (key, value) in self.table.into_iter().flatten() {
            let name: &str = key.get_ref();
            if site.contains_key(name) || (names_stations && STATION_KEYS.contains(&name)) {
                continue;
            }
            site.insert(
                Spanned::new(at.clone(), key.get_ref().clone()),
                moved(value, at),
            );
        }
    }
}

/// The keys that together say where temperatures come from.
const STATION_KEYS: [&str; 3] = ["station", "stations", "order"];

/// Latitudes of turf.
const LATITUDES: std::ops::RangeInclusive<f64> = -66.0..=66.0;

/// An example.
const TURF: &str = "perennial ryegrass, irrigated";

/// A value at another place.
fn moved<'t>(value: &Spanned<DeValue<'t>>, at: &Range<usize>) -> Spanned<DeValue<'t>> {
    let inner = match value.get_ref() {
        DeValue::Array(items) => DeValue::Array(items.iter().map(|one| moved(one, at)).collect()),
        DeValue::Table(table) => {
            let mut inner = DeTable::new();
            for (key, value) in table {
                let key = Spanned::new(at.clone(), key.get_ref().clone());
                inner.insert(key, moved(value, at));
            }
            DeValue::Table(inner)
        }
        plain => plain.clone(),
    };
    Spanned::new(at.clone(), inner)
}

/// A site that was read.
pub(super) struct ReadSite {
    /// Its id, if that can be read.
    pub id: Option<Located<String>>,
    /// The site, if all of it can be read.
    pub site: Option<Site>,
    /// Its table with every default, as TOML.
    pub text: String,
}

impl ReadSite {
    /// Its id, if that can be read.
    pub fn id(&self) -> Option<&str> {
        self.id.as_ref().map(|id| id.value.as_str())
    }
}

/// A site with what holds for it, the nearest defaults first.
pub(super) fn site(
    own: &Fields<'_, '_>,
    defaults: &[SiteDefaults<'_>],
    known: &KnownIds<'_>,
) -> ReadSite {
    let page = own.page();
    let before = page.count();
    let mut values = own.values().clone();
    for defaults in defaults {
        defaults.complete(&mut values, &own.at());
    }
    let table = Fields::of(page, &values, own.at(), own.name());
    let (id, site) = whole_site(table, known);
    if defaults.iter().any(|one| one.faulty) {
        page.forget_at(before, own.at().start);
    }
    ReadSite {
        id,
        site,
        text: super::member_text::inline(&values),
    }
}

fn whole_site(
    table: Fields<'_, '_>,
    known: &KnownIds<'_>,
) -> (Option<Located<String>>, Option<Site>) {
    let id = table.required_id("id", "front-lawn");
    let name = required_name(&table, "name", "Front lawn");
    let turf = required_name(&table, "turf", TURF);
    let latitude = table.required_number("latitude", LATITUDES, "41.8");
    let stations = stations_of(&table, known, true);
    let species = table.texts("species");
    // Of one that is no list it is said that it should be one.
    if species
        .as_ref()
        .map_or(!table.has("species"), Vec::is_empty)
    {
        table.page().error(
            table.at(),
            "a site needs species, for example species = [\"japanese-beetle\"]",
        );
    }
    let species = species.unwrap_or_default();
    check_species(&table, &species, known.species);
    let condition = table.choice("condition", &TurfCondition::NAMED);
    let samples = table.choice("samples", &SampleKind::NAMED);
    let area = area(&table);
    let choice = choice(&table, known.options);
    table.finish();
    let site = (|| {
        let (station, blend) = stations?;
        Some(Site {
            id: id.as_ref()?.value.clone(),
            name: name?.value,
            turf: turf?.value,
            condition: condition.map(|condition| condition.value),
            samples: samples.map_or(SampleKind::default(), |samples| samples.value),
            area,
            choice,
            latitude: latitude?.value,
            station,
            blend,
            species: species.into_iter().map(|species| species.value).collect(),
        })
    })();
    (id, site)
}

/// The weight of a station that names none, and the span of weights.
const USUAL_WEIGHT: f64 = 1.0;
const WEIGHTS: std::ops::RangeInclusive<f64> = 0.01..=100.0;

/// A site's station, or the first of several with all of them.
fn stations_of(
    table: &Fields<'_, '_>,
    known: &KnownIds<'_>,
    needed: bool,
) -> Option<(String, Option<Blend>)> {
    let is_known = |id: &Located<String>| {
        let stations = known.stations;
        if !stations.contains(&id.value) {
            let names = stations.iter().map(String::as_str);
            one_of(table, id, "[[station]]", names);
        }
    };
    if !table.has("stations") {
        if let Some(order) = table.choice("order", &Order::NAMED) {
            table.page().error(
                order.at,
                "order is for a site with stations = [\"…\", \"…\"]",
            );
        }
        let station = if needed {
            table.required_text("station", "harbour-meadow")?
        } else {
            table.text("station")?
        };
        is_known(&station);
        return Some((station.value, None));
    }
    if let Some(station) = table.text("station") {
        table
            .page()
            .error(station.at, "give station or stations, not both");
    }
    let order = table
        .choice("order", &Order::NAMED)
        .map_or(Order::Mean, |order| order.value);
    let mut sources: Vec<Source> = Vec::new();
    for item in table.texts_or_tables("stations")? {
        let (id, weight) = match item {
            TextOrTable::Text(id) => (Some(id), None),
            TextOrTable::Table(inner) => {
                let id = inner.required_text("id", "harbour-meadow");
                let weight = inner.number("weight", WEIGHTS);
                inner.finish();
                (id, weight)
            }
        };
        let id = id?;
        is_known(&id);
        if sources.iter().any(|other| other.station == id.value) {
            table
                .page()
                .error(id.at.clone(), format!("\"{}\" is there twice", id.value));
        }
        if let Some(weight) = weight.as_ref().filter(|_| order == Order::Fallback) {
            table.page().error(
                weight.at.clone(),
                "weights are for a mean; with order = \"fallback\" the first station that has the day gives it",
            );
        }
        sources.push(Source {
            station: id.value,
            weight: weight.map_or(USUAL_WEIGHT, |weight| weight.value),
        });
    }
    let Some(first) = sources.first() else {
        table.page().error(
            table.at(),
            "stations is empty; name at least one, for example stations = [\"valley\", \"old-orchard\"]",
        );
        return None;
    };
    Some((first.station.clone(), Some(Blend { sources, order })))
}

pub(super) fn check_species(
    table: &Fields<'_, '_>,
    species: &[Located<String>],
    known: &BTreeMap<String, Species>,
) {
    for (index, one) in species.iter().enumerate() {
        one_of(table, one, "species", known.keys().map(String::as_str));
        if species[..index]
            .iter()
            .any(|other| other.value == one.value)
        {
            table
                .page()
                .error(one.at.clone(), format!("\"{}\" is there twice", one.value));
        }
    }
}

/// Notes a reference that leads nowhere.
pub(super) fn one_of<'k>(
    table: &Fields<'_, '_>,
    wanted: &Located<String>,
    kind: &str,
    known: impl Iterator<Item = &'k str>,
) {
    let known: Vec<&str> = known.collect();
    if known.contains(&wanted.value.as_str()) {
        return;
    }
    let hint = match closest(&wanted.value, known.iter().copied()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("there are {}", known.join(", ")),
    };
    table.page().error(
        wanted.at.clone(),
        format!("there is no {kind} \"{}\"; {hint}", wanted.value),
    );
}
