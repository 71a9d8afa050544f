//! A look back for the terminal.

use super::season_report::{AppliedReport, COUNTS, DATES, SeasonReport, SpeciesReport};
use comfy_table::{ContentArrangement, Table, presets};

/// Columns that running text is wrapped to.
const COLUMNS: usize = 88;

/// Columns that tables are fitted to.
const TABLE_COLUMNS: u16 = 110;

/// The sheet as text.
pub(super) fn text(season_report: &SeasonReport) -> String {
    let mut text = format!("{}\n", season_report.title);
    for line in season_report.about.iter().chain(&season_report.running) {
        text += &paragraph(line, "");
    }
    text += &section("In short", &list(&season_report.in_short));
    for species in &season_report.species {
        text += &section(&species.name, &of_species(species));
    }
    text += &section("How far off the notices were", &list(&season_report.scores));
    let applied: String = season_report.applied.iter().map(application).collect();
    let nothing = if applied.is_empty() {
        paragraph("Nothing was applied, by the journal.", "  ")
    } else {
        String::new()
    };
    text += &section(
        "What was applied",
        &format!("{applied}{nothing}{}", list(&season_report.beside)),
    );
    text += &section("What was told", &told(&season_report.told));
    let how: Vec<String> = season_report
        .how_to_read
        .iter()
        .map(|&line| line.to_owned())
        .collect();
    text += &section("How to read this", &list(&how));
    let cautions: Vec<String> = season_report
        .cautions
        .iter()
        .map(|&line| line.to_owned())
        .collect();
    text + &section("Cautions", &list(&cautions))
}

fn section(title: &str, body: &str) -> String {
    format!("\n{}\n{body}", title.to_uppercase())
}

fn of_species(species: &SpeciesReport) -> String {
    let mut text = table(&DATES, &species.dates);
    text += &list(&species.notes);
    if !species.counts.is_empty() {
        text += &format!("\n{}", table(&COUNTS, &species.counts));
    }
    text + &list(&species.count_notes)
}

fn application(applied: &AppliedReport) -> String {
    let mut text = paragraph(&format!("{}: {}", applied.day, applied.what), "  ");
    text += &paragraph(&applied.watered, "    ");
    for (verdict, behind) in &applied.verdicts {
        text += &paragraph(verdict, "    ");
        for line in behind {
            text += &paragraph(line, "      ");
        }
    }
    for line in &applied.notes {
        text += &paragraph(line, "    ");
    }
    text
}

fn told(told: &[(String, String)]) -> String {
    if told.is_empty() {
        return paragraph("Nothing is on record as told.", "  ");
    }
    let widest = told.iter().map(|(day, _)| day.chars().count()).max();
    let margin = widest.unwrap_or(0) + 2;
    told.iter()
        .map(|(day, what)| {
            let head = format!("  {day:<margin$}");
            let rest = " ".repeat(margin + 2);
            let how = textwrap::Options::new(COLUMNS)
                .initial_indent(&head)
                .subsequent_indent(&rest);
            textwrap::fill(what, how) + "\n"
        })
        .collect()
}

fn table<const N: usize>(heads: &[&str; N], rows: &[[String; N]]) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(TABLE_COLUMNS)
        .set_header(heads.to_vec());
    for row in rows {
        table.add_row(row.to_vec());
    }
    table.trim_fmt() + "\n"
}

fn list(lines: &[String]) -> String {
    lines
        .iter()
        .map(|line| {
            let how = textwrap::Options::new(COLUMNS)
                .initial_indent("  - ")
                .subsequent_indent("    ");
            textwrap::fill(line, how) + "\n"
        })
        .collect()
}

fn paragraph(text: &str, indent: &str) -> String {
    let how = textwrap::Options::new(COLUMNS)
        .initial_indent(indent)
        .subsequent_indent(indent);
    textwrap::fill(text, how) + "\n"
}
