//! What the people of a site read when its data fail. Nothing here is about treatments, so it carries no
//! cautions.

use super::block::Block;
use super::{Reader, joined};
use crate::domain::notation::Notation;
use crate::domain::phenology::season_state::Hold;
use crate::domain::phenology::species::Species;
use crate::domain::telling::notice::{Notice, NoticeKind};
use chrono::NaiveDate;

/// Milestones that are held back: of all species of a site for which the reason is the same, told with the
/// first of them.
pub(super) fn held(
    notice: &Notice<'_>,
    all: &[&Notice<'_>],
    hold: Hold,
    notation: &Notation,
) -> Option<Block> {
    let here = all.iter().filter(|other| other.site.id == notice.site.id);
    let alike = here.filter_map(|other| match &other.kind {
        NoticeKind::Held {
            species,
            hold: same,
        } if *same == hold => Some((*other, species.name.as_str())),
        _ => None,
    });
    let alike: Vec<(&Notice<'_>, &str)> = alike.collect();
    if !alike
        .first()
        .is_some_and(|(first, _)| std::ptr::eq(*first, notice))
    {
        return None;
    }
    let why = match hold {
        Hold::NoData => "has no measured day this season yet".to_owned(),
        Hold::Gap(gap) => format!(
            "lacks {} days, {} to {}, too many to bridge",
            gap.days(),
            notation.day(gap.from),
            notation.day(gap.to)
        ),
        Hold::TooManyEstimated { estimated, limit } => {
            format!("has {estimated} estimated days this season, more than the {limit} allowed")
        }
    };
    let species = joined(alike.iter().map(|(_, species)| *species));
    Some(data_block(
        format!("{species}: milestones are held back"),
        format!("{} {why}.", notice.station.name),
        vec!["Until that is mended silence does not mean that nothing happens: go by traps and digging.".to_owned()],
    ))
}

/// They are no longer.
pub(super) fn released(species: &Species) -> Block {
    data_block(
        format!("{}: milestones are told again", species.name),
        "The missing days have been filled.".to_owned(),
        Vec::new(),
    )
}

/// A station that sends no days.
pub(super) fn stale(
    notice: &Notice<'_>,
    newest: Option<NaiveDate>,
    reader: Reader<'_>,
    notation: &Notation,
) -> Block {
    let since = match newest {
        Some(day) => format!("has sent no new day since {}", notation.day_and_year(day)),
        None => "has sent no day yet".to_owned(),
    };
    data_block(
        format!("No new temperatures: {} {since}", notice.station.name),
        "Until it does silence does not mean that nothing happens.".to_owned(),
        vec![if reader.at_machine {
            "Nothing stored is lost. hatchbell status shows the reason.".to_owned()
        } else {
            format!(
                "Nothing stored is lost. {} can see the reason.",
                reader.answer_to
            )
        }],
    )
}

/// A station that sends days again.
pub(super) fn fresh(notice: &Notice<'_>, newest: NaiveDate, notation: &Notation) -> Block {
    data_block(
        format!("{} sends temperatures again", notice.station.name),
        format!("Up to {}.", notation.day(newest)),
        Vec::new(),
    )
}

fn data_block(head: String, deadline: String, lines: Vec<String>) -> Block {
    Block {
        urgency: 6,
        head,
        deadline,
        lines,
        ..Block::default()
    }
}
