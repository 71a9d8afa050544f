//! The keys of a `[[member.recipient]]` that say when and of what they hear.

use super::fields::Fields;
use super::problem::closest;
use crate::domain::telling::reception::{
    Cadence, DigestRhythm, QuietHours, Reception, Topic, Topics,
};
use chrono::{NaiveDate, NaiveTime, Weekday};
use chrono_tz::{TZ_VARIANTS, Tz};

/// The days of the week with their names in configuration files.
const DAYS: [(&str, Weekday); 7] = [
    ("monday", Weekday::Mon),
    ("tuesday", Weekday::Tue),
    ("wednesday", Weekday::Wed),
    ("thursday", Weekday::Thu),
    ("friday", Weekday::Fri),
    ("saturday", Weekday::Sat),
    ("sunday", Weekday::Sun),
];

/// When and of what a recipient hears; what cannot be meant is noted.
pub(super) fn reception(table: &Fields<'_, '_>) -> Reception {
    let usual = Reception::default();
    let digest = digest(table);
    refuse_bare_all_members(table);
    Reception {
        topics: topics(table, digest.is_some()),
        digest,
        quiet: quiet(table),
        zone: zone(table).unwrap_or(usual.zone),
        pause_until: pause_until(table),
    }
}

fn topics(table: &Fields<'_, '_>, has_digest: bool) -> Topics {
    let named = &Topic::NAMED;
    let Some(words) = table.texts("tell") else {
        return Topics::ALL;
    };
    let names: Vec<&str> = named.iter().map(|(name, _)| *name).collect();
    let mut topics = Vec::new();
    for word in &words {
        match crate::domain::named(named, &word.value) {
            Some(topic) if topics.contains(&topic) => table.page().error(
                word.at.clone(),
                format!("tell names \"{}\" twice; once is enough", word.value),
            ),
            Some(topic) => topics.push(topic),
            None => {
                let hint = match closest(&word.value, names.iter().copied()) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => format!("there are {}", names.join(", ")),
                };
                table.page().error(
                    word.at.clone(),
                    format!("tell knows no \"{}\"; {hint}", word.value),
                );
            }
        }
    }
    let digests_alone = topics == [Topic::Digest] && words.len() == 1;
    if words.is_empty() {
        table.page().error(
            table.at_key("tell"),
            format!(
                "with tell = [] this recipient hears of nothing; name some of {}, leave tell out to \
                 hear of all, or give pause_until to hear nothing until a date",
                names.join(", ")
            ),
        );
    } else if digests_alone && !has_digest {
        table.page().error(
            words[0].at.clone(),
            "this recipient hears of digests alone and gets none, so of nothing; give their hour, \
             for example digest = { every = \"week\", day = \"monday\", at = \"07:00\" }",
        );
    } else if has_digest && !topics.contains(&Topic::Digest) {
        table.page().warning(
            table.at_key("digest"),
            "digest has no effect, because tell leaves digests out; add \"digest\" to tell, or \
             remove digest",
        );
    }
    Topics::only(&topics)
}

fn digest(table: &Fields<'_, '_>) -> Option<DigestRhythm> {
    let table = table.table("digest")?;
    let every = table.required_choice("every", &Cadence::NAMED);
    let day = table.required_choice("day", &DAYS);
    let at = time_of_day(&table, "at", "07:00");
    let all_members = table.flag("all_members");
    table.finish();
    Some(DigestRhythm {
        every: every?.value,
        day: day?.value,
        at: at?,
        all_members,
    })
}

/// Says where `all_members` belongs if it stands beside the digest.
fn refuse_bare_all_members(table: &Fields<'_, '_>) {
    if table.has("all_members") {
        table.known("all_members");
        table.page().error(
            table.at_key("all_members"),
            "all_members belongs into the digest, for example digest = { every = \"week\", \
             day = \"monday\", at = \"07:00\", all_members = true }",
        );
    }
}

fn quiet(table: &Fields<'_, '_>) -> Option<QuietHours> {
    let table = table.table("quiet")?;
    let from = time_of_day(&table, "from", "21:00");
    let to = time_of_day(&table, "to", "06:30");
    let urgent = table.flag("urgent");
    let at = table.at();
    let page = table.page();
    table.finish();
    match QuietHours::new(from?, to?, urgent) {
        Ok(quiet) => Some(quiet),
        Err(error) => {
            page.error(at, format!("quiet: {error}"));
            None
        }
    }
}

/// A time of day that must be there, as HH:MM.
fn time_of_day(table: &Fields<'_, '_>, key: &'static str, example: &str) -> Option<NaiveTime> {
    let text = table.required_text(key, example)?;
    let time = (text.value.len() == "HH:MM".len())
        .then(|| NaiveTime::parse_from_str(&text.value, "%H:%M").ok())
        .flatten();
    if time.is_none() {
        table.page().error(
            text.at,
            format!(
                "{key} = \"{}\" is no time of day; write it as HH:MM, from \"00:00\" to \"23:59\"",
                text.value
            ),
        );
    }
    time
}

fn zone(table: &Fields<'_, '_>) -> Option<Tz> {
    let text = table.text("zone")?;
    if let Ok(zone) = text.value.parse() {
        return Some(zone);
    }
    let hint = match closest_zone(&text.value) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => "name one of the IANA time zone database, for example \"America/Chicago\" or \
                 \"Europe/Paris\""
            .to_owned(),
    };
    table.page().error(
        text.at,
        format!("there is no time zone \"{}\"; {hint}", text.value),
    );
    None
}

/// The zone that was probably meant: a place without its continent, or a slip of the pen.
fn closest_zone(word: &str) -> Option<&'static str> {
    let plain = word.trim().replace(' ', "_").to_lowercase();
    let names = || TZ_VARIANTS.iter().map(|zone| zone.name());
    let place = |name: &str| name.rsplit('/').next().map(str::to_lowercase);
    names()
        .find(|name| name.to_lowercase() == plain || place(name).as_ref() == Some(&plain))
        .or_else(|| closest(word, names()))
}

fn pause_until(table: &Fields<'_, '_>) -> Option<NaiveDate> {
    let text = table.text("pause_until")?;
    let day = (text.value.len() == "YYYY-MM-DD".len())
        .then(|| text.value.parse::<NaiveDate>().ok())
        .flatten();
    let Some(day) = day else {
        table.page().error(
            text.at,
            format!(
                "pause_until = \"{}\" is no date; write it as year-month-day, for example \
                 \"2026-08-01\"",
                text.value
            ),
        );
        return None;
    };
    // The day after, because it may still be the day before where the recipient is.
    if let Some(over) = day.succ_opt() {
        table.page().warning_from(
            over,
            text.at,
            format!("pause_until = \"{day}\" is over; remove it, or give a date to come"),
        );
    }
    Some(day)
}
