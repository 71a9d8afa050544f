//! What people read. Pure: notices in, text out.
//!
//! Text first, in short paragraphs: what happened, what it means for the work, what comes next and
//! when, how sure it is, and the cautions. Every message carries the cautions itself.

use crate::domain::alert::{Bundle, Notice, NoticeKind};
use crate::domain::milestone::{
    Crossing, Expectation, FARTHEST_AHEAD_DAYS, Milestone, PACE_DAYS, PassedBy,
};
use crate::domain::site::Channel;
use crate::domain::species::{Species, Threshold};
use chrono::NaiveDate;

/// Columns a mail is wrapped to.
const COLUMNS: usize = 72;

/// A message ready for the outbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Subject or title.
    pub title: String,
    /// Text.
    pub body: String,
}

/// Words a bundle. Push messages are shorter than mails, with the same content in order.
pub fn message(service: &str, bundle: &Bundle<'_, '_>) -> Message {
    let brief = bundle.channel == Channel::Push;
    let mut parts: Vec<String> = bundle
        .notices
        .iter()
        .map(|notice| if brief { short(notice) } else { full(notice) })
        .collect();
    let about_treatment = bundle.notices.iter().any(|notice| {
        matches!(
            notice.kind,
            NoticeKind::Passed { .. } | NoticeKind::Moved { .. }
        )
    });
    if about_treatment {
        parts.push(if brief { brief_cautions() } else { cautions() });
    }
    if !brief {
        parts.push(wrapped(
            &format!("For {}, from hatchbell at {service}", bundle.recipient.name),
            "",
            "",
        ));
    }
    Message {
        title: title(&bundle.notices),
        body: parts.join("\n\n"),
    }
}

