//! The tables `[[member]]` with their `[[member.site]]` and `[[member.recipient]]`.

use super::choice::{area, choice};
use super::fields::{Fields, Located, TextOrTable};
use super::name::required_name;
use super::notation::notation;
use super::problem::closest;
use super::reception::reception;
use super::service::{answer_to, is_loopback, path_in, refuse_plain_secret, secret};
use super::stations::checked_url;
use super::{Addresses, PushAddress};
use crate::domain::notation::Notation;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::{Channel, Member, Recipient, Site};
use crate::domain::scouting::{SampleKind, TurfCondition};
use crate::domain::telling::notice::MOST_SITES_AT_ONCE;
use crate::domain::telling::reception::DigestRhythm;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::weather::blend::{Blend, Order, Source};
use crate::notify::email::check_address;
use crate::notify::push::PushFormat;
use indexmap::IndexSet;
use std::collections::{BTreeMap, HashSet};
use std::path::Path;

/// What the members' tables are checked against.
pub(super) struct KnownIds<'c> {
    /// Where the configuration stands.
    pub folder: &'c Path,
    /// The ids of the stations.
    pub stations: &'c IndexSet<String>,
    /// Every species.
    pub species: &'c BTreeMap<String, Species>,
    /// Every treatment option.
    pub options: &'c BTreeMap<String, TreatmentOption>,
    /// Whether there is a mail server.
    pub has_mail_server: bool,
    /// How numbers and dates are written where a recipient does not say.
    pub notation: &'c Notation,
    /// Hosts of the own network that tokens go to without TLS.
    pub clear_token_hosts: &'c [String],
}

/// What the members' tables are checked against, and what was seen so far.
struct Context<'c> {
    known: KnownIds<'c>,
    member_ids: HashSet<String>,
    site_ids: HashSet<String>,
    /// Those of the member that is read now.
    own_sites: Vec<String>,
    recipient_ids: HashSet<String>,
    addresses: BTreeMap<String, Addresses>,
}

pub(super) fn members(
    top: &Fields<'_, '_>,
    known: KnownIds<'_>,
) -> Option<(Vec<Member>, BTreeMap<String, Addresses>)> {
    let mut context = Context {
        known,
        member_ids: HashSet::new(),
        site_ids: HashSet::new(),
        own_sites: Vec::new(),
        recipient_ids: HashSet::new(),
        addresses: BTreeMap::new(),
    };
    if !top.has("member") {
        top.page()
            .error(top.at(), "the file needs at least one [[member]]");
    }
    let members: Vec<Option<Member>> = top
        .tables("member")
        .into_iter()
        .map(|table| member(table, &mut context))
        .collect();
    let members: Option<Vec<Member>> = members.into_iter().collect();
    Some((members?, context.addresses))
}

/// Notes an id that was used before.
fn unique(table: &Fields<'_, '_>, id: &Located<String>, seen: &mut HashSet<String>) {
    if !seen.insert(id.value.clone()) {
        table.page().error(
            id.at.clone(),
            format!(
                "{} \"{}\" is there twice; ids are unique",
                table.name(),
                id.value
            ),
        );
    }
}

fn member(table: Fields<'_, '_>, context: &mut Context<'_>) -> Option<Member> {
    let id = table.required_id("id", "mill-lane");
    if let Some(id) = &id {
        unique(&table, id, &mut context.member_ids);
    }
    let name = required_name(&table, "name", "Mill Lane Garden");
    let answer_to = answer_to(&table);
    let site_tables = table.tables("site");
    if site_tables.is_empty() {
        table.page().error(
            table.at(),
            "a [[member]] needs at least one [[member.site]]",
        );
    }
    let sites: Vec<Option<Site>> = site_tables
        .into_iter()
        .map(|table| site(table, context))
        .collect();
    let own_sites = std::mem::take(&mut context.own_sites);
    let recipient_tables = table.tables("recipient");
    if recipient_tables.is_empty() {
        table.page().warning(
            table.at(),
            "this [[member]] has no [[member.recipient]], so nobody is told",
        );
    }
    let recipients: Vec<Option<Recipient>> = recipient_tables
        .into_iter()
        .map(|table| recipient(table, &own_sites, context))
        .collect();
    table.finish();
    Some(Member {
        id: id?.value,
        name: name?.value,
        answer_to,
        sites: sites.into_iter().collect::<Option<_>>()?,
        recipients: recipients.into_iter().collect::<Option<_>>()?,
    })
}

