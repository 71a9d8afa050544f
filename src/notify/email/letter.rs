//! The message itself: addresses, headers and text. Pure.

use std::time::SystemTime;

use askama::Template;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use lettre::address::Address;
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, Message, MultiPart, SinglePart};
use ring::digest::{SHA256, digest};

use super::page::LetterPage;
use crate::notify::Parcel;

/// Last second a mail's date can name, 9999-12-31T23:59:59Z.
const LAST_DATE: i64 = 253_402_300_799;

/// Makes the mail; the same parcel makes the same mail.
pub(super) fn message(from: &Mailbox, to: Mailbox, parcel: &Parcel) -> Result<Message, String> {
    let date = parcel.created_at.timestamp();
    if !(0..=LAST_DATE).contains(&date) {
        return Err(format!(
            "{} cannot be the date of a mail",
            parcel.created_at
        ));
    }
    let mut builder = Message::builder()
        .from(from.clone())
        .to(to)
        .subject(without_controls(&parcel.title))
        .date(SystemTime::from(parcel.created_at))
        .message_id(Some(message_id(&parcel.id, from.email.as_ref())))
        .raw_header(raw("Auto-Submitted", "auto-generated"));
    if let Some(address) = one_click(parcel) {
        builder = builder
            .raw_header(raw("List-Unsubscribe", &format!("<{address}>")))
            .raw_header(raw("List-Unsubscribe-Post", "List-Unsubscribe=One-Click"));
    }
    let parts = parts(parcel).map_err(|error| error.to_string())?;
    builder.multipart(parts).map_err(|error| error.to_string())
}

fn raw(name: &'static str, value: &str) -> HeaderValue {
    HeaderValue::new(HeaderName::new_from_ascii_str(name), value.to_owned())
}

/// Where one click stops what is not urgent (RFC 8058, which asks for HTTPS).
fn one_click(parcel: &Parcel) -> Option<&str> {
    let address = parcel.enclosed.stop.as_deref()?;
    address.starts_with("https://").then_some(address)
}

/// The text, and the same as a page with its picture. What divides the parts follows from the parcel.
fn parts(parcel: &Parcel) -> Result<MultiPart, askama::Error> {
    let of_parcel = URL_SAFE_NO_PAD.encode(digest(&SHA256, parcel.id.as_bytes()));
    let picture_id = format!("season.{of_parcel}@hatchbell");
    let page = LetterPage::of(parcel, &picture_id).render()?;
    let page = SinglePart::html(page);
    let both = MultiPart::alternative().boundary(format!("letter.{of_parcel}"));
    // The end of the mail brings a line end of its own.
    let both = both.singlepart(SinglePart::plain(text(parcel)));
    let Some(picture) = &parcel.enclosed.picture else {
        return Ok(both.singlepart(page));
    };
    let with_picture = MultiPart::related()
        .boundary(format!("page.{of_parcel}"))
        .singlepart(page)
        .singlepart(Attachment::new_inline(picture_id).body(picture.png.clone(), png()));
    Ok(both.multipart(with_picture))
}

fn png() -> ContentType {
    ContentType::parse("image/png").unwrap_or(ContentType::TEXT_PLAIN)
}

/// What the mail says, with its links below.
fn text(parcel: &Parcel) -> String {
    let mut text = parcel.text.trim_end_matches(['\r', '\n']).to_owned();
    if let Some(links) = &parcel.enclosed.links {
        text += &format!("\n\n{}", links.heading);
        for link in &links.sites {
            text += &format!("\n- {}: {}", link.name, link.address);
        }
        if let Some(words) = links.note {
            text += &format!("\n{words}");
        }
    }
    if let Some(link) = parcel.enclosed.stop_link() {
        text += &format!("\n\n{}: {}", link.name, link.address);
    }
    text
}

/// `text` on one line: control characters become spaces.
pub(super) fn without_controls(text: &str) -> String {
    text.replace(char::is_control, " ")
}

/// The Message-ID of a parcel: `<id@domain>` with the domain of the sender (`localhost` if `from`
/// has none). Characters that may not stand in a Message-ID become `=` and two hex digits per
/// byte, so different ids stay different.
pub fn message_id(parcel_id: &str, from: &str) -> String {
    let domain = from
        .rsplit_once('@')
        .map_or("localhost", |(_, domain)| domain.trim_end_matches('>'));
    let bytes = parcel_id.as_bytes();
    let mut id = String::with_capacity(bytes.len());
    for (index, &byte) in bytes.iter().enumerate() {
        let between = index > 0
            && bytes[index - 1] != b'.'
            && bytes.get(index + 1).is_some_and(|&next| next != b'.');
        if byte.is_ascii_alphanumeric() || b"-_+".contains(&byte) || (byte == b'.' && between) {
            id.push(char::from(byte));
        } else {
            id.push_str(&format!("={byte:02X}"));
        }
    }
    format!("<{id}@{domain}>")
}

/// Whether `text` is one mail address: `name@example.org` or `Name <name@example.org>`.
///
/// # Errors
///
/// A sentence that says what is wrong and how an address looks.
pub fn check_address(text: &str) -> Result<(), String> {
    mailbox(text).map(drop)
}

