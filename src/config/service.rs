//! The tables `[service]`, `[limits]`, `[email]` and `[demo]`.

use super::fields::{Fields, Located};
use super::mention::Mentioned;
use super::name::{checked, required_name};
use super::notation::notation;
use super::problem::closest;
use super::stations::checked_url;
use super::{Demo, DemoDelivery, EmailServer, Service};
use crate::domain::notation::Notation;
use crate::domain::phenology::season_days::Limits;
use crate::domain::place::site::Member;
use crate::domain::telling::season_letter::Policy;
use crate::notify::email::{SmtpSecurity, check_address};
use crate::secret::SecretSource;
use chrono::{DateTime, Utc};
use std::path::{Path, PathBuf};
use std::str::FromStr;

/// `[service]`, with the folders that only loading needs.
pub(super) struct ServiceTable {
    pub service: Option<Service>,
    pub species_dir: Option<PathBuf>,
    pub option_dir: Option<PathBuf>,
    pub dialect_dir: Option<PathBuf>,
    /// Hosts of the own network that tokens go to without TLS.
    pub clear_token_hosts: Vec<String>,
    /// The recipient who runs the service, with its place, to be checked once members are known.
    pub operator: Option<Located<String>>,
}

pub(super) fn service(top: &Fields<'_, '_>, folder: &Path) -> ServiceTable {
    let Some(table) = top.table("service") else {
        if !top.has("service") {
            top.page()
                .error(top.at(), "the file needs a table [service]");
        }
        return ServiceTable {
            service: None,
            species_dir: None,
            option_dir: None,
            dialect_dir: None,
            clear_token_hosts: Vec::new(),
            operator: None,
        };
    };
    let name = required_name(&table, "name", "Three Brooks Turf Co-op");
    let contact = required_name(&table, "contact", "mailto:you@example.org");
    let schedule = schedule(&table);
    let database = path_in(&table, "database", folder);
    if database.is_none() && !table.has("database") {
        table.page().error(
            table.at(),
            "[service] needs database, for example database = \"/var/lib/hatchbell/hatchbell.db\"",
        );
    }
    let species_dir = path_in(&table, "species_dir", folder);
    let option_dir = path_in(&table, "option_dir", folder);
    let dialect_dir = path_in(&table, "dialect_dir", folder);
    let extra_ca_file = path_in(&table, "extra_ca_file", folder);
    let operator = table.text("operator");
    if operator.is_none() && table.has("proof_of_life") {
        table.page().error(
            table.at(),
            "proof_of_life needs somebody to tell: name a recipient as operator",
        );
    }
    let heartbeat = table
        .text("heartbeat")
        .and_then(|text| checked_url(&table, "heartbeat", &text))
        .map(Box::new);
    let proof_of_life = table.flag("proof_of_life");
    let keep_records_years = table.whole("keep_records_years", 1..=100);
    let hosts = table.texts("clear_token_hosts").unwrap_or_default();
    let clear_token_hosts = hosts.into_iter().map(|host| host.value).collect();
    let answer_to = answer_to(&table);
    let notation = notation(&table, &Notation::default()).unwrap_or_default();
    table.finish();
    let contact = contact.filter(|contact| in_a_header(top, contact));
    let service = match (name, contact, schedule, database) {
        (Some(name), Some(contact), Some(schedule), Some(database)) => Some(Service {
            name: name.value,
            answer_to: answer_to.unwrap_or_else(|| for_people(&contact.value)),
            contact: contact.value,
            schedule,
            database,
            extra_ca_file,
            heartbeat,
            proof_of_life,
            keep_records_years: keep_records_years.map(|years| years.value),
            operator: operator.as_ref().map(|id| id.value.clone()),
            notation,
        }),
        _ => None,
    };
    ServiceTable {
        service,
        species_dir,
        option_dir,
        dialect_dir,
        clear_token_hosts,
        operator,
    }
}

/// Whom people answer to, a name or an address: one line, because it stands within a sentence.
pub(super) fn answer_to(table: &Fields<'_, '_>) -> Option<String> {
    let text = table.text("answer_to")?;
    let text = checked(table, "answer_to", text, "Ada, 555 0100")?;
    Some(for_people(&text.value))
}

