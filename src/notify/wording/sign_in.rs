//! What somebody reads who asked to sign in to the page.

use super::block::TITLE_CHARS;
use super::block::cut;
use super::{Message, wrapped};
use crate::domain::place::site::Channel;

/// A link to sign in by, and whose it is.
#[derive(Debug, Clone, Copy)]
pub struct SignInLink<'a> {
    /// The service's name.
    pub service: &'a str,
    /// Their name.
    pub name: &'a str,
    /// The link: a whole address.
    pub link: &'a str,
    /// How long it is good.
    pub minutes: i64,
    /// Whom they answer to.
    pub answer_to: &'a str,
}

/// Words a link, for one of a recipient's channels. The link stands alone on its line, whole.
pub fn sign_in_message(channel: Channel, of: &SignInLink<'_>) -> Message {
    let title = cut(&format!("Your way in to {}", of.service), TITLE_CHARS);
    let good = format!("Good once, for {} minutes.", of.minutes);
    let body = if channel.is_brief() {
        format!("{}\n{good}", of.link)
    } else {
        let open = format!("Open this to sign in as {}:", of.name);
        let other =
            format!("{good} If you did not ask for it, leave it: nobody comes in without it.");
        let foot = format!(
            "For {}, from hatchbell at {}. Questions to {}.",
            of.name, of.service, of.answer_to
        );
        [
            wrapped(&open, "", ""),
            of.link.to_owned(),
            wrapped(&other, "", ""),
            wrapped(&foot, "", ""),
        ]
        .join("\n\n")
    };
    Message { title, body }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_link_stands_whole_on_a_line_of_its_own_with_how_long_it_is_good() {
        let link = format!(
            "https://turf.three-brooks.example/sign-in/{}",
            "0a".repeat(32)
        );
        let of = SignInLink {
            service: "Three Brooks Turf Co-op",
            name: "Ada",
            link: &link,
            minutes: 15,
            answer_to: "the desk",
        };
        for channel in [Channel::Email, Channel::Push] {
            let body = sign_in_message(channel, &of).body;
            assert!(body.lines().any(|line| line == link), "{body}");
            assert!(body.contains("Good once, for 15 minutes."), "{body}");
        }
    }
}
