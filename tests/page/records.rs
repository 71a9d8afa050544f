//! The record of what was spread: everything that was logged of it, and what is missing.

use super::support::journal::Site;
use super::support::served_page::Page;

const FORM: &str = "/sites/lawn/enter/application";

/// A whole record, invented.
const WHOLE: [(&str, &str); 21] = [
    ("key", "whole"),
    ("date", "2026-06-08"),
    ("option", "imidacloprid"),
    ("area", "450"),
    ("area_unit", "m²"),
    ("rate", "0.2"),
    ("rate_unit", "kg/100 m²"),
    ("product", "=Turf Product (invented)"),
    ("registration", "0000-1234"),
    ("part", "north, by the \"gate\""),
    ("started", "06:30"),
    ("ended", "07:45"),
    ("applicator", "A. Keeper"),
    ("certificate", "C-17"),
    ("target", "white grubs"),
    ("wind", "8"),
    ("wind_unit", "km/h"),
    ("wind_from", "SW"),
    ("temperature", "-1.5"),
    ("temperature_unit", "°C"),
    ("remark", "dew"),
];

/// A table by a reader of its own, the csv crate: the titles, then a row for each application.
fn table(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(text.as_bytes());
    let row = |row: Result<csv::StringRecord, csv::Error>| {
        let row = row.expect("as many fields as titles");
        row.iter().map(str::to_owned).collect()
    };
    reader.records().map(row).collect()
}

fn cell<'t>(table: &'t [Vec<String>], row: usize, title: &str) -> &'t str {
    let column = table[0].iter().position(|one| one == title);
    &table[row][column.unwrap_or_else(|| panic!("no column {title}"))]
}

#[test]
fn everything_that_was_logged_of_an_application_is_in_its_record() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    page.post(FORM, &WHOLE).leads_to();
    let answer = page.get("/sites/lawn/records/2026.csv");
    assert!(
        answer
            .header("content-type")
            .unwrap()
            .starts_with("text/csv")
    );
    let rows = table(&answer.body);
    assert_eq!(rows.len(), 2);
    for (title, wanted) in [
        ("day", "2026-06-08"),
        ("start", "06:30"),
        ("end", "07:45"),
        ("site", "The lawn"),
        ("part of the site", "north, by the \"gate\""),
        ("area", "450 m²"),
        // A spreadsheet must not work it out.
        ("product", "'=Turf Product (invented)"),
        ("registration number", "0000-1234"),
        ("rate", "0.2 kg/100 m²"),
        ("total", "0.9 kg"),
        ("target", "white grubs"),
        ("applicator", "A. Keeper"),
        ("certificate", "C-17"),
        ("wind", "8 km/h"),
        ("wind from", "SW"),
        ("air temperature", "-1.5 °C"),
        ("remark", "dew"),
        ("missing", ""),
    ] {
        assert_eq!(cell(&rows, 1, title), wanted, "{title}");
    }
    let printed = page.get("/sites/lawn/records/2026").text();
    assert!(
        printed.contains("registration number 0000-1234"),
        "{printed}"
    );
    assert!(!printed.contains("incomplete"), "{printed}");
    // The command prints the same table.
    let config = site.config.as_str();
    let arguments = ["records", "lawn", "--config", config, "--csv"];
    assert_eq!(site.workshop.succeeds(&arguments), answer.body);
}

