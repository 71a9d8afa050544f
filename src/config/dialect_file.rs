//! `config/dialects/*.toml` into [`Dialect`].

use super::fields::{Fields, parse};
use super::problem::{Problem, SourceText};
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::wind::WindUnit;
use crate::station_feed::dialect::{Column, Columns, Dialect, Elements, Encoding, Header, Layout};
use chrono::format::{Item, StrftimeItems};

mod rules;

/// The dialects built into the program: file name and text.
pub const BUILT_IN: [(&str, &str); 13] = [
    (
        "built-in dialects/bom-one-extreme.toml",
        include_str!("../../config/dialects/bom-one-extreme.toml"),
    ),
    (
        "built-in dialects/dwd-kl.toml",
        include_str!("../../config/dialects/dwd-kl.toml"),
    ),
    (
        "built-in dialects/eccc-daily.toml",
        include_str!("../../config/dialects/eccc-daily.toml"),
    ),
    (
        "built-in dialects/ghcn-access.toml",
        include_str!("../../config/dialects/ghcn-access.toml"),
    ),
    (
        "built-in dialects/ghcn-extract.toml",
        include_str!("../../config/dialects/ghcn-extract.toml"),
    ),
    (
        "built-in dialects/ghcn-long.toml",
        include_str!("../../config/dialects/ghcn-long.toml"),
    ),
    (
        "built-in dialects/iem-daily.toml",
        include_str!("../../config/dialects/iem-daily.toml"),
    ),
    (
        "built-in dialects/knmi-daily.toml",
        include_str!("../../config/dialects/knmi-daily.toml"),
    ),
    (
        "built-in dialects/meteo-france-daily.toml",
        include_str!("../../config/dialects/meteo-france-daily.toml"),
    ),
    (
        "built-in dialects/meteoswiss-daily.toml",
        include_str!("../../config/dialects/meteoswiss-daily.toml"),
    ),
    (
        "built-in dialects/midas-daily.toml",
        include_str!("../../config/dialects/midas-daily.toml"),
    ),
    (
        "built-in dialects/ncei-export.toml",
        include_str!("../../config/dialects/ncei-export.toml"),
    ),
    (
        "built-in dialects/open-meteo-daily.toml",
        include_str!("../../config/dialects/open-meteo-daily.toml"),
    ),
];

/// Whether a dialect of this name is built in.
pub fn is_built_in(name: &str) -> bool {
    let file = format!("/{name}.toml");
    BUILT_IN.iter().any(|(path, _)| path.ends_with(&file))
}

/// Reads one dialect file.
///
/// # Errors
/// Every problem in the file, with its line and column.
pub fn read(file: &str, text: &str) -> Result<Dialect, Vec<Problem>> {
    let page = SourceText::new(file, text);
    let table = parse(&page);
    let dialect = dialect(Fields::top(&page, &table));
    let problems = page.into_problems();
    match dialect {
        Some(dialect) if problems.is_empty() => Ok(dialect),
        _ => Err(problems),
    }
}

fn dialect(top: Fields<'_, '_>) -> Option<Dialect> {
    let name = top.required_id("name", "ghcn-access");
    let title = top.required_text("title", "what kind of file this is");
    let layout = or_usual(&top, "layout", &Layout::NAMED, Layout::RowADay);
    let header = or_usual(&top, "header", &Header::NAMED, Header::Required);
    let header_starts_with = header_starts_with(&top, header);
    let skip_lines = top.whole("skip_lines", 0..=1000);
    if skip_lines.is_some() && !header_starts_with.is_empty() {
        top.page().error(
            top.at(),
            "skip_lines and header_starts_with both say where the header is; keep one of them",
        );
    }
    let ends_with = top.text("ends_with").map(|text| text.value);
    let encoding = or_usual(&top, "encoding", &Encoding::NAMED, Encoding::Utf8);
    let zip_member = top.text("zip_member").map(|text| text.value);
    let delimiter = delimiter(&top);
    let decimal_comma = decimal_comma(&top, delimiter);
    let date_formats = date_formats(&top);
    let units = units(&top);
    let missing = if top.has("missing") {
        list(&top, "missing", "[\"\", \"-9999\"]")
    } else {
        Some(vec![String::new()])
    };
    let rain_trace = top.texts("rain_trace").unwrap_or_default();
    let columns = columns(&top);
    let wind_unit = top.choice("wind_unit", &WindUnit::NAMED);
    let (quality_part, flag_rule) = rules::flags(&top);
    let conditions = rules::conditions(&top);
    let either_extreme = top.flag("either_extreme");
    let provisional_days = top.whole("provisional_days", 0..=30);
    let import_only = top.flag("import_only");
    let model = top.flag("model");
    let usual_lag_days = top.whole("usual_lag_days", 0..=60);
    let advice = top.text("advice").map(|text| text.value);
    let elements = top.table("elements").and_then(|elements| {
        let tmax = elements.required_text("tmax", "TMAX");
        let tmin = elements.required_text("tmin", "TMIN");
        let rain = elements.text("rain");
        elements.finish();
        Some(Elements {
            tmax: tmax?.value,
            tmin: tmin?.value,
            rain: rain.map(|rain| rain.value),
        })
    });
    if let Some(layout) = layout {
        needed_columns(&top, layout, &columns, elements.is_some(), either_extreme);
    }
    check_wind(
        &top,
        columns.wind.exists(),
        model && layout == Some(Layout::RowADay),
    );
    top.finish();
    Some(Dialect {
        name: name?.value,
        title: title?.value,
        layout: layout?,
        header: header?,
        header_starts_with,
        skip_lines: skip_lines.map_or(0, |lines| lines.value),
        ends_with,
        encoding: encoding?,
        zip_member,
        delimiter: delimiter?,
        decimal_comma,
        date_formats: date_formats?,
        units: units?,
        missing: missing?,
        columns,
        rain_trace: rain_trace.into_iter().map(|text| text.value).collect(),
        wind_unit: wind_unit.map(|unit| unit.value),
        quality_part,
        flag_rule,
        conditions,
        either_extreme,
        provisional_days: provisional_days.map_or(0, |days| days.value),
        import_only,
        model,
        usual_lag_days: usual_lag_days.map(|lag| lag.value),
        advice,
        elements,
    })
}

