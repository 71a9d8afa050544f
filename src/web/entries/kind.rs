//! What can be entered by a form: how a form is read, and how one is filled in beforehand.

use super::form::{FormOf, UNCOUNTED, Wrong};
use super::sent::Sent;
use crate::domain::journal::{Application, Entry, JournalAction, Refusal, SprayRecord};
use crate::domain::notation::Units;
use crate::domain::scouting::{Found, M2_IN_FT2, SampleArea};
use crate::entries::{NewEntry, NotEntered, day_of, known_option, plain, time_of, watched};
use crate::report::scout::sample_area;
use chrono::{NaiveDate, NaiveTime};

/// What a form enters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum EntryKind {
    /// Something that was spread.
    Application,
    /// Water that was given.
    Water,
    /// Larvae that were dug up.
    Count,
    /// Adults that were caught or seen.
    Catch,
    /// Whether grubs did damage.
    Damage,
    /// A remark.
    Note,
}

impl EntryKind {
    /// Each with the name it has in addresses.
    pub const NAMED: [(&'static str, EntryKind); 6] = [
        ("application", EntryKind::Application),
        ("water", EntryKind::Water),
        ("count", EntryKind::Count),
        ("catch", EntryKind::Catch),
        ("damage", EntryKind::Damage),
        ("note", EntryKind::Note),
    ];

    /// What a form for it is called.
    pub fn title(self) -> &'static str {
        match self {
            Self::Application => "What was spread",
            Self::Water => "Water that was given",
            Self::Count => "Grubs that were counted",
            Self::Catch => "Beetles that were caught or seen",
            Self::Damage => "Damage by grubs",
            Self::Note => "A note",
        }
    }

    /// That of an entry.
    pub fn of(action: &JournalAction) -> Self {
        match action {
            JournalAction::Application(_) => Self::Application,
            JournalAction::Irrigation { .. } => Self::Water,
            JournalAction::Count { .. } => Self::Count,
            JournalAction::Catch { .. } => Self::Catch,
            JournalAction::Note { damage: Some(_) } => Self::Damage,
            JournalAction::Note { damage: None } => Self::Note,
        }
    }
}

/// The field that speaks against an entry, with why.
pub(super) fn wrong_field(problem: &NotEntered, kind: EntryKind) -> (&'static str, String) {
    let field = match problem {
        NotEntered::Refused(Refusal::SecondLoad { .. }) => "part",
        NotEntered::Refused(_) => "date",
        NotEntered::Record(_) => "ended",
        NotEntered::NoOption { .. } => "option",
        NotEntered::NotLiving { is_most: false, .. } => "rate",
        NotEntered::NotLiving { is_most: true, .. } => "most_a_season",
        NotEntered::NotWatched { .. } => "species",
        NotEntered::EarlyCatch(_) => "sure",
        NotEntered::EmptyNote => "remark",
        NotEntered::Count(_) if kind == EntryKind::Count => "each",
        _ => "",
    };
    (field, problem.on_the_page())
}

/// Reads fields and collects what is wrong with them.
struct FormReading<'r> {
    sent: &'r Sent,
    wrong: Wrong,
}

impl FormReading<'_> {
    /// A value, or what is wrong with it.
    fn take<T>(&mut self, name: &'static str, read: Result<T, impl ToString>) -> Option<T> {
        match read {
            Ok(value) => Some(value),
            Err(why) => {
                self.wrong.push((name, why.to_string()));
                None
            }
        }
    }

    /// An amount with its unit, if it is there.
    fn amount<T: std::str::FromStr>(&mut self, name: &'static str) -> Option<T>
    where
        T::Err: ToString,
    {
        let text = self.sent.amount(name)?;
        let number = self.sent.one(name);
        // Its unit is picked, so what commands say of writing one would not help.
        if !is_number(number) {
            let why = format!(
                "\"{number}\" is not a number; write one with a point, like 2.5, and pick the unit beside it"
            );
            self.wrong.push((name, why));
            return None;
        }
        self.take(name, text.parse())
    }

    /// A whole number, if it is there.
    fn whole(&mut self, name: &'static str) -> Option<u32> {
        let text = self.sent.one(name);
        if text.is_empty() {
            return None;
        }
        let number = text.parse::<u32>();
        self.take(name, number.map_err(|_| WHOLE_NUMBER))
    }

    /// How many beetles, or that they were not counted: one of both, since a catch moves the season.
    fn beetles(&mut self) -> Option<u32> {
        let why = match (self.sent.has("beetles"), self.sent.has("uncounted")) {
            (true, false) => return self.whole("beetles"),
            (false, true) => return None,
            (false, false) => format!(
                "say how many, 0 where there were none, or tick \"{UNCOUNTED}\": a catch moves the dates of the season"
            ),
            (true, true) => format!("say how many, or tick \"{UNCOUNTED}\", not both"),
        };
        self.wrong.push(("beetles", why));
        None
    }

    fn time(&mut self, name: &'static str) -> Option<NaiveTime> {
        let text = self.sent.one(name);
        if text.is_empty() {
            return None;
        }
        self.take(name, time_of(text))
    }
}

