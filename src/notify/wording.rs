//! What people read. Pure: notices in, text out.
//!
//! Text first, in short paragraphs: what happened, what it means for the work, what comes next and
//! when, how sure it is, and the cautions. Every message carries the cautions itself.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Crossing, PassedBy};
use crate::domain::phenology::species::{Species, Threshold};
use crate::domain::place::site::Channel;
use crate::domain::telling::early_notice::Early;
use crate::domain::telling::notice::{Bundle, Notice, NoticeKind};
use crate::domain::weather::blend::{NEWEST_DAYS, Part, PartIn};
use ahead::{dates, day_it_came, next_in_brief, what_comes_next, what_to_expect};
use chrono::NaiveDate;
use work::{brief_cautions, cautions, get_ready, get_ready_in_brief, in_brief, what_it_means};

mod advice;
mod ahead;
mod count;
mod treatment;
mod upkeep;
mod weather;
mod work;

pub use advice::{against_hatch, rotation_words};
pub use count::{
    density, how_to_dig, limits, what_damage_counts_for, what_it_says, what_was_found,
    what_was_found_in_brief,
};
pub use treatment::{how_words, need_words, samples_words, spread_words, water_in_words};
use treatment::{meaning_label, readiness, this_site};
pub use upkeep::feed_message;
use upkeep::{RELEASED, gone_quiet, held_back};
pub use weather::weather_words;
pub use work::CAUTIONS;

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
    let needs_cautions = |notice: &&Notice<'_>| notice.kind.needs_cautions();
    if bundle.notices.iter().any(needs_cautions) {
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
        NoticeKind::Foretold { species, early } => foretold_headline(species, early),
        NoticeKind::Moved {
            species, crossing, ..
        } => format!(
            "{}, {}: date corrected to {}",
            species.name,
            crossing.milestone.title(),
            day_it_came(crossing)
        ),
        NoticeKind::Withdrawn {
            species, milestone, ..
        } => format!("{}, {} was told too soon", species.name, milestone.title()),
        NoticeKind::Held { species, .. } => format!("{}, milestones are held back", species.name),
        NoticeKind::Released { species } => {
            format!("{}, milestones are no longer held back", species.name)
        }
        NoticeKind::Treatment(notice) => treatment::headline(notice),
        NoticeKind::CountNow { species } => {
            let names = species.iter().map(|(species, _)| species.name.as_str());
            format!("{}, time to count grubs", joined(names))
        }
        NoticeKind::Water {
            option, watering, ..
        } => treatment::water_headline(option, watering),
        NoticeKind::Stale { .. } => "no new temperatures".to_owned(),
        NoticeKind::Fresh { .. } => "temperatures arrive again".to_owned(),
    }
}

fn foretold_headline(species: &Species, early: &Early) -> String {
    let range = match (early.outlook.early, early.outlook.late) {
        (Some(from), Some(to)) => format!("likely {} to {}", day_month(from), day_month(to)),
        _ => format!("likely about {}", day_month(early.likely)),
    };
    let again = if early.moved_from.is_some() {
        " now"
    } else {
        ""
    };
    format!(
        "{}, {}{again} {range}",
        species.name,
        early.milestone.title()
    )
}