/// A choice that need not be made; `None` if it was made wrongly.
fn or_usual<T: Copy>(
    top: &Fields<'_, '_>,
    key: &'static str,
    named: &[(&'static str, T)],
    usual: T,
) -> Option<T> {
    match top.choice(key, named) {
        Some(choice) => Some(choice.value),
        None => (!top.has(key)).then_some(usual),
    }
}

fn decimal_comma(top: &Fields<'_, '_>, delimiter: Option<u8>) -> bool {
    let comma = top.flag("decimal_comma");
    if comma && delimiter == Some(b',') {
        top.page().error(
            top.at(),
            "decimal_comma needs another delimiter than the comma, for example delimiter = \";\"",
        );
    }
    comma
}

/// What the first field of the header is called, for files with lines before it.
fn header_starts_with(top: &Fields<'_, '_>, header: Option<Header>) -> Vec<String> {
    let Some(names) = top.texts("header_starts_with") else {
        return Vec::new();
    };
    if names.is_empty() {
        top.page().error(
            top.at(),
            "header_starts_with names the first field of the header, for example [\"time\"]; leave it out if the header is the first line",
        );
    }
    for name in names.iter().filter(|name| name.value.trim().is_empty()) {
        top.page().error(
            name.at.clone(),
            "a blank name in header_starts_with would take any empty line for the header",
        );
    }
    if header.is_some_and(|header| header != Header::Required) {
        top.page().error(
            top.at(),
            "header_starts_with goes with header = \"required\" only",
        );
    }
    names.into_iter().map(|name| name.value).collect()
}

fn delimiter(top: &Fields<'_, '_>) -> Option<u8> {
    if !top.has("delimiter") {
        return Some(b',');
    }
    let text = top.required_text_or_blank("delimiter", ",")?;
    match text.value.as_bytes() {
        [byte] if byte.is_ascii() => Some(*byte),
        _ => {
            top.page().error(
                text.at,
                "delimiter must be one ASCII character, for example \",\"",
            );
            None
        }
    }
}

fn list(top: &Fields<'_, '_>, key: &'static str, example: &str) -> Option<Vec<String>> {
    let texts = top.texts(key);
    if texts.is_none() && !top.has(key) {
        top.page().error(
            top.at(),
            format!("the file needs {key}, for example {example}"),
        );
    }
    Some(texts?.into_iter().map(|text| text.value).collect())
}

/// Forms of a date; a year, month and day in columns of their own need none.
fn date_formats(top: &Fields<'_, '_>) -> Option<Vec<String>> {
    let formats = top.texts("date_formats").unwrap_or_default();
    for format in &formats {
        let known = StrftimeItems::new(&format.value).all(|item| item != Item::Error);
        if !known
            || ["%d", "%m", "%Y"]
                .iter()
                .any(|part| !format.value.contains(part))
        {
            top.page().error(
                format.at.clone(),
                format!(
                    "\"{}\" is no form of a day; it needs %Y, %m and %d, for example \"%d.%m.%Y\", and may go on with a time, for example %H:%M",
                    format.value
                ),
            );
        }
    }
    Some(formats.into_iter().map(|format| format.value).collect())
}

fn units(top: &Fields<'_, '_>) -> Option<Vec<Unit>> {
    let texts = list(top, "units", "[\"celsius\"]")?;
    let units: Option<Vec<Unit>> = texts
        .iter()
        .map(|name| crate::domain::named(&Unit::NAMED, name))
        .collect();
    if units.as_ref().is_none_or(Vec::is_empty) {
        let names: Vec<&str> = Unit::NAMED.iter().map(|(name, _)| *name).collect();
        top.page()
            .error(top.at(), format!("units may hold {}", names.join(", ")));
        return None;
    }
    units
}

fn columns(top: &Fields<'_, '_>) -> Columns {
    let mut columns = Columns::default();
    let names = top.table("columns");
    let positions = top.table("positions");
    for (key, column) in [
        ("station", &mut columns.station),
        ("date", &mut columns.date),
        ("year", &mut columns.year),
        ("month", &mut columns.month),
        ("day", &mut columns.day),
        ("tmax", &mut columns.tmax),
        ("tmin", &mut columns.tmin),
        ("tmax_flags", &mut columns.tmax_flags),
        ("tmin_flags", &mut columns.tmin_flags),
        ("rain", &mut columns.rain),
        ("rain_flags", &mut columns.rain_flags),
        ("wind", &mut columns.wind),
        ("element", &mut columns.element),
        ("value", &mut columns.value),
        ("quality", &mut columns.quality),
    ] {
        *column = Column {
            names: names
                .as_ref()
                .and_then(|names| names.texts(key))
                .unwrap_or_default()
                .into_iter()
                .map(|name| name.value)
                .collect(),
            position: positions
                .as_ref()
                .and_then(|positions| positions.whole(key, 1..=1000))
                .map(|position| position.value as usize - 1),
        };
    }
    for table in [names, positions].into_iter().flatten() {
        table.finish();
    }
    columns
}

/// Only forecasts have wind, and its unit must be known.
fn check_wind(top: &Fields<'_, '_>, has_wind: bool, may_have_wind: bool) {
    if has_wind && !may_have_wind {
        top.page().error(
            top.at(),
            "wind is read from forecasts with a row a day (model = true) only: measured wind is not kept",
        );
    }
    if has_wind != top.has("wind_unit") {
        top.page().error(
            top.at(),
            "a column of wind and wind_unit, its unit where the column's name tells none, go together, for example wind_unit = \"km/h\"",
        );
    }
}

fn needed_columns(
    top: &Fields<'_, '_>,
    layout: Layout,
    columns: &Columns,
    elements: bool,
    either_extreme: bool,
) {
    let in_parts = [&columns.year, &columns.month, &columns.day];
    let mut needed: Vec<(&str, &Column)> = match layout {
        Layout::RowADay if either_extreme => Vec::new(),
        Layout::RowADay => vec![("tmax", &columns.tmax), ("tmin", &columns.tmin)],
        Layout::RowAValue => vec![("element", &columns.element), ("value", &columns.value)],
    };
    if in_parts.iter().any(|part| part.exists()) {
        needed.extend(["year", "month", "day"].into_iter().zip(in_parts));
    } else {
        needed.insert(0, ("date", &columns.date));
        if !top.has("date_formats") {
            top.page().error(
                top.at(),
                "the file needs date_formats, for example [\"%Y-%m-%d\"]",
            );
        }
    }
    for (name, column) in needed {
        if !column.exists() {
            top.page().error(
                top.at(),
                format!("[columns] or [positions] needs {name} for this layout"),
            );
        }
    }
    if layout == Layout::RowAValue && !elements {
        top.page().error(
            top.at(),
            "[elements] must say what maximum and minimum are called, for example tmax = \"TMAX\"",
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_dialect_loads_under_its_own_name() {
        for (file, text) in BUILT_IN {
            let dialect = read(file, text).unwrap_or_else(|p| panic!("{file}: {p:?}"));
            assert!(file.ends_with(&format!("/{}.toml", dialect.name)));
        }
    }

    #[test]
    fn a_dialect_without_a_maximum_says_so() {
        let (file, text) = BUILT_IN[3];
        let problems = read(file, &text.replace("tmax = [\"TMAX\"]", "")).unwrap_err();
        assert!(problems[0].text.contains("needs tmax"), "{problems:?}");
    }

    #[test]
    fn wind_is_for_forecasts_with_a_row_a_day_and_has_a_unit() {
        let (file, text) = BUILT_IN[BUILT_IN.len() - 1];
        let wrong = |right: &str, wrong: &str, due: &str| {
            let problems = read(file, &text.replace(right, wrong)).unwrap_err();
            assert!(problems[0].text.contains(due), "{problems:?}");
        };
        wrong("model = true", "model = false", "measured wind is not kept");
        wrong("wind_unit = \"km/h\"", "", "wind_unit = \"km/h\"");
        wrong("km/h\"  ", "beaufort\"  ", "knots");
        wrong("wind = [", "rain_flags = [", "go together");
    }

    #[test]
    fn a_header_that_could_not_be_found_is_a_problem_of_the_dialect() {
        let (file, text) = BUILT_IN[BUILT_IN.len() - 1];
        let names = "header_starts_with = [\"time\"]";
        let cases = [
            (names, "header_starts_with = []", "leave it out"),
            (
                names,
                "header_starts_with = [\"time\", \" \"]",
                "blank name",
            ),
            (
                "header = \"required\"",
                "header = \"optional\"",
                "\"required\" only",
            ),
        ];
        for (right, wrong, due) in cases {
            let problems = read(file, &text.replace(right, wrong)).unwrap_err();
            assert_eq!(problems.len(), 1, "{problems:?}");
            assert!(problems[0].text.contains(due), "{problems:?}");
        }
    }
}