fn title(notices: &[&Notice<'_>]) -> String {
    match notices {
        [notice] => format!("{}: {}", notice.site.name, headline(&notice.kind)),
        [first, rest @ ..] => {
            let same_site = rest.iter().all(|notice| notice.site.id == first.site.id);
            let where_ = if same_site {
                &first.site.name
            } else {
                &first.member.name
            };
            format!(
                "{where_}: {}, and {} more",
                headline(&first.kind),
                rest.len()
            )
        }
        [] => "Nothing to report".to_owned(),
    }
}

fn headline(kind: &NoticeKind<'_>) -> String {
    match kind {
        NoticeKind::Passed {
            species, crossing, ..
        } => passed_headline(species, crossing),
        NoticeKind::Moved {
            species, crossing, ..
        } => format!(
            "{}, {}: date corrected to {}",
            species.name,
            crossing.milestone.title(),
            day_month(crossing.on)
        ),
        NoticeKind::Stale { .. } => "no new temperatures".to_owned(),
        NoticeKind::Fresh { .. } => "temperatures are back".to_owned(),
    }
}

fn passed_headline(species: &Species, crossing: &Crossing) -> String {
    let what = match (crossing.milestone, crossing.by) {
        (Milestone::AdultFlight, _) => "adult flight has begun",
        (Milestone::EggLay, _) => "egg lay has begun",
        (Milestone::Hatch, _) => "hatch has begun",
        (Milestone::WindowEnd, PassedBy::Sum) => "the susceptible window has ended",
        (Milestone::WindowEnd, PassedBy::DateCap) => "the susceptible window ends by date",
    };
    format!("{}, {what} ({})", species.name, day_month(crossing.on))
}

fn full(notice: &Notice<'_>) -> String {
    let heading = format!(
        "{} ({}), {}",
        notice.site.name,
        notice.member.name,
        headline(&notice.kind)
    );
    let mut parts = vec![upper_rule(&heading)];
    let paragraphs = match &notice.kind {
        NoticeKind::Passed {
            species,
            crossing,
            data_through,
            next,
            passed,
            ..
        } => vec![
            labelled(
                "What happened",
                &what_happened(notice, species, crossing, *data_through),
            ),
            labelled("What it means", &what_it_means(crossing, passed)),
            labelled("What comes next", &what_comes_next(species, *next)),
            labelled("How sure", &how_sure(species, crossing)),
        ],
        NoticeKind::Moved {
            species,
            told,
            crossing,
            data_through,
        } => vec![labelled(
            "What changed",
            &what_moved(notice, species, *told, crossing, *data_through),
        )],
        NoticeKind::Stale { newest, problem } => {
            vec![labelled(
                "What happened",
                &gone_quiet(notice, *newest, problem.as_deref()),
            )]
        }
        NoticeKind::Fresh { newest } => vec![labelled(
            "What happened",
            &format!(
                "{} sends days again, up to {}. Milestones that fell into the silence are in this or the next message, with their dates.",
                notice.station.name,
                day_month(*newest)
            ),
        )],
    };
    parts.extend(paragraphs);
    parts.join("\n\n")
}

fn short(notice: &Notice<'_>) -> String {
    let heading = format!("{}: {}", notice.site.name, headline(&notice.kind));
    let text = match &notice.kind {
        NoticeKind::Passed {
            species,
            crossing,
            next,
            passed,
            data_through,
            ..
        } => format!(
            "{} Next: {} {} The threshold is {}.",
            in_brief(crossing, passed),
            next_in_brief(species, *next),
            data_words(crossing.estimated_days, *data_through),
            grade(species, crossing),
        ),
        NoticeKind::Moved {
            species,
            told,
            crossing,
            data_through,
        } => what_moved(notice, species, *told, crossing, *data_through),
        NoticeKind::Stale { newest, problem } => gone_quiet(notice, *newest, problem.as_deref()),
        NoticeKind::Fresh { newest } => {
            format!(
                "{} sends days again, up to {}.",
                notice.station.name,
                day_month(*newest)
            )
        }
    };
    format!("{heading}. {text}")
}

fn what_happened(
    notice: &Notice<'_>,
    species: &Species,
    crossing: &Crossing,
    data_through: Option<NaiveDate>,
) -> String {
    let threshold = species.threshold(crossing.milestone);
    let data = data_words(crossing.estimated_days, data_through);
    match crossing.by {
        PassedBy::Sum => format!(
            "The sum at {} reached {:.0} °C·d on {}; {} of {} is set at {}. {data}",
            notice.station.name,
            crossing.degree_days,
            day_month(crossing.on),
            crossing.milestone.title(),
            species.name,
            range_words(threshold),
        ),
        PassedBy::DateCap => format!(
            "The season at {} will not reach {:.0} °C·d in time: it stands at {:.0} °C·d on {}, the date by which the soil is taken to cool and larvae to move down ({}). {data}",
            notice.station.name,
            threshold.value,
            crossing.degree_days,
            day_month(crossing.on),
            grade(species, crossing),
        ),
    }
}

fn data_words(estimated: u32, data_through: Option<NaiveDate>) -> String {
    let through = match data_through {
        Some(day) => format!("Data through {}", day_month(day)),
        None => "No data this season".to_owned(),
    };
    match estimated {
        0 => format!("{through}, no day estimated."),
        1 => format!("{through}, 1 day of the sum estimated."),
        n => format!("{through}, {n} days of the sum estimated."),
    }
}

/// What a milestone means for the work. All of it common practice, no source; see the README.
fn what_it_means(crossing: &Crossing, passed: &[Milestone]) -> String {
    match crossing.milestone {
        Milestone::AdultFlight => "Adults are leaving the soil; first eggs usually follow within days to two weeks. A poorly soluble preventive (chlorantraniliprole) needs weeks to sink to the root zone: it belongs down before this day, and what is spread from now on reaches it late. For a soluble one (imidacloprid, clothianidin, thiamethoxam, where they are allowed) the time comes with egg lay: get it and the means to water it in ready. Decide first whether to treat at all: last year's damage and counts say more than the calendar.",
        Milestone::EggLay => "Females are laying; first larvae hatch in about two weeks. For a soluble preventive (imidacloprid, clothianidin, thiamethoxam, where they are allowed) these two weeks are the time: spread it, then water it through the thatch into the top 25 to 50 mm of soil. A poorly soluble one (chlorantraniliprole) spread now arrives after much of the hatch. Dry soil kills eggs: turf left dry now is less at risk than watered turf around it.",
        Milestone::Hatch => "The first larvae are hatching and feed near the surface while they are small. A short-lived biological (Bacillus thuringiensis galleriae) works from now until the hatch is past its peak, about two weeks; nematodes (Heterorhabditis bacteriophora) follow when most have hatched and the soil is warm and moist. A soluble preventive still helps if it goes down and is watered in within days. Curatives wait for a count.",
        Milestone::WindowEnd if !passed.contains(&Milestone::Hatch) => "Hatch was not reached this season, so nothing needs to be spread against this year's larvae here. If turf still lifts or animals dig, look for grubs before you do anything.",
        Milestone::WindowEnd => "Most larvae are too large for preventives: what is spread now against them is wasted. Count instead: cut and fold back a few flaps of turf over the whole area and look through the top 10 cm. Only a count above what the turf stands justifies a curative (trichlorfon, carbaryl, where they are allowed), soon and watered in. Some grubs are normal in healthy turf. Note the counts for next year's decision.",
    }
    .to_owned()
}

/// The same in a sentence or two, for push messages.
fn in_brief(crossing: &Crossing, passed: &[Milestone]) -> &'static str {
    match crossing.milestone {
        Milestone::AdultFlight => {
            "Adults are leaving the soil. Chlorantraniliprole spread from now on arrives late; get a soluble preventive and the water for it ready, if last year's counts call for one."
        }
        Milestone::EggLay => {
            "The two weeks for a soluble preventive (imidacloprid, clothianidin, thiamethoxam, where allowed), watered into the top 25 to 50 mm of soil."
        }
        Milestone::Hatch => {
            "Small larvae feed near the surface. Bt galleriae works for about two weeks from now; nematodes follow. Curatives wait for a count."
        }
        Milestone::WindowEnd if !passed.contains(&Milestone::Hatch) => {
            "Hatch was not reached: nothing needs to be spread against this year's larvae."
        }
        Milestone::WindowEnd => {
            "Preventives are wasted from now on. Count grubs; only a count above what the turf stands justifies a curative."
        }
    }
}