/// Reads one address with or without a name.
pub(super) fn mailbox(text: &str) -> Result<Mailbox, String> {
    let complaint = || {
        format!(
            "{text:?} is not a mail address; write one like name@example.org or Name <name@example.org>"
        )
    };
    if text.contains(char::is_control) {
        return Err(complaint());
    }
    let (name, address) = match text.trim().strip_suffix('>') {
        Some(named) => named.rsplit_once('<').ok_or_else(complaint)?,
        None => ("", text.trim()),
    };
    if !address.is_ascii() {
        return Err(format!(
            "{text:?}: mail addresses need plain letters; write a domain in its xn-- form"
        ));
    }
    let address: Address = address.parse().map_err(|_| complaint())?;
    let name = name.trim().trim_matches('"').trim();
    let name = (!name.is_empty()).then(|| name.to_owned());
    Ok(Mailbox::new(name, address))
}

#[cfg(test)]
mod tests {
    use chrono::{DateTime, Utc};

    use super::*;
    use crate::notify::Enclosed;

    fn parcel(title: &str, created_at: DateTime<Utc>) -> Parcel {
        Parcel {
            id: "k7".into(),
            title: title.into(),
            text: "Water in.\n".into(),
            created_at,
            enclosed: Enclosed::default(),
        }
    }

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(seconds, 0).expect("a date")
    }

    fn made(parcel: &Parcel) -> Result<Message, String> {
        let from = mailbox("Alderbrook turf desk <desk@alderbrook.example>")?;
        message(&from, mailbox("greens@alderbrook.example")?, parcel)
    }

    #[test]
    fn the_message_id_has_the_domain_of_the_sender() {
        for from in [
            "desk@alderbrook.example",
            "Turf @ desk <desk@alderbrook.example>",
        ] {
            assert_eq!(message_id("k7-2026", from), "<k7-2026@alderbrook.example>");
        }
        assert_eq!(message_id("k7", "desk"), "<k7@localhost>");
    }

    #[test]
    fn characters_a_message_id_may_not_hold_are_spelt_out() {
        let id = |text| message_id(text, "desk@a.example");
        assert_eq!(id("green 1:°C"), "<green=201=3A=C2=B0C@a.example>");
        assert_eq!(id("x>\r\nBcc: y"), "<x=3E=0D=0ABcc=3A=20y@a.example>");
        assert_eq!(id("v1.2"), "<v1.2@a.example>");
        assert_eq!(id(".a..b."), "<=2Ea=2E=2Eb=2E@a.example>");
        assert_ne!(id("a=20"), id("a "));
    }

    #[test]
    fn the_same_parcel_makes_the_same_bytes() {
        let parcel = parcel("Eggs hatch", at(1_780_000_000));
        let first = made(&parcel).expect("a message").formatted();
        assert_eq!(made(&parcel).expect("a message").formatted(), first);
        let text = String::from_utf8(first).expect("a mail in ASCII");
        assert!(
            text.contains("Date: Thu, 28 May 2026 20:26:40 +0000\r\n"),
            "{text}"
        );
    }

    #[test]
    fn a_line_end_in_the_title_does_not_make_a_header() {
        let parcel = parcel("Eggs\r\nBcc: all@alderbrook.example", at(1_780_000_000));
        let text = made(&parcel).expect("a message").formatted();
        let text = String::from_utf8(text).expect("a mail in ASCII");
        assert!(
            text.contains("Subject: Eggs  Bcc: all@alderbrook.example\r\n"),
            "{text}"
        );
    }

    #[test]
    fn a_date_no_mail_can_hold_is_an_error() {
        assert!(made(&parcel("x", at(-1))).is_err());
        assert!(made(&parcel("x", at(LAST_DATE + 1))).is_err());
        assert!(made(&parcel("x", at(0))).is_ok());
        assert!(made(&parcel("x", at(LAST_DATE))).is_ok());
    }

    #[test]
    fn addresses_with_and_without_a_name_are_read() {
        for (text, name) in [
            ("desk@alderbrook.example", None),
            (" <desk@alderbrook.example> ", None),
            ("Turf desk <desk@alderbrook.example>", Some("Turf desk")),
            (
                "\"Desk, turf\" <desk@alderbrook.example>",
                Some("Desk, turf"),
            ),
            ("Süd <desk@alderbrook.example>", Some("Süd")),
        ] {
            let mailbox = mailbox(text).expect("an address");
            assert_eq!(mailbox.email.as_ref() as &str, "desk@alderbrook.example");
            assert_eq!(mailbox.name.as_deref(), name);
        }
    }

    #[test]
    fn what_is_not_one_address_is_refused_and_shown() {
        for text in [
            "",
            "desk",
            "desk@",
            "@alderbrook.example",
            "a@alderbrook.example, b@alderbrook.example",
            "a@alderbrook.example b",
            "Desk <a@alderbrook.example",
            "Desk a@alderbrook.example>",
            "Desk <a@alderbrook.example> <b@alderbrook.example>, c",
            "Desk\r\nBcc: c <a@alderbrook.example>",
            "dé@alderbrook.example",
            "desk@süd.example",
        ] {
            let complaint = check_address(text).expect_err(text);
            assert!(complaint.starts_with(&format!("{text:?}")), "{complaint}");
        }
    }
}
