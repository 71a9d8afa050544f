//! A table as TOML text, so that it can be kept and read again.

use std::fmt::Write;
use toml::de::{DeTable, DeValue};

/// A table as a document.
pub(super) fn table(table: &DeTable<'_>) -> String {
    let mut text = String::new();
    for (key, value) in table {
        write_key(&mut text, key.get_ref());
        write_value(&mut text, value.get_ref());
        text.push('\n');
    }
    text
}

/// A table in one line.
pub(super) fn inline(table: &DeTable<'_>) -> String {
    let mut text = String::new();
    write_table(&mut text, table);
    text
}

fn write_table(text: &mut String, table: &DeTable<'_>) {
    text.push_str("{ ");
    for (place, (key, value)) in table.iter().enumerate() {
        if place > 0 {
            text.push_str(", ");
        }
        write_key(text, key.get_ref());
        write_value(text, value.get_ref());
    }
    text.push_str(" }");
}

fn write_key(text: &mut String, key: &str) {
    write_quoted(text, key);
    text.push_str(" = ");
}

fn write_value(text: &mut String, value: &DeValue<'_>) {
    match value {
        DeValue::String(value) => write_quoted(text, value),
        DeValue::Integer(number) => {
            let prefix = match number.radix() {
                2 => "0b",
                8 => "0o",
                16 => "0x",
                _ => "",
            };
            text.push_str(prefix);
            text.push_str(number.as_str());
        }
        DeValue::Float(number) => text.push_str(number.as_str()),
        DeValue::Boolean(flag) => text.push_str(if *flag { "true" } else { "false" }),
        DeValue::Datetime(instant) => text.push_str(&instant.to_string()),
        DeValue::Array(items) => {
            text.push('[');
            for item in items {
                write_value(text, item.get_ref());
                text.push_str(", ");
            }
            text.push(']');
        }
        DeValue::Table(table) => write_table(text, table),
    }
}

/// A basic string.
fn write_quoted(text: &mut String, value: &str) {
    text.push('"');
    for letter in value.chars() {
        match letter {
            '"' | '\\' => {
                text.push('\\');
                text.push(letter);
            }
            _ if letter.is_control() => {
                // Writing to a text cannot fail.
                let _ = write!(text, "\\U{:08X}", u32::from(letter));
            }
            _ => text.push(letter),
        }
    }
    text.push('"');
}

#[cfg(test)]
mod tests {
    use crate::config::fields::parse;
    use crate::config::problem::SourceText;

    #[test]
    fn what_is_written_reads_as_what_it_was() {
        let written = |text: &str| {
            let page = SourceText::new("", text);
            let table = parse(&page);
            assert_eq!(page.errors(), 0, "{text}");
            super::table(table.get_ref())
        };
        let text = written(
            "id = \"a\\\"b\\\\c\\n\u{1F331}\"\n\"odd key\" = 0x1F\nn = -1_000.5e3\nflag = true\n\
             list = [1, [2, \"x\"]]\nday = 2026-01-05T06:00:00Z\n[inner]\nx = 'lit\\eral'\n[[many]]\ny = 1\n[[many]]\n",
        );
        assert_eq!(written(&text), text);
        for part in [
            "\"a\\\"b\\\\c\\U0000000A\u{1F331}\"",
            "0x1F",
            "\"lit\\\\eral\"",
            "2026-01-05T06:00:00Z",
        ] {
            assert!(text.contains(part), "{part} is not in {text}");
        }
    }
}