#[test]
fn a_record_that_lacks_something_is_named_with_what_is_missing() {
    let site = Site::of("area = \"450 m2\"");
    let page = Page::of_site(&site);
    page.post(FORM, &WHOLE).leads_to();
    site.logs("application --option chlorantraniliprole --date 2026-05-02 --applicator Ada");
    let printed = page.get("/sites/lawn/records/2026").text();
    assert!(printed.contains("Number 2 is incomplete."), "{printed}");
    let missing = "Missing: start, end, product, registration number, rate, total, target, certificate, wind, air temperature.";
    assert!(printed.contains(missing), "{printed}");
    let rows = table(&page.get("/sites/lawn/records/2026.csv").body);
    assert_eq!(cell(&rows, 1, "day"), "2026-05-02");
    assert!(cell(&rows, 1, "missing").starts_with("start; end; product"));
    // What is added by a command is no longer missing.
    site.edits("2 --product Sand --registration 9 --started 06:00 --ended 07:00 --rate 2kg/ha");
    let printed = page.get("/sites/lawn/records/2026").text();
    assert!(
        printed.contains("Missing: target, certificate, wind, air temperature."),
        "{printed}"
    );
}

#[test]
fn a_record_is_of_its_season_and_what_was_taken_back_is_not_in_it() {
    let site = Site::of("area = \"450 m2\"");
    let page = Page::of_site(&site);
    page.post(FORM, &WHOLE).leads_to();
    site.logs("application --option imidacloprid --date 2025-06-02 --earlier-season");
    let days = |year: u32| {
        let rows = table(&page.get(&format!("/sites/lawn/records/{year}.csv")).body);
        rows.iter()
            .skip(1)
            .map(|row| row[1].clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(days(2026), ["2026-06-08"]);
    assert_eq!(days(2025), ["2025-06-02"]);
    page.post("/sites/lawn/journal/1/take-back", &[]).leads_to();
    assert_eq!(days(2026), [] as [&str; 0]);
    assert_eq!(page.get("/sites/lawn/records/last").status, 404);
}

#[test]
fn what_ends_before_it_began_or_cannot_be_measured_is_refused_beside_its_field() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    for (field, value, why) in [
        ("ended", "06:00", "lies before the start"),
        ("wind", "900", "at most 60 m/s"),
        ("temperature", "99", "-40 to 60 °C"),
        ("started", "half six", "give a time as HH:MM"),
    ] {
        let changed = WHOLE.map(|(name, old)| (name, if name == field { value } else { old }));
        let answer = page.post(FORM, &changed);
        assert_eq!(answer.status, 422, "{field}");
        assert!(answer.text().contains(why), "{field}: {}", answer.text());
        let beside = format!("{field}-about");
        assert!(answer.body.contains(&beside), "{field}");
    }
    assert!(site.list().is_empty());
}

#[test]
fn what_is_no_number_is_answered_with_the_list_of_units_beside_the_field() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    let due = "is not a number; write one with a point, like 2.5, and pick the unit beside it";
    for (field, value) in [
        ("rate", "two bags"),
        ("rate", "0.2kg/100m2"),
        ("most_a_season", "4,5"),
        ("wind", "light"),
        ("temperature", "18C"),
        ("area", "half"),
    ] {
        let mut fields: Vec<(&str, &str)> = WHOLE.to_vec();
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        let answer = page.post(FORM, &fields);
        assert_eq!(answer.status, 422, "{field}");
        let said = answer.text();
        assert!(
            said.contains(&format!("\"{value}\" {due}")),
            "{field}: {said}"
        );
    }
    let water = [
        ("date", "2026-06-10"),
        ("depth", "12mm"),
        ("depth_unit", "mm"),
    ];
    let said = page.post("/sites/lawn/enter/water", &water).text();
    assert!(said.contains(due), "{said}");
    assert!(site.list().is_empty());
}

#[test]
fn how_long_records_are_to_be_kept_is_said_with_them() {
    let site = Site::of("");
    let text = std::fs::read_to_string(&site.config).unwrap();
    let text = text.replacen("[service]", "[service]\nkeep_records_years = 3", 1);
    std::fs::write(&site.config, text).unwrap();
    let page = Page::of_site(&site);
    let printed = page.get("/sites/lawn/records/2026").text();
    assert!(printed.contains("to be kept for 3 years"), "{printed}");
    assert!(
        printed.contains("Nothing is deleted by itself"),
        "{printed}"
    );
}