/// An address as people write it.
fn for_people(address: &str) -> String {
    let bare = address.strip_prefix("mailto:");
    bare.unwrap_or(address).to_owned()
}

/// Notes an operator who is no recipient.
pub(super) fn check_operator(
    top: &Fields<'_, '_>,
    operator: Option<&Located<String>>,
    members: &[Member],
) {
    let ids: Vec<&str> = members
        .iter()
        .flat_map(|member| &member.recipients)
        .map(|recipient| recipient.id.as_str())
        .collect();
    let Some(operator) = operator.filter(|operator| !ids.contains(&operator.value.as_str())) else {
        return;
    };
    let hint = match closest(&operator.value, ids.iter().copied()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("there are {}", ids.join(", ")),
    };
    top.page().error(
        operator.at.clone(),
        format!(
            "operator names \"{}\", which is no [[member.recipient]]; {hint}",
            operator.value
        ),
    );
}

fn in_a_header(top: &Fields<'_, '_>, text: &Located<String>) -> bool {
    let fine = text.value.chars().all(|c| c == ' ' || c.is_ascii_graphic());
    if !fine {
        top.page().error(
            text.at.clone(),
            "contact goes into an HTTP header and may only hold plain ASCII",
        );
    }
    fine
}

/// A cron expression with seconds: second minute hour day month weekday. Weekday numbers are
/// refused, because the crate counts Sunday as 1 and most people do not.
fn schedule(table: &Fields<'_, '_>) -> Option<cron::Schedule> {
    const EXAMPLE: &str = "0 20 5,11,17 * * *";
    let text = table.required_text("schedule", EXAMPLE)?;
    let fields: Vec<&str> = text.value.split_whitespace().collect();
    if fields.len() != 6 {
        table.page().error(
            text.at,
            format!(
                "schedule needs six fields (second minute hour day month weekday, in UTC), for example \"{EXAMPLE}\"; this has {}",
                fields.len()
            ),
        );
        return None;
    }
    if fields[5].contains(|c: char| c.is_ascii_digit()) {
        table.page().error(
            text.at,
            "name weekdays (Mon, Tue, …) instead of numbering them: numbers mean different days in different programs",
        );
        return None;
    }
    match cron::Schedule::from_str(&text.value) {
        Ok(schedule) => Some(schedule),
        Err(error) => {
            table.page().error(
                text.at,
                format!("schedule is no cron expression ({error}); for example \"{EXAMPLE}\""),
            );
            None
        }
    }
}

/// A path, relative ones from the folder of the configuration file.
pub(super) fn path_in(table: &Fields<'_, '_>, key: &'static str, folder: &Path) -> Option<PathBuf> {
    let text = table.text(key)?;
    let path = folder.join(text.value);
    let mentioned = Mentioned::Path {
        key,
        path: path.clone(),
    };
    table.page().mention(text.at, mentioned);
    Some(path)
}

pub(super) fn limits(top: &Fields<'_, '_>) -> Option<Limits> {
    let mut limits = Limits::default();
    let Some(table) = top.table("limits") else {
        return Some(limits);
    };
    if let Some(days) = table.whole("longest_gap_days", 0..=31) {
        limits.longest_gap_days = days.value;
    }
    if let Some(days) = table.whole("most_estimated_days", 0..=120) {
        limits.most_estimated_days = days.value;
    }
    table.finish();
    Some(limits)
}

pub(super) fn notices(top: &Fields<'_, '_>) -> Policy {
    let mut policy = Policy::default();
    let Some(table) = top.table("notices") else {
        return policy;
    };
    if let Some(leads) = table.wholes("leads_days", 1..=120) {
        policy.leads_days = leads;
    }
    if let Some(days) = table.whole("moved_days", 2..=60) {
        policy.moved_days = days.value;
    }
    table.finish();
    policy
}

