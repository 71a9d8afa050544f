//! `hatchbell log list`: the entries that stand, as a table or JSON.

use super::{ShownConfig, or_exit, say};
use crate::domain::journal::{Application, Entry, JournalAction, SprayRecord};
use crate::domain::notation::Notation;
use crate::domain::scouting::Found;
use crate::entries::whole_action;
use crate::store::Store;
use chrono::NaiveTime;
use clap::Args;
use comfy_table::{ContentArrangement, Table, presets};
use serde_json::{Map, Value, json};
use std::process::ExitCode;

/// List the entries that stand
#[derive(Args)]
pub(super) struct ListOptions {
    #[command(flatten)]
    config: ShownConfig,
    /// Only those of one site, by its id
    #[arg(value_name = "SITE")]
    of: Option<String>,
    /// The same
    #[arg(long, value_name = "ID", conflicts_with = "of")]
    site: Option<String>,
    /// Print them as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &ListOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.config.load()).config;
    let site = options.of.as_ref().or(options.site.as_ref());
    if let Some(site) = site {
        crate::cli::site(&config, site)?;
    }
    let store = Store::open_to_read(&config.service.database)?;
    let entries = match site {
        Some(site) => store.entries(site)?,
        None => store.all_entries()?,
    };
    if options.json {
        let all: Vec<Value> = entries.iter().map(as_json).collect();
        say!("{}", serde_json::to_string_pretty(&all)?);
    } else if entries.is_empty() {
        say!("nothing is logged yet");
    } else {
        say!("{}", table(&entries, &config.service.notation));
    }
    Ok(ExitCode::SUCCESS)
}

fn table(entries: &[Entry], notation: &Notation) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic);
    table.set_header(["number", "site", "day", "kind", "what"]);
    for entry in entries {
        let remark = entry
            .remark
            .as_ref()
            .map_or(String::new(), |remark| format!(" (\"{remark}\")"));
        table.add_row([
            entry.number.to_string(),
            entry.site.clone(),
            entry.day.to_string(),
            entry.action.kind().to_owned(),
            format!("{}{remark}", whole_action(&entry.action, notation)),
        ]);
    }
    table.trim_fmt()
}

/// An entry with what was stated, and the same in base units.
fn as_json(entry: &Entry) -> Value {
    let mut all = fields(json!({
        "number": entry.number,
        "site": entry.site,
        "day": entry.day,
        "kind": entry.action.kind(),
    }));
    all.extend(match &entry.action {
        JournalAction::Catch { species, beetles } => {
            fields(json!({ "species": species, "beetles": beetles }))
        }
        JournalAction::Application(spread) => application(spread),
        JournalAction::Count { species, found } => count(species, found),
        JournalAction::Irrigation { depth } => {
            fields(json!({ "depth": depth.to_string(), "depth_mm": depth.mm() }))
        }
        JournalAction::Note { damage } => fields(json!({ "damage": damage })),
    });
    all.insert("remark".to_owned(), json!(entry.remark));
    Value::Object(all)
}

fn application(spread: &Application) -> Map<String, Value> {
    fields(json!({
        "option": spread.option,
        "area": spread.area.to_string(),
        "area_m2": spread.area.m2(),
        "rate": spread.rate.map(|rate| rate.to_string()),
        "amount": spread.rate.map(|rate| rate.on(spread.area).to_string()),
        "most_a_season": spread.most_a_season.map(|most| most.to_string()),
        "record": record(&spread.record),
    }))
}

fn record(record: &SprayRecord) -> Value {
    let time = |time: Option<NaiveTime>| time.map(|time| time.format("%H:%M").to_string());
    json!({
        "product": record.product,
        "registration": record.registration,
        "part": record.part,
        "started": time(record.started),
        "ended": time(record.ended),
        "applicator": record.applicator,
        "certificate": record.certificate,
        "target": record.target,
        "wind": record.wind.map(|wind| wind.to_string()),
        "wind_from": record.wind_from,
        "temperature": record.temperature.map(|warmth| warmth.to_string()),
    })
}

fn count(species: &str, found: &Found) -> Map<String, Value> {
    let mut all = fields(json!({ "species": species, "per_m2": found.mean_per_m2() }));
    if let Found::Samples(count) = found {
        let density = count.density();
        all.extend(fields(json!({
            "per_m2_low": density.low_per_m2,
            "per_m2_high": density.high_per_m2,
            "samples": count.samples(),
            "sample_m2": count.area().m2(),
            "larvae": count.larvae(),
            "each": count.each(),
        })));
    }
    all
}

/// The fields of a JSON object.
fn fields(object: Value) -> Map<String, Value> {
    match object {
        Value::Object(fields) => fields,
        _ => Map::new(),
    }
}