fn passed_headline(species: &Species, crossing: &Crossing) -> String {
    let what = match (crossing.milestone, crossing.by) {
        (Milestone::AdultFlight, _) => "adult flight has begun",
        (Milestone::EggLay, _) => "egg lay has begun",
        (Milestone::Hatch, _) => "hatch has begun",
        (Milestone::WindowEnd, PassedBy::Sum) => "the susceptible window has ended",
        (Milestone::WindowEnd, _) => "the susceptible window ends by the calendar",
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
            meaning,
        } => vec![
            labelled(
                "What happened",
                &what_happened(notice, species, crossing, *data_through),
            ),
            this_site(notice),
            labelled(
                meaning_label(notice, crossing.milestone),
                &what_it_means(species, *meaning),
            ),
            labelled("What comes next", &what_comes_next(species, *next)),
            labelled("How sure", &how_sure(species, crossing)),
        ],
        NoticeKind::Foretold { species, early } => vec![
            labelled("What to expect", &what_to_expect(species, early)),
            this_site(notice),
            labelled(readiness(notice), get_ready(early.milestone)),
            labelled("How sure", &threshold_grade(species, early.milestone)),
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
        NoticeKind::Withdrawn {
            species,
            milestone,
            told,
            data_through,
        } => vec![labelled(
            "What changed",
            &taken_back(notice, species, *milestone, *told, *data_through),
        )],
        NoticeKind::Held { hold, .. } => {
            vec![labelled("What happened", &held_back(notice, *hold))]
        }
        NoticeKind::Released { .. } => vec![labelled("What happened", RELEASED)],
        NoticeKind::Treatment(treatment) => treatment::paragraphs(treatment, notice.site.area),
        NoticeKind::CountNow { species } => vec![labelled(
            "What to do",
            &treatment::count_words(notice.site, species),
        )],
        NoticeKind::Water {
            option,
            watering,
            wet,
        } => vec![labelled(
            "Watering in",
            &water_in_words(option, watering, *wet),
        )],
        NoticeKind::Stale { newest } => {
            vec![labelled("What happened", &gone_quiet(notice, *newest))]
        }
        NoticeKind::Fresh { newest } => vec![labelled(
            "What happened",
            &format!(
                "{} sends days again, up to {}. Milestones that fell into the silence are told with their dates as soon as the missing days are filled; if too many are missing you are told that they are held back.",
                notice.station.name,
                day_month(*newest)
            ),
        )],
    };
    parts.extend(paragraphs.into_iter().filter(|text| !text.is_empty()));
    parts.join("\n\n")
}

fn short(notice: &Notice<'_>) -> String {
    let heading = format!("{}: {}", notice.site.name, headline(&notice.kind));
    let text = match &notice.kind {
        NoticeKind::Passed {
            species,
            crossing,
            next,
            meaning,
            data_through,
        } => format!(
            "{} Next: {} {}{} The threshold is {}.",
            in_brief(*meaning),
            next_in_brief(species, *next),
            data_words(crossing.estimated_days, *data_through),
            parts_words(notice.parts),
            grade(species, crossing),
        ),
        NoticeKind::Foretold { species, early } => format!(
            "It is {}. {} The threshold is {}.",
            dates(&early.outlook),
            get_ready_in_brief(early.milestone),
            species.threshold(early.milestone).grade.in_words(),
        ),
        NoticeKind::Moved {
            species,
            told,
            crossing,
            data_through,
        } => what_moved(notice, species, *told, crossing, *data_through),
        NoticeKind::Withdrawn {
            species,
            milestone,
            told,
            data_through,
        } => taken_back(notice, species, *milestone, *told, *data_through),
        NoticeKind::Held { hold, .. } => held_back(notice, *hold),
        NoticeKind::Released { .. } => RELEASED.to_owned(),
        NoticeKind::Treatment(notice) => treatment::brief(notice),
        NoticeKind::CountNow { species } => treatment::count_words(notice.site, species),
        NoticeKind::Water {
            option,
            watering,
            wet,
        } => water_in_words(option, watering, *wet),
        NoticeKind::Stale { newest } => gone_quiet(notice, *newest),
        NoticeKind::Fresh { newest } => {
            format!(
                "{} sends days again, up to {}.",
                notice.station.name,
                day_month(*newest)
            )
        }
    };
    let here = match (&notice.kind, &notice.need) {
        (NoticeKind::Passed { .. } | NoticeKind::Foretold { .. }, Some(need)) => {
            format!(" Here: {}", treatment::need_in_brief(need))
        }
        _ => String::new(),
    };
    format!("{heading}. {text}{here}")
}

