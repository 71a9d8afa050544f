//! How the record of an application is stored: as stated, in the entry itself.

use crate::domain::journal::SprayRecord;
use chrono::NaiveTime;
use serde::{Deserialize, Serialize};

/// The record of an application as it is stored: what is not known is left out.
#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct StoredRecord {
    #[serde(skip_serializing_if = "Option::is_none")]
    product: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    registration: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    part: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    started: Option<NaiveTime>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ended: Option<NaiveTime>,
    #[serde(skip_serializing_if = "Option::is_none")]
    applicator: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    certificate: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wind: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wind_from: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature: Option<String>,
}

impl StoredRecord {
    /// `None` for a record of which nothing is known.
    pub(super) fn of(record: &SprayRecord) -> Option<Self> {
        if record.is_empty() {
            return None;
        }
        let record = record.clone();
        Some(Self {
            product: record.product,
            registration: record.registration,
            part: record.part,
            started: record.started,
            ended: record.ended,
            applicator: record.applicator,
            certificate: record.certificate,
            target: record.target,
            wind: record.wind.map(|wind| wind.to_string()),
            wind_from: record.wind_from,
            temperature: record.temperature.map(|warmth| warmth.to_string()),
        })
    }

    /// The record; `None` if something in it is not understood.
    pub(super) fn understood(self) -> Option<SprayRecord> {
        let wind = self.wind.map(|text| text.parse()).transpose().ok()?;
        let temperature = self.temperature.map(|text| text.parse()).transpose().ok()?;
        Some(SprayRecord {
            product: self.product,
            registration: self.registration,
            part: self.part,
            started: self.started,
            ended: self.ended,
            applicator: self.applicator,
            certificate: self.certificate,
            target: self.target,
            wind,
            wind_from: self.wind_from,
            temperature,
        })
    }
}