fn next_in_brief(species: &Species, next: Option<Expectation>) -> String {
    match next {
        None => "nothing more this season.".to_owned(),
        Some(Expectation {
            milestone,
            dates: Some(dates),
        }) => format!(
            "{} about {} ({} to {}) at the present pace.",
            milestone.title(),
            day_month(dates.likely),
            day_month(dates.earliest),
            day_month(dates.latest)
        ),
        Some(Expectation { milestone, .. }) => format!(
            "{} at {:.0} °C·d, too far ahead for a date.",
            milestone.title(),
            species.threshold(milestone).value
        ),
    }
}

/// How solid what made the milestone count is.
fn grade(species: &Species, crossing: &Crossing) -> &'static str {
    match crossing.by {
        PassedBy::Sum => species.threshold(crossing.milestone).solidity.in_words(),
        PassedBy::DateCap => species.season_end.solidity.in_words(),
    }
}

fn what_comes_next(species: &Species, next: Option<Expectation>) -> String {
    let Some(next) = next else {
        return "Nothing more this season.".to_owned();
    };
    let threshold = species.threshold(next.milestone);
    let at = format!(
        "{} at {}",
        capitalised(next.milestone.title()),
        range_words(threshold)
    );
    match next.dates {
        Some(dates) => format!(
            "{at}: about {} (between {} and {} over that range) if every day warms like the last {PACE_DAYS} on average. Only a pace, not a forecast.",
            day_month(dates.likely),
            day_month(dates.earliest),
            day_month(dates.latest),
        ),
        None => format!(
            "{at}: more than {FARTHEST_AHEAD_DAYS:.0} days away at the present pace, too far for a date."
        ),
    }
}

