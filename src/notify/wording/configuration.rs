//! What whoever runs hatchbell reads about mistakes in members' tables.

use super::block::{PUSH_CHARS, TITLE_CHARS, cut};
use super::{Message, wrapped};
use crate::domain::place::site::Channel;
use crate::in_force::Fault;

/// Problems of one member that are named before the others are only counted.
const NAMED_PROBLEMS: usize = 3;

/// Words for mistakes that are new or have changed, and for subjects that are in order again, by one
/// of the operator's channels; one of the two is not empty.
pub fn configuration_message(
    service: &str,
    operator: &str,
    channel: Channel,
    faults: &[&Fault],
    mended: &[&str],
) -> Message {
    let title = match (faults, mended) {
        ([], [one]) => format!("The configuration of {one} is in order"),
        ([], _) => "The configuration is in order again".to_owned(),
        ([one], _) => format!("Mistakes in the configuration of {}", one.subject),
        _ => format!("Mistakes in {} parts of the configuration", faults.len()),
    };
    let title = cut(&title, TITLE_CHARS);
    let mut paragraphs: Vec<String> = faults.iter().map(|fault| fault_words(fault)).collect();
    if !mended.is_empty() {
        paragraphs.push(format!("In order again: {}.", mended.join(", ")));
    }
    let body = if channel.is_brief() {
        cut(&format!("{title}. {}", paragraphs.join(" ")), PUSH_CHARS)
    } else {
        if !faults.is_empty() {
            paragraphs.push("To do: mend it, then hatchbell reload.".to_owned());
        }
        paragraphs.push(format!("For {operator}, who runs hatchbell at {service}."));
        let paragraphs: Vec<String> = paragraphs
            .iter()
            .map(|paragraph| {
                let lines = paragraph.lines().map(|line| wrapped(line, "", "  "));
                lines.collect::<Vec<_>>().join("\n")
            })
            .collect();
        paragraphs.join("\n\n")
    };
    Message { title, body }
}

fn fault_words(fault: &Fault) -> String {
    let subject = &fault.subject;
    let mut text = match fault.goes_on {
        true => format!("{subject}: goes on as last configured."),
        false => format!("{subject}: LEFT OUT, nobody there is told anything."),
    };
    for problem in fault.problems.iter().take(NAMED_PROBLEMS) {
        text += &format!("\n{problem}");
    }
    match fault.problems.len().saturating_sub(NAMED_PROBLEMS) {
        0 => {}
        more => text += &format!("\nand {more} more: hatchbell check"),
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(goes_on: bool, problems: usize) -> Fault {
        Fault {
            subject: "member mill-lane".to_owned(),
            goes_on,
            problems: (1..=problems)
                .map(|n| format!("a.toml:{n}:1: error: odd"))
                .collect(),
        }
    }

    #[test]
    fn a_mistake_is_told_with_what_becomes_of_the_member_and_where_it_stands() {
        let fault = fault(true, 5);
        let message =
            configuration_message("A co-op", "Ada", Channel::Email, &[&fault], &["x.toml"]);
        assert_eq!(
            message.title,
            "Mistakes in the configuration of member mill-lane"
        );
        assert_eq!(
            message.body,
            "member mill-lane: goes on as last configured.\na.toml:1:1: error: odd\n\
             a.toml:2:1: error: odd\na.toml:3:1: error: odd\nand 2 more: hatchbell check\n\n\
             In order again: x.toml.\n\nTo do: mend it, then hatchbell reload.\n\n\
             For Ada, who runs hatchbell at A co-op."
        );
    }

    #[test]
    fn a_member_who_is_left_out_is_told_as_such_and_one_mended_as_in_order() {
        let fault = fault(false, 1);
        let message = configuration_message("A co-op", "Ada", Channel::Push, &[&fault], &[]);
        assert!(message.body.contains("LEFT OUT"), "{}", message.body);
        let mended = configuration_message("A co-op", "Ada", Channel::Email, &[], &["member a"]);
        assert_eq!(mended.title, "The configuration of member a is in order");
        assert!(!mended.body.contains("To do"), "{}", mended.body);
    }
}
