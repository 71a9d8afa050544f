//! From the bytes of a file to its text: the right member of a zip archive, in UTF-8.

use super::Rejection;
use super::limits::{MOST_BYTES, MOST_LATIN1_BYTES, MOST_MEMBERS, MOST_PACKED_BYTES, REMEDY};
use crate::station_feed::dialect::{Dialect, Encoding};
use std::borrow::Cow;
use std::io::{Cursor, Read};
use zip::ZipArchive;

/// How every zip archive begins.
const ZIP_MAGIC: &[u8] = b"PK\x03\x04";
/// How a member begins in an archive's list of members.
const MEMBER_MAGIC: &[u8] = b"PK\x01\x02";
/// Members listed in a message.
const MEMBERS_SHOWN: usize = 5;

/// The text of a file: of the archive's member that the dialect names, if it is an archive, and in
/// UTF-8. Where the dialect expects no archive the bytes stay as they are.
///
/// # Errors
/// [`Rejection`] if the archive is damaged, too large once unpacked, or holds none or several such
/// members.
pub fn unpacked<'b>(bytes: &'b [u8], dialect: &Dialect) -> Result<Cow<'b, [u8]>, Rejection> {
    let text = match &dialect.zip_member {
        Some(pattern) if bytes.starts_with(ZIP_MAGIC) => {
            Cow::Owned(member(bytes, pattern, MOST_BYTES)?)
        }
        _ => Cow::Borrowed(bytes),
    };
    if dialect.encoding == Encoding::Latin1 && std::str::from_utf8(&text).is_err() {
        if text.len() > MOST_LATIN1_BYTES {
            return Err(Rejection::whole(
                format!(
                    "the file has {} bytes in Latin-1 where {MOST_LATIN1_BYTES} are allowed",
                    text.len()
                ),
                REMEDY,
            ));
        }
        let letters: String = text.iter().map(|byte| char::from(*byte)).collect();
        return Ok(Cow::Owned(letters.into_bytes()));
    }
    Ok(text)
}

/// The names of what a zip archive holds, none if it cannot be read or holds too many; `None` for
/// what is no archive.
pub fn names_in_zip(bytes: &[u8]) -> Option<Vec<String>> {
    if !bytes.starts_with(ZIP_MAGIC) {
        return None;
    }
    if has_many_members(bytes) {
        return Some(Vec::new());
    }
    let archive = ZipArchive::new(Cursor::new(bytes));
    Some(archive.map_or_else(|_| Vec::new(), |archive| names(&archive)))
}

/// Whether an archive has more members than allowed, told before their list is read into memory.
fn has_many_members(bytes: &[u8]) -> bool {
    memchr::memmem::find_iter(bytes, MEMBER_MAGIC).count() > MOST_MEMBERS
}

fn names(archive: &ZipArchive<Cursor<&[u8]>>) -> Vec<String> {
    let names = archive.file_names();
    names
        .filter_map(|name| Some(name.ok()?.into_owned()))
        .collect()
}

/// Names for a message; many are counted.
pub fn listed(names: &[&str]) -> String {
    let shown = names[..names.len().min(MEMBERS_SHOWN)].join(", ");
    match names.len().saturating_sub(MEMBERS_SHOWN) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

fn member(bytes: &[u8], pattern: &str, most: u64) -> Result<Vec<u8>, Rejection> {
    let damaged = |error: &dyn std::fmt::Display| {
        Rejection::whole(
            format!("the zip archive cannot be unpacked: {error}"),
            "nothing of it was used; it is asked for again",
        )
    };
    if bytes.len() as u64 > MOST_PACKED_BYTES {
        return Err(Rejection::whole(
            format!(
                "the zip archive has {} bytes where {MOST_PACKED_BYTES} are allowed",
                bytes.len()
            ),
            REMEDY,
        ));
    }
    if has_many_members(bytes) {
        return Err(Rejection::whole(
            format!("the zip archive has more than the {MOST_MEMBERS} members that are allowed"),
            REMEDY,
        ));
    }
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|error| damaged(&error))?;
    let names = names(&archive);
    let fitting: Vec<&str> = names
        .iter()
        .map(String::as_str)
        .filter(|name| matches(name.rsplit('/').next().unwrap_or(name), pattern))
        .collect();
    let [name] = fitting.as_slice() else {
        return Err(not_one(&names, &fitting, pattern));
    };
    let mut file = archive.by_name(name).map_err(|error| damaged(&error))?;
    let mut text = Vec::new();
    // What the archive says of its sizes is not believed.
    file.by_ref()
        .take(most + 1)
        .read_to_end(&mut text)
        .map_err(|error| damaged(&error))?;
    if text.len() as u64 > most {
        return Err(Rejection::whole(
            format!("{name} in the zip archive unpacks to more than {most} bytes"),
            REMEDY,
        ));
    }
    Ok(text)
}