fn what_happened(
    notice: &Notice<'_>,
    species: &Species,
    crossing: &Crossing,
    data_through: Option<NaiveDate>,
) -> String {
    let threshold = species.threshold(crossing.milestone);
    let data = format!(
        "{}{}",
        data_words(crossing.estimated_days, data_through),
        parts_words(notice.parts)
    );
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
            "The season at {} had not reached {:.0} °C·d by {}: it stood at {:.0}. From that date on the soil is taken to cool and larvae to feed less and move down ({}). {data}",
            notice.station.name,
            threshold.value,
            day_month(crossing.on),
            crossing.degree_days,
            grade(species, crossing),
        ),
        PassedBy::DateCapUnknown => format!(
            "The window is taken to end by {} ({}). Days of {} are missing this season, so how far it came is not known.",
            day_month(crossing.on),
            grade(species, crossing),
            notice.station.name,
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

/// Which of several stations the newest days come from, and which neighbours the missing ones.
fn parts_words(parts: &[Part]) -> String {
    let listed = |of, on| -> Vec<String> {
        let those = parts.iter().filter(|part| part.of == of);
        those
            .map(|part| format!("{} {on}{}", part.name, part.days))
            .collect()
    };
    let (newest, missing) = (listed(PartIn::Newest, ""), listed(PartIn::Missing, "on "));
    let mut words = String::new();
    if !newest.is_empty() {
        words += &format!(" Last {NEWEST_DAYS} days: {}.", newest.join(", "));
    }
    if !missing.is_empty() {
        words += &format!(
            " Neighbours stood in for missing days of this season: {}.",
            missing.join(", ")
        );
    }
    words
}

/// How solid what made the milestone count is.
fn grade(species: &Species, crossing: &Crossing) -> &'static str {
    match crossing.by {
        PassedBy::Sum => species.threshold(crossing.milestone).grade.in_words(),
        _ => species.season_end.grade.in_words(),
    }
}

/// How far a threshold can be trusted, and what else there is to know of the species.
fn threshold_grade(species: &Species, milestone: Milestone) -> String {
    format!(
        "The threshold is {}. Expect the real event some days to either side. {}",
        species.threshold(milestone).grade.in_words(),
        species.note
    )
}

fn how_sure(species: &Species, crossing: &Crossing) -> String {
    match crossing.by {
        PassedBy::Sum => threshold_grade(species, crossing.milestone),
        _ => format!(
            "The threshold of {} is {}; the date is a convention ({}). A warm autumn keeps larvae feeding longer. {}",
            crossing.milestone.title(),
            species.threshold(crossing.milestone).grade.in_words(),
            grade(species, crossing),
            species.note
        ),
    }
}

fn what_moved(
    notice: &Notice<'_>,
    species: &Species,
    told: NaiveDate,
    crossing: &Crossing,
    data_through: Option<NaiveDate>,
) -> String {
    format!(
        "{} of {} was told for {}. What has come in since (late or corrected temperatures from {}, a logged catch, or changed settings) moves it to {} ({} days). Plan from the new date. {}",
        capitalised(crossing.milestone.title()),
        species.name,
        day_month(told),
        notice.station.name,
        day_it_came(crossing),
        (crossing.on - told).num_days().abs(),
        data_words(crossing.estimated_days, data_through),
    )
}

fn taken_back(
    notice: &Notice<'_>,
    species: &Species,
    milestone: Milestone,
    told: NaiveDate,
    data_through: Option<NaiveDate>,
) -> String {
    format!(
        "{} of {} was told for {}. What has come in since (corrected temperatures from {}, a logged catch, or changed settings) no longer reaches it. Hold back what is not done yet; you are told when it is reached. {}",
        capitalised(milestone.title()),
        species.name,
        day_month(told),
        notice.station.name,
        data_words(0, data_through),
    )
}

fn range_words(threshold: &Threshold) -> String {
    let range = threshold.range.map_or(String::new(), |(low, high)| {
        format!(" ({low:.0} to {high:.0})")
    });
    format!(
        "{:.0}{range} °C·d, {}",
        threshold.value,
        threshold.grade.in_words()
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
        // Ids in commands have hyphens and must not be cut there.
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .initial_indent(first)
        .subsequent_indent(later);
    textwrap::fill(text, options)
}

/// Names as a reader lists them: "a, b and c".
pub(crate) fn joined<'n>(names: impl Iterator<Item = &'n str>) -> String {
    let names: Vec<&str> = names.collect();
    match names.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
        None => String::new(),
    }
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
