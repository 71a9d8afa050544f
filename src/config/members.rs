//! The tables `[[member]]` with their `[[member.site]]` and `[[member.recipient]]`.

use super::fields::{Fields, Located};
use super::name::required_name;
use super::notation::notation;
use super::problem::Problem;
use super::reception::reception;
use super::service::{answer_to, is_loopback, path_in, refuse_plain_secret, secret};
use super::site::{ReadSite, SiteDefaults, check_species, one_of, site};
use super::sources::Sources;
use super::stations::checked_url;
use super::{Addresses, PushAddress, member_text, sites_file};
use crate::domain::notation::Notation;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::{Channel, Member, PageAccess, Recipient};
use crate::domain::telling::notice::MOST_SITES_AT_ONCE;
use crate::domain::telling::reception::DigestRhythm;
use crate::domain::treatment::option::TreatmentOption;
use crate::notify::email::check_address;
use crate::notify::push::PushFormat;
use indexmap::IndexSet;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;
use toml::de::DeTable;

/// What the members' tables are checked against.
pub(super) struct KnownIds<'c> {
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
    /// Where files of sites are read from.
    pub sources: &'c Sources,
    /// Whether there is a page that people sign in to, and browsers may be told to show notices of.
    pub page_takes_browsers: bool,
    /// Hosts of the own network that tokens go to without TLS.
    pub clear_token_hosts: &'c [String],
    /// The main file, which alone gives rights over other members.
    pub main: &'c str,
}

/// An id that must be there once in the whole install.
pub(super) struct Claim {
    /// What has it, for example `[[member.site]]`.
    pub kind: &'static str,
    /// The id.
    pub id: String,
    /// The error, should somebody else have it.
    pub clash: Problem,
}

/// A member's tables as they were read.
pub(super) struct ReadMember {
    /// Whose problems they are.
    pub number: usize,
    /// Their id, if that can be read.
    pub id: Option<String>,
    /// The member, if all of it can be read.
    pub member: Option<Member>,
    /// Where the recipients are reached.
    pub addresses: BTreeMap<String, Addresses>,
    /// The ids that are used.
    pub claims: Vec<Claim>,
    /// The tables with every default and every row of a file of sites, as TOML.
    pub text: String,
    /// Problems in a file of sites.
    pub elsewhere: Vec<Problem>,
    /// Members that recipients manage, to be checked once all are read.
    pub manages: Vec<Located<String>>,
    /// Where recipients ask for a digest of all members' sites.
    pub coordinates: Vec<Range<usize>>,
}

const MEMBER: &str = "[[member]]";
const SITE: &str = "[[member.site]]";
const RECIPIENT: &str = "[[member.recipient]]";

impl ReadMember {
    /// Whether it has a site, or a file of sites that cannot be read.
    pub(super) fn has_site(&self) -> bool {
        let mut claims = self.claims.iter();
        claims.any(|claim| claim.kind == SITE) || !self.elsewhere.is_empty()
    }

    /// Whether a recipient has this id.
    pub(super) fn names_recipient(&self, id: &str) -> bool {
        let mut claims = self.claims.iter();
        claims.any(|claim| claim.kind == RECIPIENT && claim.id == id)
    }

    fn claim(&mut self, table: &Fields<'_, '_>, kind: &'static str, id: &Located<String>) {
        let text = format!("{kind} \"{}\" is there twice; ids are unique", id.value);
        self.claims.push(Claim {
            kind,
            id: id.value.clone(),
            clash: table.page().problem(id.at.clone(), text),
        });
    }
}

/// Reads a member's table; `number` is whose the problems in it are, `folder` what its relative paths
/// start from.
pub(super) fn member<'p>(
    table: Fields<'p, 'p>,
    (number, folder): (usize, &Path),
    general: SiteDefaults<'_>,
    known: &KnownIds<'_>,
) -> ReadMember {
    let page = table.page();
    let before = page.attribute(Some(number));
    let mut read = ReadMember {
        number,
        id: None,
        member: None,
        addresses: BTreeMap::new(),
        claims: Vec::new(),
        text: String::new(),
        elsewhere: Vec::new(),
        manages: Vec::new(),
        coordinates: Vec::new(),
    };
    let id = table.required_id("id", "mill-lane");
    if let Some(id) = &id {
        read.claim(&table, MEMBER, id);
        read.id = Some(id.value.clone());
    }
    let name = required_name(&table, "name", "Mill Lane Garden");
    let answer_to = answer_to(&table);
    let defaults = [SiteDefaults::below(&table, known), general];
    let mut sites: Vec<ReadSite> = Vec::new();
    for one in table.tables("site") {
        let one = site(&one, &defaults, known);
        if let Some(id) = &one.id {
            read.claim(&table, SITE, id);
        }
        sites.push(one);
    }
    if let Some(file) = table.text("sites_file") {
        let of_file = (folder.join(&file.value), number);
        match sites_file::sites(of_file, &defaults, known) {
            Ok(from_file) => {
                read.elsewhere = from_file.problems;
                for (one, clash) in from_file.sites {
                    if let Some(id) = &one.id {
                        read.claims.push(Claim {
                            kind: SITE,
                            id: id.value.clone(),
                            clash,
                        });
                    }
                    sites.push(one);
                }
            }
            Err(why) => page.error(file.at, why),
        }
    }
    let own_sites: Vec<&str> = sites.iter().filter_map(ReadSite::id).collect();
    let recipient_tables = table.tables("recipient");
    // An office of the members has people and no site.
    if sites.is_empty() && recipient_tables.is_empty() && !table.has("sites_file") {
        page.error(
            table.at(),
            "a [[member]] needs at least one [[member.site]], or a sites_file; or a [[member.recipient]], if it is the members' office",
        );
    } else if recipient_tables.is_empty() {
        page.warning(
            table.at(),
            "this [[member]] has no [[member.recipient]], so nobody is told",
        );
    }
    let recipients: Vec<Option<Recipient>> = recipient_tables
        .into_iter()
        .map(|table| recipient(table, &own_sites, (folder, known), &mut read))
        .collect();
    read.text = text(table.values(), &sites);
    table.finish();
    page.attribute(before);
    read.member = (|| {
        Some(Member {
            id: id?.value,
            name: name?.value,
            answer_to,
            sites: sites
                .into_iter()
                .map(|one| one.site)
                .collect::<Option<_>>()?,
            recipients: recipients.into_iter().collect::<Option<_>>()?,
        })
    })();
    read
}

