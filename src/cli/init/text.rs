//! The configuration that the answers make, with comments for whoever goes on with it.

use crate::cli::stations::quoted;
use chrono::NaiveDate;

/// What there is to know for a first plan.
pub(super) struct Answers {
    pub name: String,
    pub contact: String,
    pub site: String,
    pub site_id: String,
    pub member_id: String,
    pub latitude: f64,
    /// The station's id.
    pub station: String,
    /// Its tables, and those of its neighbours.
    pub station_tables: String,
    pub species: Vec<String>,
    pub recipient: String,
    pub recipient_id: String,
    pub ways: Vec<HowTold>,
    pub mail_host: Option<String>,
    /// The station's first and last day, where its file was looked at.
    pub span: Option<(NaiveDate, NaiveDate)>,
}

/// How somebody is told.
pub(super) enum HowTold {
    Console,
    File(String),
    Email(String),
    Push(String),
}

impl HowTold {
    /// One way or several, with commas between, as they were meant.
    ///
    /// # Errors
    /// What is no way, with those there are.
    pub fn all_of(text: &str) -> Result<Vec<Self>, String> {
        let words = text
            .split(',')
            .map(str::trim)
            .filter(|word| !word.is_empty());
        let ways: Vec<Self> = words.map(Self::of).collect::<Result<_, _>>()?;
        let kinds: Vec<_> = ways.iter().map(std::mem::discriminant).collect();
        let is_twice = |(place, kind)| kinds[..place].contains(kind);
        match kinds.iter().enumerate().any(is_twice) {
            true => Err("give one of each kind; who is told at a second address is a [[member.recipient]] more, to be added in the file".to_owned()),
            false if ways.is_empty() => Err("give at least one".to_owned()),
            false => Ok(ways),
        }
    }

    fn of(text: &str) -> Result<Self, String> {
        let own = text.to_owned();
        if text == "console" {
            Ok(Self::Console)
        } else if text.starts_with("https://") || text.starts_with("http://") {
            Ok(Self::Push(own))
        } else if text.contains('@') && !text.contains('/') {
            Ok(Self::Email(own))
        } else if text.contains(['/', '.']) && !text.contains("://") {
            Ok(Self::File(own))
        } else {
            Err(format!(
                "\"{text}\" is no way to be told; give a mail address, the https:// address of a push server, a file with / or . in its name, or console"
            ))
        }
    }

    fn keys(&self) -> String {
        match self {
            Self::Console => {
                "console = true                  # printed by the service; or email, push, file\n"
                    .to_owned()
            }
            Self::File(path) => format!("file = {}   # appended to\n", quoted(path)),
            Self::Email(address) => format!("email = {}\n", quoted(address)),
            Self::Push(url) => format!(
                "push = {{ url = {}, format = \"text\" }}   # token_file = \"…\" where it wants one\n",
                quoted(url)
            ),
        }
    }
}

/// The whole file.
pub(super) fn configuration(answers: &Answers) -> String {
    let Answers {
        site_id,
        member_id,
        latitude,
        station_tables,
        recipient_id,
        ..
    } = answers;
    let (name, contact, site, recipient) = (
        quoted(&answers.name),
        quoted(&answers.contact),
        quoted(&answers.site),
        quoted(&answers.recipient),
    );
    let station = quoted(&answers.station);
    let species: Vec<String> = answers.species.iter().map(|id| quoted(id)).collect();
    let species = species.join(", ");
    let way: String = answers.ways.iter().map(HowTold::keys).collect();
    let mail = mail(answers);
    format!(
        r#"# Written by hatchbell init. Every key there is stands in config/hatchbell.toml of the sources. After a
# change: hatchbell check, and hatchbell reload while the service runs. Ids stay as they are, names may change.

[service]
name = {name}
contact = {contact}             # sent to weather services, so that they can ask you
schedule = "0 20 5,11,17 * * *"        # when it looks for new days, UTC: second minute hour day month weekday
database = "hatchbell.db"              # beside this file; under systemd /var/lib/hatchbell/hatchbell.db
operator = "{recipient_id}"

# A page on this machine, at http://127.0.0.1:8417/ while the service runs:
# [web]

# --- the station: where temperatures come from; hatchbell feed try shows what is understood of a file
{station_tables}
# --- whose turf it is, and whom to tell of it; more of each: a further table

[[member]]
id = "{member_id}"
name = {name}

[[member.site]]
id = "{site_id}"
name = {site}
turf = "not said"                      # in your words
latitude = {latitude:?}
station = {station}
species = [{species}]
# condition = "irrigated"              # or unirrigated, stressed: how many larvae it tolerates
# area = "450 m2"                      # for amounts of what is logged
# preventives = "every-year"           # a standing decision; without it only where counts or damage call for it

[[member.recipient]]
id = "{recipient_id}"
name = {recipient}
at_machine = true                      # is told commands of this program
{way}{mail}"#
    )
}

fn mail(answers: &Answers) -> String {
    let address = answers.ways.iter().find_map(|way| match way {
        HowTold::Email(address) => Some(address),
        _ => None,
    });
    let (Some(address), Some(host)) = (address, &answers.mail_host) else {
        return String::new();
    };
    format!(
        "\n# --- the mail server; send-test tries it\n\n[email]\nhost = {}\nsecurity = \"tls\"                       # or starttls\nfrom = {}\n\
         # username = \"…\"                       # and its password in a file that only the service can read:\n\
         # password_file = \"mail-password\"\n",
        quoted(host),
        quoted(address)
    )
}