/// Whether a text is a number as amounts have it: digits and a point.
fn is_number(text: &str) -> bool {
    let plain: String = text.split_whitespace().collect();
    let is_written = |c: char| c.is_ascii_digit() || c == '.' || c == '-';
    plain.chars().all(is_written) && plain.parse::<f64>().is_ok()
}

/// Bytes of a key; ours have 32.
const LONGEST_KEY: usize = 64;

const WHOLE_NUMBER: &str = "give a whole number, 0 or more";

impl FormOf<'_> {
    /// What the form says.
    ///
    /// # Errors
    /// Every field that cannot be read, with why.
    pub fn read(&self, sent: &Sent) -> Result<NewEntry, Wrong> {
        let mut reading = FormReading {
            sent,
            wrong: Vec::new(),
        };
        let day = reading.take("date", day_of(sent.one("date")));
        let action = match self.kind {
            EntryKind::Application => self.application_of(&mut reading),
            EntryKind::Water => {
                let depth = reading.amount("depth");
                if !sent.has("depth") {
                    reading.wrong.push(("depth", "say how deep".to_owned()));
                }
                depth.map(|depth| JournalAction::Irrigation { depth })
            }
            EntryKind::Count => self.count_of(&mut reading),
            EntryKind::Catch => {
                let species = self.species_of(&mut reading);
                let beetles = reading.beetles();
                species.map(|species| JournalAction::Catch { species, beetles })
            }
            EntryKind::Damage => {
                let damage = match sent.one("damage") {
                    "yes" => Ok(true),
                    "no" => Ok(false),
                    _ => Err("say yes or no"),
                };
                let damage = reading.take("damage", damage);
                damage.map(|damage| JournalAction::Note {
                    damage: Some(damage),
                })
            }
            EntryKind::Note => Some(JournalAction::Note { damage: None }),
        };
        match (day, action) {
            (Some(day), Some(action)) if reading.wrong.is_empty() => Ok(NewEntry {
                day,
                action,
                remark: plain(sent.one("remark")),
                any_season: sent.has("earlier_season"),
                key: Some(sent.one("key").to_owned())
                    .filter(|key| (1..=LONGEST_KEY).contains(&key.len())),
            }),
            _ => Err(reading.wrong),
        }
    }

    fn species_of(&self, reading: &mut FormReading<'_>) -> Option<String> {
        let species = reading.sent.one("species");
        let watched = watched(self.site, species);
        reading
            .take("species", watched)
            .map(|()| species.to_owned())
    }

    fn application_of(&self, reading: &mut FormReading<'_>) -> Option<JournalAction> {
        let sent = reading.sent;
        let option = match sent.one("option") {
            "" => Err("pick what was spread".to_owned()),
            id => known_option(self.config, id)
                .map(|option| option.id.clone())
                .map_err(|unknown| unknown.to_string()),
        };
        let option = reading.take("option", option);
        let area = reading.amount("area");
        let area = if sent.has("area") {
            area
        } else {
            self.site.area
        };
        if area.is_none() && !sent.has("area") {
            let why = "how much turf did it go on?".to_owned();
            reading.wrong.push(("area", why));
        }
        let rate = reading.amount("rate");
        let most_a_season = reading.amount("most_a_season");
        let record = SprayRecord {
            product: plain(sent.one("product")),
            registration: plain(sent.one("registration")),
            part: plain(sent.one("part")),
            started: reading.time("started"),
            ended: reading.time("ended"),
            applicator: plain(sent.one("applicator")),
            certificate: plain(sent.one("certificate")),
            target: plain(sent.one("target")),
            wind: reading.amount("wind"),
            wind_from: plain(sent.one("wind_from")),
            temperature: reading.amount("temperature"),
        };
        Some(JournalAction::Application(Application {
            option: option?,
            area: area?,
            rate,
            most_a_season,
            record: Box::new(record),
        }))
    }

    fn count_of(&self, reading: &mut FormReading<'_>) -> Option<JournalAction> {
        let sent = reading.sent;
        let species = self.species_of(reading);
        let dug: Vec<&str> = sent.all("each").filter(|text| !text.is_empty()).collect();
        let each: Result<Vec<u32>, _> = dug.iter().map(|text| text.parse()).collect();
        let each = reading.take("each", each.map_err(|_| WHOLE_NUMBER))?;
        let area: Option<SampleArea> = reading.amount("area");
        let (larvae, samples) = (reading.whole("larvae"), reading.whole("samples"));
        let found = if !each.is_empty() {
            let area = area.or_else(|| reading.take("area", Err("how large is one?")))?;
            let number = u32::try_from(each.len()).unwrap_or(u32::MAX);
            let sum = each
                .iter()
                .fold(0, |sum: u32, one| sum.saturating_add(*one));
            let list = Found::of_samples(
                samples.unwrap_or(number),
                area,
                larvae.unwrap_or(sum),
                Some(each),
            );
            reading.take("each", list)
        } else if larvae.is_some() || samples.is_some() {
            let area = area.or_else(|| reading.take("area", Err("how large is one?")));
            let larvae = larvae.or_else(|| reading.take("larvae", Err("how many in all?")));
            let samples = samples.or_else(|| reading.take("samples", Err("in how many?")));
            reading.take("larvae", Found::of_samples(samples?, area?, larvae?, None))
        } else if sent.has("density") {
            let number = sent.one("density").parse::<f64>();
            let density = reading.take("density", number.map_err(|_| "give a number"))?;
            let per_m2 = match self.config.service.notation.units {
                Units::Metric => density,
                Units::Us => density / M2_IN_FT2,
            };
            reading.take("density", Found::of_density(per_m2))
        } else {
            reading.take("each", Err("say what was found; 0 if nothing was"))
        };
        Some(JournalAction::Count {
            species: species?,
            found: found?,
        })
    }

    /// A form for something new, filled in as far as it is known: of today, with what the task that led
    /// here is about.
    pub fn blank(&self, today: NaiveDate, task: &Sent) -> Sent {
        let mut sent = Sent::default();
        sent.fill("date", today.to_string());
        let option = self.config.options.get(task.one("option"));
        match (self.kind, option) {
            (EntryKind::Application, option) => {
                if let Some(option) = option {
                    sent.fill("option", option.id.clone());
                }
                if let Some(area) = self.site.area {
                    sent.fill_amount("area", &area.to_string());
                }
            }
            (EntryKind::Water, Some(option)) => {
                let mm = option.watering_in.depth_mm.value;
                match self.config.service.notation.units {
                    Units::Metric => sent.fill_amount("depth", &format!("{mm:.0} mm")),
                    Units::Us => sent.fill_amount("depth", &format!("{:.2} in", mm / 25.4)),
                }
            }
            (EntryKind::Count, _) => {
                sent.fill_amount("area", &sample_area(self.site.samples.area()));
            }
            _ => {}
        }
        sent
    }

    /// The form of an entry that stands.
    pub fn filled(&self, entry: &Entry) -> Sent {
        let mut sent = Sent::default();
        sent.fill("date", entry.day.to_string());
        sent.fill("remark", entry.remark.clone().unwrap_or_default());
        match &entry.action {
            JournalAction::Application(spread) => fill_application(&mut sent, spread),
            JournalAction::Irrigation { depth } => {
                sent.fill_amount("depth", &depth.to_string());
            }
            JournalAction::Count { species, found } => {
                sent.fill("species", species);
                self.fill_count(&mut sent, found);
            }
            JournalAction::Catch { species, beetles } => {
                sent.fill("species", species);
                match beetles {
                    Some(beetles) => sent.fill("beetles", beetles.to_string()),
                    None => sent.fill("uncounted", "yes"),
                }
            }
            JournalAction::Note { damage } => {
                let damage = damage.map(|damage| if damage { "yes" } else { "no" });
                sent.fill("damage", damage.unwrap_or_default());
            }
        }
        sent
    }

    fn fill_count(&self, sent: &mut Sent, found: &Found) {
        match found {
            Found::Samples(count) => {
                sent.fill_amount("area", &sample_area(count.area()));
                match count.each() {
                    Some(each) => {
                        for larvae in each {
                            sent.fill("each", larvae.to_string());
                        }
                    }
                    None => {
                        sent.fill("larvae", count.larvae().to_string());
                        sent.fill("samples", count.samples().to_string());
                    }
                }
            }
            Found::Density(per_m2) => {
                let density = match self.config.service.notation.units {
                    Units::Metric => *per_m2,
                    Units::Us => per_m2 * M2_IN_FT2,
                };
                sent.fill("density", density.to_string());
            }
        }
    }
}

fn fill_application(sent: &mut Sent, spread: &Application) {
    sent.fill("option", spread.option.clone());
    sent.fill_amount("area", &spread.area.to_string());
    if let Some(rate) = spread.rate {
        sent.fill_amount("rate", &rate.to_string());
    }
    if let Some(most) = spread.most_a_season {
        sent.fill_amount("most_a_season", &most.to_string());
    }
    let record = &spread.record;
    let texts = [
        ("product", &record.product),
        ("registration", &record.registration),
        ("part", &record.part),
        ("applicator", &record.applicator),
        ("certificate", &record.certificate),
        ("target", &record.target),
        ("wind_from", &record.wind_from),
    ];
    for (name, text) in texts {
        sent.fill(name, text.clone().unwrap_or_default());
    }
    for (name, time) in [("started", record.started), ("ended", record.ended)] {
        let time = time.map(|time| time.format("%H:%M").to_string());
        sent.fill(name, time.unwrap_or_default());
    }
    if let Some(wind) = record.wind {
        sent.fill_amount("wind", &wind.to_string());
    }
    if let Some(temperature) = record.temperature {
        sent.fill_amount("temperature", &temperature.to_string());
    }
}