fn site(table: Fields<'_, '_>, context: &mut Context<'_>) -> Option<Site> {
    let id = table.required_id("id", "front-lawn");
    if let Some(id) = &id {
        unique(&table, id, &mut context.site_ids);
        context.own_sites.push(id.value.clone());
    }
    let name = required_name(&table, "name", "Front lawn");
    let turf = required_name(&table, "turf", "perennial ryegrass, irrigated");
    let latitude = table.required_number("latitude", -66.0..=66.0, "41.8");
    let stations = stations_of(&table, context);
    let species = table.texts("species");
    if species.as_ref().is_none_or(Vec::is_empty) {
        table.page().error(
            table.at(),
            "a site needs species, for example species = [\"japanese-beetle\"]",
        );
    }
    let species = species.unwrap_or_default();
    check_species(&table, &species, context);
    let condition = table.choice("condition", &TurfCondition::NAMED);
    let samples = table.choice("samples", &SampleKind::NAMED);
    let area = area(&table);
    let choice = choice(&table, context.known.options);
    table.finish();
    Some(Site {
        id: id?.value,
        name: name?.value,
        turf: turf?.value,
        condition: condition.map(|condition| condition.value),
        samples: samples.map_or(SampleKind::default(), |samples| samples.value),
        area,
        choice,
        latitude: latitude?.value,
        station: stations.as_ref()?.0.clone(),
        blend: stations?.1,
        species: species.into_iter().map(|species| species.value).collect(),
    })
}

/// The weight of a station that names none, and the span of weights.
const USUAL_WEIGHT: f64 = 1.0;
const WEIGHTS: std::ops::RangeInclusive<f64> = 0.01..=100.0;

/// A site's station, or the first of several with all of them.
fn stations_of(table: &Fields<'_, '_>, context: &Context<'_>) -> Option<(String, Option<Blend>)> {
    let known = |id: &Located<String>| {
        let stations = context.known.stations;
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
        let station = table.required_text("station", "harbour-meadow")?;
        known(&station);
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
        known(&id);
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

fn check_species(table: &Fields<'_, '_>, species: &[Located<String>], context: &Context<'_>) {
    let known = context.known.species;
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
fn one_of<'k>(
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

fn recipient(
    table: Fields<'_, '_>,
    own_sites: &[String],
    context: &mut Context<'_>,
) -> Option<Recipient> {
    let id = table.required_id("id", "ada");
    if let Some(id) = &id {
        unique(&table, id, &mut context.recipient_ids);
    }
    let name = required_name(&table, "name", "Ada");
    let (channels, addresses) = addresses(&table, context);
    if channels.is_empty() {
        table.page().error(
            table.at(),
            "a recipient needs a way to be reached: email, push, console = true or file",
        );
    }
    let sites = table.texts("sites");
    for site in sites.iter().flatten() {
        one_of(
            &table,
            site,
            "site of this member",
            own_sites.iter().map(String::as_str),
        );
    }
    let species = table.texts("species");
    check_species(&table, species.as_deref().unwrap_or_default(), context);
    let mut reception = reception(&table);
    let at_machine = table.flag("at_machine");
    let notation = notation(&table, context.known.notation);
    table.finish();
    let id = id?.value;
    context.addresses.insert(id.clone(), addresses);
    let sites: Vec<String> = match sites {
        Some(sites) => sites.into_iter().map(|site| site.value).collect(),
        None => own_sites.to_vec(),
    };
    if sites.len() > MOST_SITES_AT_ONCE && reception.digest.is_none() {
        reception.digest = Some(DigestRhythm::USUAL);
    }
    Some(Recipient {
        id,
        name: name?.value,
        channels,
        sites,
        species: species.map(|all| all.into_iter().map(|one| one.value).collect()),
        reception,
        at_machine,
        notation: notation?,
    })
}

fn addresses(table: &Fields<'_, '_>, context: &Context<'_>) -> (Vec<Channel>, Addresses) {
    let mut channels = Vec::new();
    let mut addresses = Addresses::default();
    if let Some(email) = table.text("email") {
        if let Err(error) = check_address(&email.value) {
            table.page().error(email.at.clone(), error);
        }
        if !context.known.has_mail_server {
            table.page().error(
                email.at,
                "mail needs a mail server: add a table [email] with host, security and from",
            );
        }
        channels.push(Channel::Email);
        addresses.email = Some(email.value);
    }
    if let Some(push) = table.table("push") {
        channels.push(Channel::Push);
        addresses.push = push_address(push, &context.known);
    }
    if table.flag("console") {
        channels.push(Channel::Console);
    }
    if let Some(file) = path_in(table, "file", context.known.folder) {
        channels.push(Channel::File);
        addresses.file = Some(file);
    }
    (channels, addresses)
}

fn push_address(table: Fields<'_, '_>, known: &KnownIds<'_>) -> Option<PushAddress> {
    let url = table
        .required_text("url", "https://push.example.org/turf")
        .and_then(|url| checked_url(&table, "url", &url));
    let format = table.required_choice("format", &PushFormat::NAMED);
    let token = secret(&table, "token_file", "token_credential", known.folder);
    refuse_plain_secret(&table, "token");
    if let (Some(url), Some(_)) = (&url, &token)
        && url.scheme() == "http"
        && let Some(host) = url.host_str()
        && !is_loopback(host)
        && !known.clear_token_hosts.iter().any(|one| one == host)
    {
        table.page().error(
            table.at(),
            format!(
                "the token would go to {host} without encryption; use https://, or, for a server in \
                 your own network, clear_token_hosts = [\"{host}\"] under [service]"
            ),
        );
    }
    table.finish();
    Some(PushAddress {
        url: url?,
        format: format?.value,
        token,
    })
}
