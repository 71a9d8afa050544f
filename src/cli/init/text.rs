//! The configuration that the answers make, with comments for whoever goes on with it.

use crate::cli::stations::quoted;

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
    pub way: HowTold,
    pub mail_host: Option<String>,
}

/// How somebody is told.
pub(super) enum HowTold {
    Console,
    File(String),
    Email(String),
    Push(String),
}

impl HowTold {
    /// As it was meant.
    pub fn of(text: &str) -> Self {
        let text = text.to_owned();
        if text == "console" {
            Self::Console
        } else if text.contains("://") {
            Self::Push(text)
        } else if text.contains('@') && !text.contains('/') {
            Self::Email(text)
        } else {
            Self::File(text)
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
    let way = answers.way.keys();
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
    let (HowTold::Email(address), Some(host)) = (&answers.way, &answers.mail_host) else {
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
