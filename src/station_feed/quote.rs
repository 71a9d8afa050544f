//! Words of a stranger's file, made fit for a log, a terminal or a mail.

/// The text on one line, without control characters, and cut after `most` characters.
pub fn quoted(text: &str, most: usize) -> String {
    let mut letters = text.chars().map(|letter| match letter {
        _ if letter.is_whitespace() => ' ',
        _ if letter.is_control() => char::REPLACEMENT_CHARACTER,
        _ => letter,
    });
    let mut quoted: String = letters.by_ref().take(most).collect();
    if letters.next().is_some() {
        quoted.push('…');
    }
    quoted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quoted_text_cannot_command_a_terminal() {
        assert_eq!(
            quoted("\u{1b}[2J\u{7}12\t°C\r\n", 40),
            "\u{fffd}[2J\u{fffd}12 °C  "
        );
    }

    #[test]
    fn a_quoted_text_is_cut_where_it_is_too_long() {
        assert_eq!(quoted("äöü", 3), "äöü");
        assert_eq!(quoted("äöüx", 3), "äöü…");
    }
}
