//! What is written down of an application beside option, area and rate.

use crate::domain::journal::{AirTemperature, SprayRecord, WindSpeed};
use crate::entries::{plain, time_of};
use chrono::NaiveTime;
use clap::Args;

/// What is written down of an application beside option, area and rate.
#[derive(Args)]
pub(super) struct RecordOptions {
    /// The product, as its label names it
    #[arg(long, value_name = "TEXT")]
    product: Option<String>,
    /// The number under which it is registered, as its label has it
    #[arg(long, value_name = "TEXT")]
    registration: Option<String>,
    /// The part of the site it went on
    #[arg(long, value_name = "TEXT")]
    part: Option<String>,
    /// When it was begun
    #[arg(long, value_name = "HH:MM", value_parser = time_of)]
    started: Option<NaiveTime>,
    /// When it was done
    #[arg(long, value_name = "HH:MM", value_parser = time_of)]
    ended: Option<NaiveTime>,
    /// Who applied it
    #[arg(long, value_name = "TEXT")]
    applicator: Option<String>,
    /// The number of their certificate or licence
    #[arg(long, value_name = "TEXT")]
    certificate: Option<String>,
    /// What it was to act against
    #[arg(long, value_name = "TEXT")]
    target: Option<String>,
    /// How fast the wind was: km/h, m/s, mph or knots, for example 8km/h
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    wind: Option<WindSpeed>,
    /// Where the wind came from
    #[arg(long, value_name = "TEXT")]
    wind_from: Option<String>,
    /// How warm the air was: C or F, for example 18C
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    temperature: Option<AirTemperature>,
}

impl RecordOptions {
    /// The names of what was given.
    pub(super) fn given(&self) -> impl Iterator<Item = &'static str> {
        [
            ("product", self.product.is_some()),
            ("registration", self.registration.is_some()),
            ("part", self.part.is_some()),
            ("started", self.started.is_some()),
            ("ended", self.ended.is_some()),
            ("applicator", self.applicator.is_some()),
            ("certificate", self.certificate.is_some()),
            ("target", self.target.is_some()),
            ("wind", self.wind.is_some()),
            ("wind-from", self.wind_from.is_some()),
            ("temperature", self.temperature.is_some()),
        ]
        .into_iter()
        .filter_map(|(name, given)| given.then_some(name))
    }

    /// A record with what was given in the place of what was there; "" takes a text away.
    pub(super) fn changed(&self, old: &SprayRecord) -> SprayRecord {
        let text = |new: &Option<String>, old: &Option<String>| match new {
            Some(text) => plain(text),
            None => old.clone(),
        };
        SprayRecord {
            product: text(&self.product, &old.product),
            registration: text(&self.registration, &old.registration),
            part: text(&self.part, &old.part),
            started: self.started.or(old.started),
            ended: self.ended.or(old.ended),
            applicator: text(&self.applicator, &old.applicator),
            certificate: text(&self.certificate, &old.certificate),
            target: text(&self.target, &old.target),
            wind: self.wind.or(old.wind),
            wind_from: text(&self.wind_from, &old.wind_from),
            temperature: self.temperature.or(old.temperature),
        }
    }
}
