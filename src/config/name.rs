//! Names that people read: short enough for a subject line, and harmless on a terminal.

use super::fields::{Fields, Located};

/// Most characters of a name.
const LONGEST_NAME: usize = 200;

/// A name that must be there, without control characters and of at most [`LONGEST_NAME`].
pub(super) fn required_name(
    table: &Fields<'_, '_>,
    key: &'static str,
    example: &str,
) -> Option<Located<String>> {
    let name = table.required_text(key, example)?;
    checked(table, key, name, example)
}

/// A name as it may be, or an error.
pub(super) fn checked(
    table: &Fields<'_, '_>,
    key: &'static str,
    name: Located<String>,
    example: &str,
) -> Option<Located<String>> {
    let length = name.value.chars().count();
    let problem = if let Some(odd) = name.value.chars().find(|letter| commands(*letter)) {
        format!(
            "{key} holds the control character U+{:04X}, which could command a terminal or bend a \
             message: write it without, for example \"{example}\"",
            u32::from(odd)
        )
    } else if length > LONGEST_NAME {
        format!(
            "{key} has {length} characters where {LONGEST_NAME} are allowed, for example \"{example}\""
        )
    } else {
        return Some(name);
    };
    table.page().error(name.at, problem);
    None
}

/// Whether a character moves what is around it instead of being read: controls, separators of lines
/// and paragraphs, and marks that turn the direction of writing.
fn commands(letter: char) -> bool {
    letter.is_control() || matches!(letter, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}
