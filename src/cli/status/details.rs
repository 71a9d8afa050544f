//! All there is to know of a site: what is due, and where it stands with each of its species.

use crate::cli::terminal::wrapped;
use crate::domain::notation::Notation;
use crate::report::status::{SiteStatus, Status};

pub(super) fn text(status: &Status, width: usize, notation: &Notation) -> String {
    let Some(first) = status.sites.first() else {
        return String::new();
    };
    let say = |line: String| wrapped(&line, width, "  ");
    let mut text = say(format!("{} ({})", first.site_name, first.member));
    text += &say(format!("To do: {}", first.due.words));
    for site in &status.sites {
        text += "\n";
        text += &say(format!("{}, season {}", site.species_name, site.season));
        for line in lines(site, notation) {
            text += &wrapped(&format!("  {line}"), width, "    ");
        }
    }
    text += "\n";
    let cycle = status.last_cycle_in_words();
    text += &say(format!("{cycle}; {}", status.outbox.in_words()));
    if status.has_estimate() {
        text += &say("* the threshold is an estimate, not a published value".to_owned());
    }
    text
}

/// What is known of a species there, a line each.
fn lines(site: &SiteStatus, notation: &Notation) -> Vec<String> {
    let data = match site.newest_days_in_words() {
        Some(from) => format!("data through: {} ({from})", site.data_in_words()),
        None => format!("data through: {}", site.data_in_words()),
    };
    let estimated = [
        site.estimated_in_words(),
        site.estimated_by
            .in_words()
            .filter(|_| site.estimated_days > 0),
    ];
    let mut sum = vec![format!(
        "degree-days: {}",
        notation.degree_days(site.degree_days)
    )];
    sum.extend(estimated.into_iter().flatten());
    let last = site.last_milestone.as_ref().map_or_else(
        || "none yet".to_owned(),
        |last| format!("{} {}", last.title, last.when(notation)),
    );
    let next = site.next_milestone.as_ref().map_or_else(
        || "none this season".to_owned(),
        |next| format!("{}, {}", next.what(notation), next.when(notation)),
    );
    let held = site.held.iter().map(|why| format!("held: {why}"));
    [
        data,
        sum.join(", "),
        format!("last milestone: {last}"),
        format!("next milestone: {next}"),
    ]
    .into_iter()
    .chain(held)
    .collect()
}
