//! Who looks after what: members, their sites, and the people to tell.

use crate::domain::journal::amount::Area;
use crate::domain::notation::Notation;
use crate::domain::scouting::{SampleKind, TurfCondition};
use crate::domain::telling::reception::{Reception, Topic};
use crate::domain::treatment::choice::Choice;
use crate::domain::weather::blend::Blend;
use crate::domain::weather::observation_day::DayShift;

/// A weather station as the configuration names it.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Identifier in the configuration and the store.
    pub id: String,
    /// Name shown to people.
    pub name: String,
    /// Days after which its newest published day is usual, for example 4.
    pub usual_lag_days: u32,
    /// Height above sea level, m.
    pub elevation_m: Option<f64>,
    /// Stations that stand in for its missing days, by identifier.
    pub neighbours: Vec<String>,
    /// Which extremes are published a day late.
    pub day_shift: DayShift,
}

/// A piece of turf.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Identifier, unique in the whole install.
    pub id: String,
    /// Name shown to people.
    pub name: String,
    /// What grows there and how it is kept, in the member's own words.
    pub turf: String,
    /// How it stands, which decides how many larvae it tolerates; `None` is not known.
    pub condition: Option<TurfCondition>,
    /// What is dug there for a count.
    pub samples: SampleKind,
    /// How large it is.
    pub area: Option<Area>,
    /// What its people would use against grubs.
    pub choice: Choice,
    /// Latitude in degrees, north positive.
    pub latitude: f64,
    /// The station whose temperatures stand for the site; the first one where there are several.
    pub station: String,
    /// The stations, this one first, and how their days become one, where there are several.
    pub blend: Option<Blend>,
    /// The species watched for, by identifier.
    pub species: Vec<String>,
}

impl Site {
    /// The identifiers of all its stations, the first one first.
    pub fn stations(&self) -> Vec<&str> {
        match &self.blend {
            Some(blend) => blend
                .sources
                .iter()
                .map(|source| source.station.as_str())
                .collect(),
            None => vec![&self.station],
        }
    }
}

/// Somebody who is told.
#[derive(Debug, Clone, PartialEq)]
pub struct Recipient {
    /// Identifier, unique in the whole install.
    pub id: String,
    /// Name shown in messages.
    pub name: String,
    /// Ways to reach them; at least one.
    pub channels: Vec<Channel>,
    /// Sites they want to hear of, by identifier.
    pub sites: Vec<String>,
    /// Species they want to hear of, by identifier; `None` is all.
    pub species: Option<Vec<String>>,
    /// When and of what they want to hear.
    pub reception: Reception,
    /// Whether they have the machine that runs this, so that commands are worth naming to them.
    pub at_machine: bool,
    /// How they want numbers and dates written.
    pub notation: Notation,
    /// What they may do on the page.
    pub page: PageAccess,
    /// Further members whose sites they see on the page, by identifier.
    pub manages: Vec<String>,
}

/// What somebody may do on the page, at the sites they see there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PageAccess {
    /// They cannot sign in.
    None,
    /// They see.
    Read,
    /// They see and enter.
    #[default]
    Write,
}

impl PageAccess {
    /// Every choice with the name it has in configuration files.
    pub const NAMED: [(&'static str, PageAccess); 3] = [
        ("write", PageAccess::Write),
        ("read", PageAccess::Read),
        ("none", PageAccess::None),
    ];
}

impl Recipient {
    /// Whether milestones wait for this recipient's digest.
    pub fn gathers(&self) -> bool {
        self.reception.digest.is_some() && self.reception.topics.hears(Topic::Digest)
    }

    /// Whether their digest is of the sites of all members, not of their own alone.
    pub fn coordinates(&self) -> bool {
        self.reception
            .digest
            .is_some_and(|digest| digest.all_members)
    }

    /// Whether this recipient hears of something at a site that is about one of some species, or
    /// about none.
    pub fn hears_of(&self, site: &str, species: Option<&[&str]>) -> bool {
        let wants_species = match (&self.species, species) {
            (Some(wanted), Some(species)) => wanted.iter().any(|id| species.contains(&id.as_str())),
            _ => true,
        };
        wants_species && self.sites.iter().any(|id| id == site)
    }
}

/// A kind of way to reach somebody. Where it leads stays in the configuration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Channel {
    /// Mail by SMTP.
    Email,
    /// HTTP POST to the recipient's own server.
    Push,
    /// Web Push to the browsers in which the recipient has turned notices on.
    WebPush,
    /// Printed by the daemon.
    Console,
    /// Appended to a text file.
    File,
}

impl Channel {
    /// Every channel with the name it has in the store and in configuration files.
    pub const NAMED: [(&'static str, Channel); 5] = [
        ("email", Channel::Email),
        ("push", Channel::Push),
        ("web-push", Channel::WebPush),
        ("console", Channel::Console),
        ("file", Channel::File),
    ];

    /// The name in the store and in configuration files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// Whether there is room for a few words only.
    pub fn is_brief(self) -> bool {
        matches!(self, Self::Push | Self::WebPush)
    }

    /// The channel a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        crate::domain::named(&Self::NAMED, name)
    }
}

/// A member of the co-op with their own sites and recipients.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// Identifier.
    pub id: String,
    /// Name shown to people.
    pub name: String,
    /// Whom its people answer to, if it is somebody else than the service's.
    pub answer_to: Option<String>,
    /// Their sites.
    pub sites: Vec<Site>,
    /// The people to tell about these sites, and no others.
    pub recipients: Vec<Recipient>,
}