/// A secret named by `<key>_file` or `<key>_credential`.
pub(super) fn secret(
    table: &Fields<'_, '_>,
    file_key: &'static str,
    credential_key: &'static str,
    folder: &Path,
) -> Option<SecretSource> {
    let file = table.text(file_key);
    let credential = table.text(credential_key);
    if let (Some(file), Some(_)) = (&file, &credential) {
        table.page().error(
            file.at.clone(),
            format!("give {file_key} or {credential_key}, not both"),
        );
    }
    let (at, source) = match (file, credential) {
        (Some(file), _) => (file.at, SecretSource::File(folder.join(file.value))),
        (None, Some(name)) => (name.at, SecretSource::Credential(name.value)),
        (None, None) => return None,
    };
    table.page().mention(at, Mentioned::Secret(source.clone()));
    Some(source)
}

/// `Some(None)` if there is no table.
pub(super) fn email(top: &Fields<'_, '_>, folder: &Path) -> Option<Option<EmailServer>> {
    let Some(table) = top.table("email") else {
        return Some(None);
    };
    let host = table.required_text("host", "mail.example.org");
    let security = table.required_choice("security", &SmtpSecurity::NAMED);
    let port = table.whole("port", 1..=65535);
    let from = table.required_text("from", "Turf alerts <turf@example.org>");
    if let Some(from) = &from
        && let Err(error) = check_address(&from.value)
    {
        table.page().error(from.at.clone(), error);
    }
    let username = table.text("username");
    let password = secret(&table, "password_file", "password_credential", folder);
    refuse_plain_secret(&table, "password");
    if let (Some(username), None) = (&username, &password) {
        table.page().error(
            username.at.clone(),
            "username needs password_file or password_credential beside it",
        );
    }
    if username.is_none() && password.is_some() {
        table.page().error(
            table.at(),
            "[email] has a password but no username; give both or neither",
        );
    }
    if let (Some(host), Some(security)) = (&host, &security)
        && security.value == SmtpSecurity::Plain
        && !is_loopback(&host.value)
    {
        table.page().error(
            security.at.clone(),
            "security = \"plain\" is only for a mail server on this machine; use \"starttls\" or \"tls\"",
        );
    }
    table.finish();
    let security = security?.value;
    Some(Some(EmailServer {
        host: host?.value,
        port: port.map_or(security.usual_port(), |port| port.value as u16),
        security,
        from: from?.value,
        username: username.map(|name| name.value),
        password,
    }))
}

/// Secrets never stand in the configuration text.
pub(super) fn refuse_plain_secret(table: &Fields<'_, '_>, key: &'static str) {
    if table.has(key)
        && let Some(text) = table.text(key)
    {
        table.page().error(
            text.at,
            format!(
                "a {key} does not belong into this file; put it into a file of its own (mode 0600) and name it with {key}_file, or use {key}_credential under systemd"
            ),
        );
    }
}

pub(super) fn is_loopback(host: &str) -> bool {
    host == "localhost"
        || host
            .trim_matches(['[', ']'])
            .parse::<std::net::IpAddr>()
            .is_ok_and(|address| address.is_loopback())
}

/// `Some(None)` if there is no table.
pub(super) fn demo(top: &Fields<'_, '_>) -> Option<Option<Demo>> {
    let Some(table) = top.table("demo") else {
        return Some(None);
    };
    let starts = table
        .required_text("starts", "2026-01-05T06:00:00Z")
        .and_then(|text| match DateTime::parse_from_rfc3339(&text.value) {
            Ok(instant) => Some(instant.with_timezone(&Utc)),
            Err(error) => {
                table.page().error(
                    text.at,
                    format!("starts must be an instant like \"2026-01-05T06:00:00Z\" ({error})"),
                );
                None
            }
        });
    let seconds_per_day = table.number("seconds_per_day", 0.01..=86_400.0);
    let lag = table.whole("published_lag_days", 0..=30);
    let deliver = table.choice("deliver", &DemoDelivery::NAMED);
    table.finish();
    Some(Some(Demo {
        starts: starts?,
        seconds_per_day: seconds_per_day.map_or(1.0, |seconds| seconds.value),
        published_lag_days: lag.map_or(3, |lag| lag.value),
        deliver: deliver.map_or(DemoDelivery::Console, |deliver| deliver.value),
    }))
}
