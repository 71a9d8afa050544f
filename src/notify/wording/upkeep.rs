//! What whoever runs hatchbell reads about feeds, and what the people of a site read when its data
//! fail: what happened, what hatchbell does about it, and what to do. Nothing here is about
//! treatments, so it carries no cautions.

use super::block::Block;
use super::{Message, Reader, labelled, upper_rule, wrapped};
use crate::domain::notation::Notation;
use crate::domain::phenology::season_state::Hold;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Channel;
use crate::domain::telling::feed_trouble::{FeedNotice, Trouble};
use crate::domain::telling::notice::Notice;
use chrono::NaiveDate;

/// Words notices about feeds for one channel.
pub fn feed_message(
    service: &str,
    recipient: &str,
    channel: Channel,
    notices: &[FeedNotice<'_>],
) -> Message {
    let brief = channel == Channel::Push;
    let mut parts: Vec<String> = notices
        .iter()
        .map(|notice| if brief { short(notice) } else { full(notice) })
        .collect();
    if !brief {
        let sender = format!("For {recipient}, who runs hatchbell at {service}");
        parts.push(wrapped(&sender, "", ""));
    }
    let title = match notices {
        [] => "Nothing to report".to_owned(),
        [notice] => heading(notice),
        [first, rest @ ..] => format!("{}, and {} more", heading(first), rest.len()),
    };
    Message {
        title,
        body: parts.join("\n\n"),
    }
}

fn heading(notice: &FeedNotice<'_>) -> String {
    format!("{}: {}", notice.station.name, headline(notice))
}

fn headline(notice: &FeedNotice<'_>) -> &'static str {
    match (notice.trouble, notice.begins) {
        (Trouble::WentBack, true) => "the feed's file went back in time",
        (Trouble::WentBack, false) => "the feed's file reaches as far as before",
        (Trouble::Shrunk, true) => "days are gone from the feed's file",
        (Trouble::Shrunk, false) => "the feed's file is no longer smaller than before",
        (Trouble::Header, _) => "the feed's header has changed",
        (Trouble::Refused, true) => "the feed's file is refused",
        (Trouble::Refused, false) => "the feed's file is taken in again",
        (Trouble::Unreachable, true) => "the feed has not arrived for two days",
        (Trouble::Unreachable, false) => "the feed arrives again",
        (Trouble::Outlier, true) => "unlikely temperatures are held",
        (Trouble::Outlier, false) => "no temperature is held any more",
        (Trouble::Frozen, true) => "the feed is served but no longer grows",
        (Trouble::Frozen, false) => "the feed grows again",
        (Trouble::Forecast, true) => "there is no forecast any more",
        (Trouble::Forecast, false) => "there is a forecast again",
    }
}

fn full(notice: &FeedNotice<'_>) -> String {
    let mut parts = vec![
        upper_rule(&heading(notice)),
        labelled("What happened", &notice.what),
    ];
    if notice.begins {
        parts.push(labelled(
            "What hatchbell does",
            what_is_done(notice.trouble),
        ));
        parts.push(labelled("What to do", what_to_do(notice.trouble)));
    }
    parts.join("\n\n")
}

fn short(notice: &FeedNotice<'_>) -> String {
    let heading = heading(notice);
    if !notice.begins {
        return format!("{heading}. {}", notice.what);
    }
    format!(
        "{heading}. {} {} {}",
        notice.what,
        what_is_done(notice.trouble),
        what_to_do(notice.trouble)
    )
}

fn what_is_done(trouble: Trouble) -> &'static str {
    match trouble {
        Trouble::WentBack => {
            "It merges what the file still says and deletes nothing: every day stored before stays and counts. Later files are held against the larger one."
        }
        Trouble::Shrunk => {
            "It merges what the file still says and deletes nothing: every day stored before stays and counts. If the file grows on in its new form for two weeks, that form is taken for the usual one."
        }
        Trouble::Header => "It takes the file in and holds later ones against the new header.",
        Trouble::Refused => {
            "It uses nothing of the file. What is stored stays, and the file is asked for again at every cycle; new days are missing meanwhile."
        }
        Trouble::Unreachable => {
            "What is stored stays, and the file is asked for again at every cycle; new days are missing meanwhile."
        }
        Trouble::Outlier => {
            "It leaves the values out of all sums and keeps the last good ones, if there are any; otherwise the days count as missing and are estimated. A value is taken in when the file says another one that is likely, when a neighbouring station is near it, or when you confirm it. Where less than ten years are stored, up to three days are believed when the file still says them a day later."
        }
        Trouble::Frozen => {
            "It keeps asking. What is stored stays, but milestones after the newest day cannot be seen; the people of sites that have no other station are told that no new temperatures arrive."
        }
        Trouble::Forecast => {
            "It says nothing of the weather ahead and asks for the forecast again at every cycle. Measured days and milestones go on without it."
        }
    }
}

fn what_to_do(trouble: Trouble) -> &'static str {
    match trouble {
        Trouble::WentBack | Trouble::Shrunk => {
            "Nothing, if it is whole again within some days; you are told. If not, open the address and look whether the station's file has moved."
        }
        Trouble::Header => {
            "Look at the file once: services that change columns sometimes change units or the station as well. If it is fine there is nothing to do; this is told once."
        }
        Trouble::Refused => {
            "Open the address, look at the file and mend the station's table in the configuration if the service has changed for good. You are told when a file is taken in again."
        }
        Trouble::Unreachable => {
            "Open the address in a browser. If the service has ended or moved, give the station another address, or name another station for its sites. You are told when it arrives again."
        }
        Trouble::Outlier => {
            "Compare the values with stations nearby. \"hatchbell feed confirm STATION DAY\" takes one in, \"hatchbell feed refuse STATION DAY\" leaves it out for good; \"--all\" settles all of a station. Until then there is nothing that you must do."
        }
        Trouble::Frozen => {
            "Look whether the service lists the station under a new id; old ids often stay, frozen, for years. Then change the address and code, but keep the station's own id here. If the station has ended, name another one for its sites."
        }
        Trouble::Forecast => {
            "Open its address or file and mend the station's [station.forecast] in the configuration if the service has changed, or take that table out. You are told when a forecast is taken in again."
        }
    }
}

/// Milestones of a species that are held back.
pub(super) fn held(
    notice: &Notice<'_>,
    species: &Species,
    hold: Hold,
    notation: &Notation,
) -> Block {
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
    data_block(
        format!("{}: milestones are held back", species.name),
        format!("{} {why}.", notice.station.name),
        vec!["Until that is mended silence does not mean that nothing happens: go by traps and digging.".to_owned()],
    )
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
