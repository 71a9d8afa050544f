//! The same letter for windows that show more than text: what [`paragraphs`] finds in the text, in the
//! same words and order, with the picture of the season before the last lines. It is readable with
//! pictures off, in the dark and in a narrow window; it asks for nothing from elsewhere. Pure.

use super::paragraphs::{MailPart, MailRow, Paragraph, paragraphs};
use crate::notify::{Enclosed, Parcel};
use askama::Template;

/// The letter as HTML.
#[derive(Template)]
#[template(path = "page.html", config = "src/notify/email/askama.toml")]
pub(super) struct LetterPage<'p> {
    title: &'p str,
    told: Vec<Paragraph>,
    /// The last paragraph: for whom it is.
    last: Option<Paragraph>,
    enclosed: &'p Enclosed,
    picture_id: &'p str,
}

impl<'p> LetterPage<'p> {
    /// The letter of a parcel, whose picture has this id in the mail.
    pub fn of(parcel: &'p Parcel, picture_id: &'p str) -> Self {
        let mut told = paragraphs(&parcel.text);
        let last = if told.len() > 1 { told.pop() } else { None };
        Self {
            title: &parcel.title,
            told,
            last,
            enclosed: &parcel.enclosed,
            picture_id,
        }
    }
}
