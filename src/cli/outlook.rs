//! `hatchbell outlook`.

use super::chart::Chart;
use super::{ConfigOption, DateOption, configuration, counted, or_exit, say};
use crate::cycle::{SiteState, site_states};
use crate::domain::phenology::biofix::AnchoredBy;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::{Basis, CHANCE_DAYS, FULL_SEASONS};
use crate::domain::phenology::season_state::{Crossing, Expectation, PassedBy};
use crate::domain::phenology::species::Threshold;
use crate::domain::sourced_value::EvidenceGrade;
use crate::store::Store;
use chrono::NaiveDate;
use clap::Args;
use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};
use std::process::ExitCode;

/// Show a site's milestones weeks ahead, as date ranges
///
/// For each species of the site: the dates before which a milestone falls in 10, 50 and 90 of 100
/// cases, the chance that it has happened or happens within 7, 14 and 30 days, what the range is
/// made of, and a drawing of the season.
#[derive(Args)]
pub(super) struct OutlookOptions {
    #[command(flatten)]
    config: ConfigOption,
    #[command(flatten)]
    date: DateOption,
    /// The site, by its id in the configuration
    site: String,
}

pub(super) fn run(options: &OutlookOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    super::site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    for here in site_states(&config, &store, today)? {
        if here.site.id == options.site {
            super::print(format_args!("{}", text(&here, today)));
        }
    }
    say!("Plan with the range, not with its middle. The label, local rules and a licensed");
    say!("applicator decide what is done.");
    Ok(ExitCode::SUCCESS)
}

fn text(here: &SiteState<'_>, today: NaiveDate) -> String {
    let state = &here.state;
    let data = match state.data_through {
        Some(day) => format!("data through {day}"),
        None => "no data this season".to_owned(),
    };
    let mut text = format!(
        "{} ({}), {}\n{}, season {}: {:.0} °C·d at {}, {data}, {} estimated\n",
        here.site.name,
        here.member.name,
        today,
        here.species.name,
        state.season,
        state.degree_days,
        here.feed.station.name,
        counted(state.estimated_days as usize, "day"),
    );
    if let Some(anchor) = here.anchor {
        let by = match anchor.by {
            AnchoredBy::ThisSeason => "this season's first catch at the site".to_owned(),
            AnchoredBy::EarlierSeasons { seasons } => {
                format!(
                    "first catches of {} at the site",
                    counted(seasons, "earlier season")
                )
            }
        };
        text += &format!(
            "All thresholds are moved by {:+.0} °C·d by {by}.\n",
            anchor.shift
        );
    }
    text += &table(here);
    text += &chart(here, today);
    text += &basis(state.next());
    text += "\n";
    text
}

fn table(here: &SiteState<'_>) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic);
    let mut heads: Vec<String> = ["", "°C·d", "10 %", "50 %", "90 %", "by now"]
        .map(str::to_owned)
        .to_vec();
    heads.extend(CHANCE_DAYS.map(|days| format!("{days} d")));
    table.set_header(heads);
    for milestone in Milestone::ALL {
        let threshold = here.species.threshold(milestone);
        let mut cells = vec![milestone.short_title().to_owned(), sum_words(threshold)];
        let passed = here
            .state
            .crossings
            .iter()
            .find(|crossing| crossing.milestone == milestone);
        let ahead = here
            .state
            .ahead
            .iter()
            .find(|ahead| ahead.milestone == milestone);
        cells.extend(match (passed, ahead) {
            (Some(crossing), _) => passed_cells(crossing),
            (None, Some(ahead)) => ahead_cells(ahead),
            (None, None) => vec!["not this season".to_owned()],
        });
        let cells = cells.into_iter().enumerate().map(|(index, text)| {
            let cell = Cell::new(text);
            if index > 4 {
                cell.set_alignment(CellAlignment::Right)
            } else {
                cell
            }
        });
        table.add_row(cells);
    }
    let estimate = Milestone::ALL
        .iter()
        .any(|m| here.species.threshold(*m).grade == EvidenceGrade::Estimate);
    let note = if estimate {
        "* an estimate, not a published value\n"
    } else {
        ""
    };
    format!("\n{}\n{note}", table.trim_fmt())
}

fn sum_words(threshold: &Threshold) -> String {
    let mark = if threshold.grade == EvidenceGrade::Estimate {
        "*"
    } else {
        ""
    };
    match threshold.range {
        Some((low, high)) => format!("{:.0}{mark} ({low:.0}-{high:.0})", threshold.value),
        None => format!("{:.0}{mark}", threshold.value),
    }
}

fn passed_cells(crossing: &Crossing) -> Vec<String> {
    let by = match crossing.by {
        PassedBy::Sum => "passed",
        PassedBy::DateCap | PassedBy::DateCapUnknown => "by date",
    };
    vec![by.to_owned(), short(crossing.on)]
}

fn ahead_cells(ahead: &Expectation) -> Vec<String> {
    let Ok((outlook, _)) = ahead.outlook else {
        return vec!["no dates".to_owned()];
    };
    let date = |date: Option<NaiveDate>| date.map_or("not reached".to_owned(), short);
    let mut cells = vec![
        date(outlook.early),
        date(outlook.likely),
        date(outlook.late),
    ];
    cells.push(percent(outlook.passed));
    cells.extend(outlook.within.map(percent));
    cells
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

fn short(date: NaiveDate) -> String {
    date.format("%-d %b").to_string()
}

fn chart(here: &SiteState<'_>, today: NaiveDate) -> String {
    let mut chart = Chart::new(today);
    for milestone in Milestone::ALL {
        let title = milestone.short_title();
        let state = &here.state;
        if let Some(passed) = state.crossings.iter().find(|c| c.milestone == milestone) {
            chart.point(title, passed.on);
        } else if let Some(ahead) = state.ahead.iter().find(|a| a.milestone == milestone)
            && let Ok((outlook, _)) = ahead.outlook
            && let Some(early) = outlook.early
        {
            let late = outlook.late.unwrap_or(state.season.end);
            chart.range(title, early, outlook.likely, late);
        }
    }
    chart.draw()
}

fn basis(next: Option<Expectation>) -> String {
    match next.map(|next| next.outlook) {
        None => "The season is over for this species.\n".to_owned(),
        Some(Err(why)) => format!("No dates: {why}.\n"),
        Some(Ok((_, basis))) => made_of(&basis),
    }
}

fn made_of(basis: &Basis) -> String {
    let forecast = match basis.forecast_days {
        0 => String::new(),
        days => format!(", {} of a model's forecast", counted(days, "day")),
    };
    let thin = if basis.is_thin() {
        format!("Under {FULL_SEASONS} past seasons the ranges are widened: import more history.\n")
    } else {
        String::new()
    };
    format!(
        "Made of days observed through {}{forecast}, {} of the station, and each\nthreshold's own range.\n{thin}",
        basis.data_through,
        counted(basis.past_seasons, "past season"),
    )
}