/// A member's tables as one document, with their sites as they are meant.
fn text(table: &DeTable<'_>, sites: &[ReadSite]) -> String {
    let mut own = table.clone();
    for key in ["site", "site_defaults", "sites_file"] {
        own.remove(key);
    }
    let sites: Vec<&str> = sites.iter().map(|one| one.text.as_str()).collect();
    format!(
        "{}site = [{}]\n",
        member_text::table(&own),
        sites.join(", ")
    )
}

fn recipient(
    table: Fields<'_, '_>,
    own_sites: &[&str],
    (folder, known): (&Path, &KnownIds<'_>),
    read: &mut ReadMember,
) -> Option<Recipient> {
    let id = table.required_id("id", "ada");
    if let Some(id) = &id {
        read.claim(&table, RECIPIENT, id);
    }
    let name = required_name(&table, "name", "Ada");
    let (channels, addresses) = addresses(&table, folder, known);
    if channels.is_empty() {
        table.page().error(
            table.at(),
            "a recipient needs a way to be reached: email, push, web_push = true, console = true or file",
        );
    }
    let sites = table.texts("sites");
    for site in sites.iter().flatten() {
        one_of(
            &table,
            site,
            "site of this member",
            own_sites.iter().copied(),
        );
    }
    let species = table.texts("species");
    check_species(
        &table,
        species.as_deref().unwrap_or_default(),
        known.species,
    );
    let mut reception = reception(&table);
    if reception.digest.is_some_and(|digest| digest.all_members) {
        read.coordinates.push(table.at_key("digest"));
    }
    let at_machine = table.flag("at_machine");
    let notation = notation(&table, known.notation);
    let page = table.choice("page", &PageAccess::NAMED);
    let manages = table.texts("manages").unwrap_or_default();
    read.manages.extend(manages.iter().cloned());
    table.finish();
    let id = id?.value;
    read.addresses.insert(id.clone(), addresses);
    let sites: Vec<String> = match sites {
        Some(sites) => sites.into_iter().map(|site| site.value).collect(),
        None => own_sites.iter().map(|&site| site.to_owned()).collect(),
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
        page: page.map(|page| page.value).unwrap_or_default(),
        manages: manages.into_iter().map(|member| member.value).collect(),
    })
}

fn addresses(
    table: &Fields<'_, '_>,
    folder: &Path,
    known: &KnownIds<'_>,
) -> (Vec<Channel>, Addresses) {
    let mut channels = Vec::new();
    let mut addresses = Addresses::default();
    if let Some(email) = table.text("email") {
        if let Err(error) = check_address(&email.value) {
            table.page().error(email.at.clone(), error);
        }
        if !known.has_mail_server {
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
        addresses.push = push_address(push, (folder, known));
    }
    if table.flag("web_push") {
        check_web_push(table, known);
        channels.push(Channel::WebPush);
    }
    if table.flag("console") {
        channels.push(Channel::Console);
    }
    if let Some(file) = path_in(table, "file", folder) {
        channels.push(Channel::File);
        addresses.file = Some(file);
    }
    (channels, addresses)
}

/// Notes that no browser can take notices.
fn check_web_push(table: &Fields<'_, '_>, known: &KnownIds<'_>) {
    if !known.page_takes_browsers {
        table.page().error(
            table.at_key("web_push"),
            "browsers take notices of a page that people sign in to, over TLS: add a table [web] with \
             sign_in = true and address = \"https://…/\"",
        );
    }
}

fn push_address(
    table: Fields<'_, '_>,
    (folder, known): (&Path, &KnownIds<'_>),
) -> Option<PushAddress> {
    let url = table
        .required_text("url", "https://push.example.org/turf")
        .and_then(|url| checked_url(&table, "url", &url));
    let format = table.required_choice("format", &PushFormat::NAMED);
    let token = secret(&table, "token_file", "token_credential", folder);
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