fn not_one(names: &[String], fitting: &[&str], pattern: &str) -> Rejection {
    if fitting.is_empty() {
        let all: Vec<&str> = names.iter().map(String::as_str).collect();
        return Rejection::whole(
            format!(
                "the zip archive holds no {pattern}; it has: {}",
                listed(&all)
            ),
            "this is not an archive of this dialect: check the address and the station's dialect",
        );
    }
    Rejection::whole(
        format!(
            "the zip archive holds several files like {pattern}: {}",
            listed(fitting)
        ),
        "unpack it by hand and import them one by one",
    )
}

/// Whether a name fits a pattern in which `*` stands for any letters, also none.
fn matches(name: &str, pattern: &str) -> bool {
    let mut parts = pattern.split('*');
    let first = parts.next().unwrap_or_default();
    let Some(mut rest) = name.strip_prefix(first) else {
        return false;
    };
    let parts: Vec<&str> = parts.collect();
    let Some((last, middle)) = parts.split_last() else {
        return rest.is_empty();
    };
    for part in middle {
        let Some((_, after)) = rest.split_once(part) else {
            return false;
        };
        rest = after;
    }
    rest.ends_with(last)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;
    use zip::write::SimpleFileOptions;

    fn archive(members: &[(&str, &[u8])]) -> Vec<u8> {
        let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
        for (name, bytes) in members {
            writer
                .start_file(*name, SimpleFileOptions::default())
                .unwrap();
            writer.write_all(bytes).unwrap();
        }
        writer.finish().unwrap().into_inner()
    }

    #[test]
    fn a_star_stands_for_any_letters() {
        for (name, pattern, due) in [
            ("produkt_1_2.txt", "produkt_*.txt", true),
            ("produkt_.txt", "produkt_*.txt", true),
            ("Metadaten_produkt_1.txt", "produkt_*.txt", false),
            ("produkt_1.html", "produkt_*.txt", false),
            ("a1b2c", "a*b*c", true),
            ("ac", "a*b*c", false),
            ("rows.csv", "rows.csv", true),
            ("rows.csv.bak", "rows.csv", false),
            ("aba", "ab*ba", false),
        ] {
            assert_eq!(matches(name, pattern), due, "{name} {pattern}");
        }
    }

    #[test]
    fn the_member_with_the_rows_is_found_beside_others_and_in_folders() {
        let bytes = archive(&[("about.html", b"<p>"), ("in/rows_1.txt", b"1;2\n")]);
        assert_eq!(member(&bytes, "rows_*.txt", 100).unwrap(), b"1;2\n");
    }

    #[test]
    fn an_archive_without_the_member_or_with_two_lists_what_it_has() {
        let none = member(&archive(&[("about.html", b"")]), "rows_*.txt", 100).unwrap_err();
        assert!(none.to_string().contains("it has: about.html"), "{none}");
        let two = archive(&[("rows_1.txt", b""), ("rows_2.txt", b"")]);
        let two = member(&two, "rows_*.txt", 100).unwrap_err();
        assert!(two.to_string().contains("rows_1.txt, rows_2.txt"), "{two}");
    }

    #[test]
    fn an_archive_that_unpacks_to_too_much_is_refused() {
        let bytes = archive(&[("rows_1.txt", &[b'0'; 101])]);
        let refused = member(&bytes, "rows_*.txt", 100).unwrap_err();
        assert!(refused.to_string().contains("more than 100 bytes"));
        assert_eq!(member(&bytes, "rows_*.txt", 101).unwrap().len(), 101);
    }

    #[test]
    fn a_damaged_archive_is_refused_wherever_it_is_damaged() {
        let whole = archive(&[("rows_1.txt", b"20260701;25.0;12.0\n")]);
        for cut in [5, whole.len() / 2, whole.len() - 1] {
            let refused = member(&whole[..cut], "rows_*.txt", 100).unwrap_err();
            assert!(refused.to_string().contains("cannot be unpacked"));
        }
        let mut bent = whole;
        let start = bent.windows(4).position(|four| four == b".txt").unwrap() + 4;
        bent[start + 3] ^= 0x55;
        assert!(member(&bent, "rows_*.txt", 100).is_err());
    }
}
