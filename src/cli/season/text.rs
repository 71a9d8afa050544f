//! A season for the terminal.

use crate::cli::TEXT_COLUMNS;
use crate::report::season::{ApplicationReport, COUNTS, DATES, SeasonReport, SpeciesReport};
use comfy_table::{ContentArrangement, Table, presets};

/// Columns that tables are fitted to.
const TABLE_COLUMNS: u16 = 110;

/// The report as text.
pub(super) fn text(season: &SeasonReport) -> String {
    let mut text = format!("{}\n", season.title);
    for line in season.about.iter().chain(&season.running) {
        text += &paragraph(line, "");
    }
    text += &section("In short", &list(&season.in_short));
    for species in &season.species {
        text += &section(&species.name, &of_species(species));
    }
    text += &section("How far off the notices were", &list(&season.scores));
    let applied: String = season.applied.iter().map(application).collect();
    let nothing: String = season
        .nothing_applied
        .iter()
        .map(|words| paragraph(words, "  "))
        .collect();
    text += &section(
        "What was applied",
        &format!("{applied}{nothing}{}", list(&season.beside)),
    );
    text += &section("What was told", &told(season));
    text += &section("How to read this", &list(&season.how_to_read));
    text + &section("Cautions", &list(&season.cautions))
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

fn application(applied: &ApplicationReport) -> String {
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

fn told(season: &SeasonReport) -> String {
    if let Some(words) = season.nothing_told {
        return paragraph(words, "  ");
    }
    let told = &season.told;
    let widest = told.iter().map(|(day, _)| day.chars().count()).max();
    let margin = widest.unwrap_or(0) + 2;
    told.iter()
        .map(|(day, what)| {
            let head = format!("  {day:<margin$}");
            let rest = " ".repeat(margin + 2);
            let how = textwrap::Options::new(TEXT_COLUMNS)
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

fn list<L: AsRef<str>>(lines: &[L]) -> String {
    lines
        .iter()
        .map(|line| {
            let how = textwrap::Options::new(TEXT_COLUMNS)
                .initial_indent("  - ")
                .subsequent_indent("    ");
            textwrap::fill(line.as_ref(), how) + "\n"
        })
        .collect()
}

fn paragraph(text: &str, indent: &str) -> String {
    let how = textwrap::Options::new(TEXT_COLUMNS)
        .initial_indent(indent)
        .subsequent_indent(indent);
    textwrap::fill(text, how) + "\n"
}
