//! The forms as values: their fields, each with its label, what was typed, and what is wrong with it.

use super::kind::EntryKind;
use super::sent::{Sent, unit_of};
use crate::config::Config;
use crate::domain::notation::Units;
use crate::domain::place::site::Site;
use crate::domain::scouting::SampleKind;
use crate::entries::{EARLIER_SEASON, PART, SURE};

/// A field of a form.
#[derive(Debug, Clone)]
pub(super) struct FormField {
    /// Its name in the form.
    pub name: &'static str,
    /// What it is called.
    pub label: String,
    /// How to fill it in.
    pub hint: String,
    /// How it is filled in.
    pub input: Input,
    /// What it holds.
    pub value: String,
    /// What is wrong with it.
    pub error: Option<String>,
}

/// How a field is filled in.
#[derive(Debug, Clone)]
pub(super) enum Input {
    /// A line.
    Line,
    /// A date.
    Date,
    /// A time of day.
    Time,
    /// A whole number.
    Whole,
    /// A number with one of some units, of which this one is picked.
    Measured(Vec<String>, String),
    /// One of some values, each with its words.
    Choice(Vec<(String, String)>),
    /// A box to tick.
    Tick,
    /// A whole number for each plug or flap.
    Samples(Vec<String>),
}

/// What is wrong with what was sent: the field, and why. An empty name is the form as a whole.
pub(super) type Wrong = Vec<(&'static str, String)>;

/// Fields under one heading.
#[derive(Debug, Clone)]
pub(super) struct FormGroup {
    /// Set for one that is folded away unless something in it is filled in.
    pub heading: Option<&'static str>,
    /// Whether it is unfolded.
    pub open: bool,
    /// Its fields.
    pub fields: Vec<FormField>,
}

/// What forms are made for.
#[derive(Clone, Copy)]
pub(super) struct FormOf<'f> {
    /// What is configured.
    pub config: &'f Config,
    /// The site.
    pub site: &'f Site,
    /// What is entered.
    pub kind: EntryKind,
    /// How many fields for samples there are at least.
    pub samples: usize,
}

/// What a form asks of a catch without a number.
pub(super) const UNCOUNTED: &str = "Adults were seen, not counted";

/// Units with those of the viewer's notation first.
fn ordered(units: Units, metric: &[&str], us: &[&str]) -> Vec<String> {
    let (first, then) = match units {
        Units::Metric => (metric, us),
        Units::Us => (us, metric),
    };
    first.iter().chain(then).map(|&unit| unit.into()).collect()
}

