//! A `[[station]]` block for what `hatchbell feed try` found.

use crate::config::dialect_file;
use crate::domain::weather::reading::newest_complete;
use crate::feed::trial::Trial;
use crate::station_feed::origin::Origin;
use chrono::NaiveDate;
use std::path::Path;

/// A newest day older than this, days, is an archive's, and says nothing of the feed's usual lag.
const OLDEST_FEED_DAYS: i64 = 30;

/// The block, ready to copy; what the owner should look at stands in comments.
pub(super) fn block(trial: &Trial<'_>, origin: &Origin, place: &str, today: NaiveDate) -> String {
    let dialect = trial.dialect;
    let id = id(trial, origin);
    let mut lines = if dialect.model {
        vec![
            "[station.forecast]   # a model: below the [[station]] that it looks ahead for"
                .to_owned(),
        ]
    } else {
        vec![
            "[[station]]".to_owned(),
            format!("id = {}", quoted(&id)),
            format!("name = {}", quoted(&id)),
        ]
    };
    lines.push(format!("dialect = {}", quoted(&dialect.name)));
    if !dialect_file::is_built_in(&dialect.name) {
        lines.push("# your own: put its file into the folder that dialect_dir names".to_owned());
    }
    if dialect.units.len() > 1 {
        let open = if trial.is_unit_open() {
            "   # not sure: see above"
        } else {
            ""
        };
        lines.push(format!("unit = {}{open}", quoted(trial.unit.name())));
    }
    lines.push(match origin {
        _ if dialect.import_only => {
            format!(
                "# no address: bring its files with hatchbell import --station {id} FILE\n\
                 # usual_lag_days = 30   # to be told when files stay away; without it nobody waits for them"
            )
        }
        Origin::Url(_) => format!("url = {}", quoted(place)),
        _ => format!("file = {}", quoted(&whole_path(place))),
    });
    if let Some(code) = &trial.code {
        lines.push(format!("code = {}", quoted(code)));
    }
    lines.extend(lag(trial, today));
    if let Some(advice) = &dialect.advice {
        lines.push(format!("# {advice}"));
    }
    lines.join("\n")
}

/// The usual lag: the dialect's, or what the file shows today.
fn lag(trial: &Trial<'_>, today: NaiveDate) -> Option<String> {
    if trial.dialect.import_only || trial.dialect.model {
        return None;
    }
    if let Some(days) = trial.dialect.usual_lag_days {
        return Some(format!("usual_lag_days = {days}"));
    }
    let newest = newest_complete(&trial.parsed.readings)?;
    let days = (today - newest).num_days().max(0);
    (days <= OLDEST_FEED_DAYS)
        .then(|| format!("usual_lag_days = {days}   # as today; look again on another day"))
}

/// An id from the station's code, or from the place's name.
pub(super) fn id(trial: &Trial<'_>, origin: &Origin) -> String {
    let text = match (&trial.code, origin) {
        (Some(code), _) => format!("station-{code}"),
        (None, Origin::File(path)) => super::stem(path),
        (None, Origin::Url(url)) => super::stem(Path::new(url.path())),
        (None, Origin::ByHand) => String::new(),
    };
    let slug: String = text
        .chars()
        .map(|c| c.to_ascii_lowercase())
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .collect();
    match slug.trim_matches('-') {
        "" => "my-station".to_owned(),
        slug => slug.to_owned(),
    }
}

fn whole_path(place: &str) -> String {
    let path = std::path::absolute(place).unwrap_or_else(|_| place.into());
    path.display().to_string()
}

/// A text in TOML's quotes.
fn quoted(text: &str) -> String {
    let escaped: String = text
        .chars()
        .map(|c| match c {
            '"' => "\\\"".to_owned(),
            '\\' => "\\\\".to_owned(),
            c if c.is_control() => format!("\\u{:04X}", u32::from(c)),
            c => c.to_string(),
        })
        .collect();
    format!("\"{escaped}\"")
}
