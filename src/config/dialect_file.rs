//! `config/dialects/*.toml` into [`Dialect`].

use super::fields::{Fields, parse};
use super::problem::{Page, Problem};
use crate::domain::temperature::Unit;
use crate::feed::dialect::{Column, Columns, Dialect, Elements, Header, Layout};

/// The dialects built into the program: file name and text.
pub const BUILT_IN: [(&str, &str); 5] = [
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
        "built-in dialects/ncei-export.toml",
        include_str!("../../config/dialects/ncei-export.toml"),
    ),
    (
        "built-in dialects/open-meteo-daily.toml",
        include_str!("../../config/dialects/open-meteo-daily.toml"),
    ),
];

/// Reads one dialect file.
///
/// # Errors
/// Every problem in the file, with its line and column.
pub fn read(file: &str, text: &str) -> Result<Dialect, Vec<Problem>> {
    let page = Page::new(file, text);
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
    let layout = top.required_choice("layout", &Layout::NAMED);
    let header = top.required_choice("header", &Header::NAMED);
    let header_starts_with = header_starts_with(&top, header.as_ref().map(|h| h.value));
    let delimiter = delimiter(&top);
    let date_formats = list(&top, "date_formats", "[\"%Y-%m-%d\"]");
    let units = units(&top);
    let missing = list(&top, "missing", "[\"\", \"-9999\"]");
    let columns = columns(&top);
    let quality_part = top.table("flags").and_then(|flags| {
        let part = flags.whole("quality_part", 1..=20);
        flags.finish();
        part.map(|part| part.value as usize - 1)
    });
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
    if let Some(layout) = &layout {
        needed_columns(&top, layout.value, &columns, elements.is_some());
    }
    top.finish();
    Some(Dialect {
        name: name?.value,
        title: title?.value,
        layout: layout?.value,
        header: header?.value,
        header_starts_with,
        delimiter: delimiter?,
        date_formats: date_formats?,
        units: units?,
        missing: missing?,
        columns,
        quality_part,
        elements,
    })
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
        ("tmax", &mut columns.tmax),
        ("tmin", &mut columns.tmin),
        ("tmax_flags", &mut columns.tmax_flags),
        ("tmin_flags", &mut columns.tmin_flags),
        ("rain", &mut columns.rain),
        ("rain_flags", &mut columns.rain_flags),
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

fn needed_columns(top: &Fields<'_, '_>, layout: Layout, columns: &Columns, elements: bool) {
    let needed: &[(&str, &Column)] = match layout {
        Layout::RowADay => &[
            ("date", &columns.date),
            ("tmax", &columns.tmax),
            ("tmin", &columns.tmin),
        ],
        Layout::RowAValue => &[
            ("date", &columns.date),
            ("element", &columns.element),
            ("value", &columns.value),
        ],
    };
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
        let (file, text) = BUILT_IN[0];
        let problems = read(file, &text.replace("tmax = [\"TMAX\"]", "")).unwrap_err();
        assert!(problems[0].text.contains("needs tmax"), "{problems:?}");
    }

    #[test]
    fn a_header_that_could_not_be_found_is_a_problem_of_the_dialect() {
        let (file, text) = BUILT_IN[4];
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
