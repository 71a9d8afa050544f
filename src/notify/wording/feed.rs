//! What whoever runs hatchbell reads about feeds: what happened, what hatchbell does about it, and what to
//! do. Nothing here is about treatments, so it carries no cautions.

use super::block::{PUSH_CHARS, TITLE_CHARS, cut};
use super::{Message, wrapped};
use crate::domain::place::site::Channel;
use crate::domain::telling::feed_trouble::{FeedNotice, Trouble};

/// Words notices about feeds for one channel.
pub fn feed_message(
    service: &str,
    recipient: &str,
    channel: Channel,
    notices: &[FeedNotice<'_>],
) -> Message {
    let title = match notices {
        [] => "Nothing to report".to_owned(),
        [notice] => cut(&heading(notice), TITLE_CHARS),
        [first, rest @ ..] => {
            let more = format!(" (+{})", rest.len());
            cut(&heading(first), TITLE_CHARS - more.len()) + &more
        }
    };
    let body = if channel.is_brief() {
        let parts: Vec<String> = notices.iter().map(short).collect();
        cut(&parts.join(" "), PUSH_CHARS)
    } else {
        let mut parts: Vec<String> = notices.iter().map(full).collect();
        parts.push(wrapped(
            &format!("For {recipient}, who runs hatchbell at {service}."),
            "",
            "",
        ));
        parts.join("\n\n")
    };
    Message { title, body }
}

fn heading(notice: &FeedNotice<'_>) -> String {
    format!("{}: {}", notice.station.name, headline(notice))
}

fn headline(notice: &FeedNotice<'_>) -> &'static str {
    match (notice.trouble, notice.begins) {
        (Trouble::WentBack, true) => "the feed's file went back in time",
        (Trouble::WentBack, false) => "the feed's file reaches as far as before",
        (Trouble::Shrunk, true) => "days are gone from the feed's file",
        (Trouble::Shrunk, false) => "the feed's file is whole again",
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
        (Trouble::Sunlit, true) => "the sensor looks as if it hung in the sun",
        (Trouble::Sunlit, false) => "the sensor hangs in the shade again",
    }
}

/// What happened, then what is done and to do where it begins.
fn full(notice: &FeedNotice<'_>) -> String {
    let mut lines = vec![heading(notice), notice.what.clone()];
    if notice.begins {
        lines.push(what_is_done(notice.trouble).to_owned());
        lines.push(format!("To do: {}", what_to_do(notice)));
    }
    let lines: Vec<String> = lines.iter().map(|line| wrapped(line, "", "")).collect();
    lines.join("\n")
}

fn short(notice: &FeedNotice<'_>) -> String {
    format!("{}. {}", heading(notice), notice.what)
}

fn what_is_done(trouble: Trouble) -> &'static str {
    match trouble {
        Trouble::WentBack => {
            "Nothing stored is deleted; later files are held against the larger one."
        }
        Trouble::Shrunk => {
            "Nothing stored is deleted. If the file grows on in its new form for two weeks, that is taken for the usual one."
        }
        Trouble::Header => "The file is taken in, and later ones are held against the new header.",
        Trouble::Refused => {
            "Nothing of the file is used and nothing stored is lost. It is asked for again at every cycle."
        }
        Trouble::Unreachable => {
            "Nothing stored is lost. The file is asked for again at every cycle."
        }
        Trouble::Outlier => {
            "Sums leave these values out until the file says likely ones, a neighbour is near, or you confirm them."
        }
        Trouble::Frozen => {
            "Milestones after the newest day cannot be seen. The people of its sites are told after a week."
        }
        Trouble::Forecast => {
            "The weather ahead is left out; measured days and milestones go on without it."
        }
        Trouble::Sunlit => {
            "Its days are used as they are, so sums run ahead and dates come too early."
        }
    }
}

fn what_to_do(notice: &FeedNotice<'_>) -> String {
    let id = &notice.station.id;
    match notice.trouble {
        Trouble::WentBack | Trouble::Shrunk => {
            "nothing, if it is whole again within some days. If not, look whether the station's file has moved.".to_owned()
        }
        Trouble::Header => {
            "look at the file once, since units or the station may have changed with it.".to_owned()
        }
        Trouble::Refused => {
            "look at the file, and mend the station's table in the configuration if the service has changed for good.".to_owned()
        }
        Trouble::Unreachable => {
            "open the address. If the service has moved or ended, give the station another one, or its sites another station.".to_owned()
        }
        Trouble::Outlier => format!(
            "compare them with stations nearby, then hatchbell feed confirm {id} --all or hatchbell feed refuse {id} --all. Nothing must be done."
        ),
        Trouble::Frozen => {
            "look whether the service has renamed or retired the station. Change address and code then, but keep the id here; or give its sites another station.".to_owned()
        }
        Trouble::Sunlit => {
            "if it is a sensor of yours, hang it in the shade or in a screen with air around it; else give its sites another station.".to_owned()
        }
        Trouble::Forecast => format!(
            "look at its address or file, and mend or remove the table [station.forecast] of {id}."
        ),
    }
}