fn how_sure(species: &Species, crossing: &Crossing) -> String {
    let grade = match crossing.by {
        PassedBy::Sum => format!(
            "The threshold is {}. It is known to a range only, so expect the real event some days to either side.",
            grade(species, crossing)
        ),
        PassedBy::DateCap => format!(
            "The threshold of {} is {}; the date is a convention ({}). A warm autumn keeps larvae feeding longer.",
            crossing.milestone.title(),
            species.threshold(crossing.milestone).solidity.in_words(),
            grade(species, crossing)
        ),
    };
    format!("{grade} {}", species.note)
}

fn what_moved(
    notice: &Notice<'_>,
    species: &Species,
    told: NaiveDate,
    crossing: &Crossing,
    data_through: Option<NaiveDate>,
) -> String {
    format!(
        "{} of {} was told for {}. Late or corrected temperatures from {} move it to {} ({} days). Plan from the new date. {}",
        capitalised(crossing.milestone.title()),
        species.name,
        day_month(told),
        notice.station.name,
        day_month(crossing.on),
        (crossing.on - told).num_days().abs(),
        data_words(crossing.estimated_days, data_through),
    )
}

fn gone_quiet(notice: &Notice<'_>, newest: Option<NaiveDate>, problem: Option<&str>) -> String {
    let since = match newest {
        Some(day) => format!("has sent no new day since {}", day_month(day)),
        None => "has sent no day yet".to_owned(),
    };
    let problem = problem.map_or(String::new(), |problem| {
        format!(" The last attempt ran into this: {problem}.")
    });
    format!(
        "{} {since}.{problem} Until it does, hatchbell cannot see milestones at this site: its silence does not mean that nothing happens. Nothing that was stored is lost, and you are told when days arrive again.",
        notice.station.name
    )
}

fn cautions() -> String {
    let lines = [
        "The label is the law: product, rate, timing, watering in, protective gear and re-entry are what it says. hatchbell names active ingredients and times, never doses.",
        "Local rules decide what may be used and by whom; neonicotinoids (imidacloprid, clothianidin, thiamethoxam), trichlorfon and carbaryl are restricted or forbidden in many places, and a licensed applicator may be required.",
        "Never treat turf in bloom: mow clover and weeds first, keep off bees. Carbaryl and neonicotinoids are very toxic to them.",
        "Keep off water, drains, slopes that run to water, and hard surfaces; not before heavy rain or on saturated soil.",
        "Keep children and pets off until it is watered in and dry, or longer if the label says so.",
    ];
    let list: Vec<String> = lines.iter().map(|line| wrapped(line, "- ", "  ")).collect();
    format!("CAUTIONS\n{}", list.join("\n"))
}

fn brief_cautions() -> String {
    "Cautions: the label is the law; local rules and licensed applicators decide. Not on turf in bloom. Keep off water and drains. Children and pets off until watered in and dry.".to_owned()
}

fn range_words(threshold: &Threshold) -> String {
    let range = threshold.range.map_or(String::new(), |(low, high)| {
        format!(" ({low:.0} to {high:.0})")
    });
    format!(
        "{:.0}{range} °C·d, {}",
        threshold.value,
        threshold.solidity.in_words()
    )
}

fn labelled(label: &str, text: &str) -> String {
    wrapped(&format!("{label}: {text}"), "", "")
}

fn upper_rule(heading: &str) -> String {
    let lines = wrapped(heading, "", "");
    let widest = lines.lines().map(|line| line.chars().count()).max();
    format!("{lines}\n{}", "-".repeat(widest.unwrap_or(0)))
}

fn wrapped(text: &str, first: &str, later: &str) -> String {
    let options = textwrap::Options::new(COLUMNS)
        .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit)
        .initial_indent(first)
        .subsequent_indent(later);
    textwrap::fill(text, options)
}

fn day_month(day: NaiveDate) -> String {
    day.format("%-d %B").to_string()
}

fn capitalised(text: &str) -> String {
    let mut characters = text.chars();
    match characters.next() {
        Some(first) => first.to_uppercase().chain(characters).collect(),
        None => String::new(),
    }
}
