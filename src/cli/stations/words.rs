//! What `hatchbell stations` prints.

use super::super::counted;
use crate::domain::place::completeness::{Completeness, CountedIn, YEARS_COUNTED};
use crate::domain::place::station_rank::{
    ENOUGH_YEARS, KM_FOR_UNKNOWN_HEIGHT, KM_IF_SILENT, KM_PER_100_M, KM_PER_PERCENT_MISSING,
    KM_PER_YEAR_SHORT, Liveness, Ranked, Wanted,
};
use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};

/// Stations in the suggestion: the best, and neighbours that stand in for its missing days.
const SUGGESTED: usize = 3;
/// How a renamed Canadian code began.
const RENAMED: &str = "CA00";
/// Where the wide files of GHCN-Daily are.
const ACCESS: &str =
    "https://www.ncei.noaa.gov/data/global-historical-climatology-network-daily/access";

/// Everything there is to say about a ranking that is not empty.
pub(super) fn all(ranked: &[Ranked], most: usize, wanted: &Wanted, within_km: f64) -> String {
    let shown = &ranked[..ranked.len().min(most)];
    let more = match ranked.len() - shown.len() {
        0 => String::new(),
        more => format!(
            "{}, not shown: see --count\n",
            counted(more, "more station")
        ),
    };
    format!(
        "{} with daily maximum and minimum within {within_km} km of {:.4}, {:.4}, best first:\n\n{}\n{more}\n{}{}\n{}",
        counted(ranked.len(), "station"),
        wanted.place.latitude(),
        wanted.place.longitude(),
        table(shown),
        weights(ranked, wanted),
        renamed(shown),
        suggestion(ranked),
    )
}

/// Why there is no ranking, with the way to one.
pub(super) fn none_within(within_km: f64, nearest: &Ranked) -> String {
    let at = nearest.against.distance;
    format!(
        "no station within {within_km} km has both daily extremes; the nearest, {} {}, is {at:.0} km away: use --within {:.0}, and see that latitude and longitude have the right signs",
        nearest.candidate.code,
        nearest.candidate.name,
        (at / 10.0).ceil() * 10.0
    )
}

fn table(ranked: &[Ranked]) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_header(["code", "name", "km", "counts as", "years of both", "why"]);
    for station in ranked {
        let number = |km: f64| Cell::new(format!("{km:.1}")).set_alignment(CellAlignment::Right);
        let years = station.years;
        table.add_row([
            Cell::new(&station.candidate.code),
            Cell::new(&station.candidate.name),
            number(station.against.distance),
            number(station.against.sum()),
            Cell::new(format!(
                "{}–{} ({})",
                years.first,
                years.last,
                years.count()
            )),
            Cell::new(reasons(station)),
        ]);
    }
    table.trim_fmt()
}

/// What was weighed of a station, each with what it counts as.
fn reasons(station: &Ranked) -> String {
    let against = station.against;
    let counts = |km: f64| {
        if km < 0.05 {
            String::new()
        } else {
            format!(" (+{km:.1})")
        }
    };
    let mut reasons = Vec::new();
    match station.liveness {
        Liveness::Reporting => {}
        Liveness::Silent => reasons.push(format!(
            "nothing since {}: late or ended{}",
            station.years.last,
            counts(against.silence)
        )),
        Liveness::Ended => reasons.push(format!(
            "ended in {}: its file is frozen, good for history only",
            station.years.last
        )),
    }
    match (station.height_above_m, station.colder_by_height_c()) {
        (Some(height), Some(_)) if height.abs() < 0.5 => {
            reasons.push("at the site's height".to_owned());
        }
        (Some(height), Some(colder)) => reasons.push(format!(
            "{:.0} m {}, {:.1} °C {} by height{}",
            height.abs(),
            if height < 0.0 { "lower" } else { "higher" },
            colder.abs(),
            if height < 0.0 { "warmer" } else { "colder" },
            counts(against.height)
        )),
        _ => reasons.push(match station.candidate.elevation_m {
            Some(elevation) => format!("at {elevation:.0} m"),
            None => format!("height unknown{}", counts(against.height)),
        }),
    }
    reasons.push(if against.short_record > 0.0 {
        format!("short record{}", counts(against.short_record))
    } else {
        "long record".to_owned()
    });
    if let Some(completeness) = station.candidate.completeness {
        reasons.push(missing_days(completeness) + &counts(against.missing));
    }
    reasons.join("; ")
}

/// How many days are missing, where that is known, to follow the years.
pub(super) fn missing_share(counted: Option<Completeness>) -> String {
    counted.map_or_else(String::new, |counted| {
        format!(", {:.1} % of days missing", counted.missing_percent())
    })
}

/// How many days are missing, of each extreme, and where that was counted.
fn missing_days(counted: Completeness) -> String {
    let counted_in = match counted.counted_in {
        CountedIn::Readings => "in its stored readings".to_owned(),
        CountedIn::Archive(years) => {
            format!("in the archive of {} to {}", years.first, years.last)
        }
    };
    format!(
        "{:.1} % of {} days missing {counted_in} (maximum {:.1} %, minimum {:.1} %)",
        counted.missing_percent(),
        counted.of,
        counted.without_maximum_percent(),
        counted.without_minimum_percent(),
    )
}