impl FormOf<'_> {
    /// The fields with what they hold and what is wrong with them.
    pub fn groups(&self, sent: &Sent, wrong: &Wrong) -> Vec<FormGroup> {
        let make = Maker {
            units: self.config.service.notation.units,
            sent,
            wrong,
        };
        let mut fields = vec![make.field("date", "Day", "", Input::Date)];
        let mut record = Vec::new();
        match self.kind {
            EntryKind::Application => {
                fields.extend(self.application(&make));
                record = spray_record(&make);
            }
            EntryKind::Water => fields.push(make.measured(
                "depth",
                "How deep",
                "all the water of the day together",
                (&["mm", "cm", "l/m²"], &["in"]),
            )),
            EntryKind::Count => fields.extend(self.count(&make)),
            EntryKind::Catch => {
                fields.push(self.species(&make, "Adults of"));
                fields.push(make.field(
                    "beetles",
                    "How many",
                    "0 where the trap was empty; with numbers of several days the peak counts as well",
                    Input::Whole,
                ));
                fields.push(make.field("uncounted", UNCOUNTED, "", Input::Tick));
                fields.push(make.field("sure", SURE, "", Input::Tick));
            }
            EntryKind::Damage => fields.push(make.field(
                "damage",
                "Did grubs do damage?",
                "",
                Input::Choice(vec![
                    (String::new(), "pick what you saw".into()),
                    ("yes".into(), "yes, grubs did damage".into()),
                    ("no".into(), "no, looked and found none".into()),
                ]),
            )),
            EntryKind::Note => {}
        }
        fields.push(make.field("remark", "Remark", "", Input::Line));
        let mut groups = vec![FormGroup {
            heading: None,
            open: true,
            fields,
        }];
        if !record.is_empty() {
            let is_used = |field: &FormField| field.error.is_some() || !field.value.is_empty();
            groups.push(FormGroup {
                heading: Some("For the record, as your law asks for it"),
                open: record.iter().any(is_used),
                fields: record,
            });
        }
        groups
    }

    fn species(&self, make: &Maker<'_>, label: &str) -> FormField {
        let named = |id: &String| {
            let name = self.config.species.get(id).map(|one| one.name.clone());
            (id.clone(), name.unwrap_or_else(|| id.clone()))
        };
        let all = self.site.species.iter().map(named).collect();
        make.field("species", label, "", Input::Choice(all))
    }

    fn application(&self, make: &Maker<'_>) -> Vec<FormField> {
        let considered = |considers: bool| {
            self.config
                .options
                .values()
                .filter(move |option| self.site.choice.considers(option) == considers)
                .map(|option| (option.id.clone(), option.name.clone()))
        };
        let mut options = vec![(String::new(), "pick what was spread".to_owned())];
        options.extend(considered(true).chain(considered(false)));
        let area = if self.site.area.is_some() {
            "the whole site if left empty"
        } else {
            ""
        };
        vec![
            make.field("option", "Active ingredient", "", Input::Choice(options)),
            make.measured(
                "area",
                "Turf it went on",
                area,
                (&["m²", "ha"], &["ft²", "acre"]),
            ),
            make.measured("rate", "Rate", "as on the label", RATES),
            make.measured(
                "most_a_season",
                "Most a season by the label",
                "goes on to hold for later entries",
                RATES,
            ),
            make.field("earlier_season", EARLIER_SEASON, "", Input::Tick),
        ]
    }

    fn count(&self, make: &Maker<'_>) -> Vec<FormField> {
        let (one, each) = match self.site.samples {
            SampleKind::Flap => ("flap", "Larvae in each flap"),
            SampleKind::Plug => ("plug", "Larvae in each plug"),
        };
        let mut values: Vec<String> = make.sent.all("each").map(str::to_owned).collect();
        if values.len() < self.samples {
            values.resize(self.samples, String::new());
        }
        let hint = format!("0 where there were none; empty is a {one} that was not dug");
        let density = make.units == Units::Us;
        let per_area = if density { "per ft²" } else { "per m²" };
        let mut fields = vec![
            self.species(make, "Larvae of"),
            make.field("each", each, &hint, Input::Samples(values)),
            make.measured(
                "area",
                &format!("Area of one {one}"),
                "",
                (&["cm²", "m²"], &["ft²"]),
            ),
            make.field(
                "larvae",
                "Or larvae in all",
                "where they were not written down one by one",
                Input::Whole,
            ),
            make.field("samples", &format!("in how many {one}s"), "", Input::Whole),
        ];
        if make.sent.has("density") {
            let label = format!("Or larvae {per_area}");
            fields.push(make.field("density", &label, "", Input::Line));
        }
        fields
    }
}

/// Units of rates: metric and those of the United States.
const RATES: (&[&str], &[&str]) = (
    &[
        "kg/ha",
        "g/m²",
        "l/ha",
        "ml/100 m²",
        "million/m²",
        "billion/ha",
    ],
    &[
        "lb/acre",
        "oz/1000 ft²",
        "fl oz/1000 ft²",
        "fl oz/acre",
        "gal/acre",
        "billion/acre",
    ],
);

fn spray_record(make: &Maker<'_>) -> Vec<FormField> {
    vec![
        make.field("product", "Product", "as its label names it", Input::Line),
        make.field(
            "registration",
            "Registration number",
            "as its label has it",
            Input::Line,
        ),
        make.field("part", PART, "if not all of it", Input::Line),
        make.field("started", "Begun at", "", Input::Time),
        make.field("ended", "Done at", "", Input::Time),
        make.field("applicator", "Applied by", "", Input::Line),
        make.field("certificate", "Certificate or licence", "", Input::Line),
        make.field("target", "Against", "", Input::Line),
        make.measured("wind", "Wind", "", (&["km/h", "m/s"], &["mph", "knots"])),
        make.field("wind_from", "Wind from", "", Input::Line),
        make.measured("temperature", "Air", "", (&["°C"], &["°F"])),
    ]
}

/// Makes fields with what was sent.
struct Maker<'m> {
    units: Units,
    sent: &'m Sent,
    wrong: &'m Wrong,
}

impl Maker<'_> {
    fn field(&self, name: &'static str, label: &str, hint: &str, input: Input) -> FormField {
        let error = self.wrong.iter().find(|(field, _)| *field == name);
        FormField {
            name,
            label: label.to_owned(),
            hint: hint.to_owned(),
            input,
            value: self.sent.one(name).to_owned(),
            error: error.map(|(_, why)| why.clone()),
        }
    }

    fn measured(
        &self,
        name: &'static str,
        label: &str,
        hint: &str,
        (metric, us): (&[&str], &[&str]),
    ) -> FormField {
        let mut units = ordered(self.units, metric, us);
        let picked = self.sent.one(&unit_of(name)).to_owned();
        if !picked.is_empty() && !units.contains(&picked) {
            units.push(picked.clone());
        }
        self.field(name, label, hint, Input::Measured(units, picked))
    }
}