/// Where missing days were counted, and of how many stations nothing is known.
fn source_of_missing_days(ranked: &[Ranked]) -> String {
    let without = |one: &&Ranked| one.candidate.completeness.is_none();
    let unknown = ranked.iter().filter(without).count();
    if unknown == ranked.len() {
        return "Missing days are not known: the inventory tells first and last years, not what is missing between. \
                Import files of many stations with `hatchbell import --bulk --every-station` and name the \
                configuration with --config, and they are counted in what was kept."
            .to_owned();
    }
    let mut words = format!(
        "Missing days are counted over the last {YEARS_COUNTED} years that the database has: for a configured station \
         in its stored readings, for all others in the archive that `hatchbell import --bulk --every-station` keeps."
    );
    if unknown > 0 {
        words += &format!(
            " Of {} nothing is kept, so none of their days count as missing.",
            counted(unknown, "station")
        );
    }
    words
}

fn weights(ranked: &[Ranked], wanted: &Wanted) -> String {
    let height = match wanted.elevation_m {
        Some(elevation) => format!(
            "{KM_PER_100_M} km for each 100 m above or below the site's {elevation} m ({KM_FOR_UNKNOWN_HEIGHT} km if \
             unknown)"
        ),
        None => "nothing for height (give the site's with --elevation)".to_owned(),
    };
    let text = format!(
        "A station counts as that many km away: its distance, plus {height}, {KM_PER_YEAR_SHORT} km for each year of \
         both extremes under {ENOUGH_YEARS}, {KM_IF_SILENT} km if the newest year has nothing of it yet, and \
         {KM_PER_PERCENT_MISSING} km for each percent of days missing, where that is known. Stations \
         that ended come last. The weights are hatchbell's own, without a source. {} Coasts, valleys and towns are not \
         known here: look at a map.",
        source_of_missing_days(ranked)
    );
    textwrap::fill(&text, 98) + "\n"
}

/// A word on codes that were renamed, if one is shown that ended.
fn renamed(shown: &[Ranked]) -> String {
    let is_frozen = |station: &&Ranked| {
        station.liveness != Liveness::Reporting && station.candidate.code.starts_with(RENAMED)
    };
    match shown.iter().find(is_frozen) {
        Some(station) => format!(
            "\n{} begins with {RENAMED}: such Canadian codes were renamed. The old file is still served but\n\
             frozen; look for the same name under a code that still reports.\n",
            station.candidate.code
        ),
        None => String::new(),
    }
}

/// Tables to paste for the best station and its neighbours.
fn suggestion(ranked: &[Ranked]) -> String {
    let live = suggested(ranked);
    if live.is_empty() {
        return "No station here still reports, so none is suggested: use a larger --within.\n"
            .to_owned();
    }
    "To paste into the configuration. See that the addresses open, and change ids now rather than\n\
     later:\n"
        .to_owned()
        + &tables(&live, &ids(&live))
}

/// The best stations that still report.
pub(super) fn suggested(ranked: &[Ranked]) -> Vec<&Ranked> {
    let those = |liveness| {
        let live = ranked.iter().filter(move |s| s.liveness == liveness);
        live.take(SUGGESTED).collect::<Vec<_>>()
    };
    match those(Liveness::Reporting) {
        none if none.is_empty() => those(Liveness::Silent),
        live => live,
    }
}

/// Tables of the configuration: the first station has the others as neighbours.
pub(super) fn tables(stations: &[&Ranked], ids: &[String]) -> String {
    let mut text = String::new();
    for (index, station) in stations.iter().enumerate() {
        let candidate = &station.candidate;
        let code = &candidate.code;
        text += &format!(
            "\n[[station]]\nid = \"{}\"\nname = {}\ndialect = \"ghcn-access\"\nurl = \"{ACCESS}/{code}.csv\"\ncode = \"{code}\"\n",
            ids[index],
            quoted(&candidate.name)
        );
        if let Some(elevation) = candidate.elevation_m {
            text += &format!("elevation_m = {elevation:.1}\n");
        }
        if index == 0 && ids.len() > 1 {
            let neighbours: Vec<String> = ids[1..].iter().map(|id| quoted(id)).collect();
            text += &format!("neighbours = [{}]\n", neighbours.join(", "));
        }
    }
    text
}

/// A text in quotes, as TOML and JSON both write it.
pub(in crate::cli) fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

/// Identifiers made of the names; of two alike the later ones get their code behind.
pub(super) fn ids(stations: &[&Ranked]) -> Vec<String> {
    let mut ids: Vec<String> = Vec::new();
    for station in stations {
        let mut id = hyphenated(&station.candidate.name);
        if id.is_empty() || ids.contains(&id) {
            id = hyphenated(&format!("{id} {}", station.candidate.code));
        }
        ids.push(id);
    }
    ids
}

/// The words of a name in lower case with hyphens between.
pub(in crate::cli) fn hyphenated(name: &str) -> String {
    let letters = name.to_ascii_lowercase();
    let words = letters.split(|c: char| !c.is_ascii_alphanumeric());
    let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
    words.join("-")
}
