//! Keys that have another name than before: the old one works for one release, with a warning.

use super::problem::SourceText;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A key that was renamed.
pub(super) struct Renamed {
    /// The table it stands in, for example `member.site`; empty at the top of the file.
    pub table: &'static str,
    /// What it was called.
    pub old: &'static str,
    /// What it is called.
    pub new: &'static str,
}

/// Every key that was renamed since the last release. Remove an entry a release after it came in.
pub(super) const RENAMED: [Renamed; 0] = [];

/// Gives renamed keys their new names and warns of each.
pub(super) fn rename(renamed: &[Renamed], table: &mut DeTable<'_>, page: &SourceText<'_>) {
    if !renamed.is_empty() {
        rename_within(renamed, "", table, page);
    }
}

fn rename_within(renamed: &[Renamed], name: &str, table: &mut DeTable<'_>, page: &SourceText<'_>) {
    for Renamed { old, new, .. } in renamed.iter().filter(|one| one.table == name) {
        let Some((key, value)) = table.remove_entry(*old) else {
            continue;
        };
        let at = key.span();
        if table.contains_key(*new) {
            page.error(
                at,
                format!("{old} is called {new} now, which is there as well; remove {old}"),
            );
            continue;
        }
        page.warning(
            at.clone(),
            format!(
                "{old} is called {new} now; rename it: the old name goes with the next release"
            ),
        );
        table.insert(Spanned::new(at, (*new).into()), value);
    }
    for (key, value) in table.iter_mut() {
        let below = match name {
            "" => key.get_ref().to_string(),
            _ => format!("{name}.{}", key.get_ref()),
        };
        rename_below(renamed, &below, value.get_mut(), page);
    }
}

fn rename_below(renamed: &[Renamed], name: &str, value: &mut DeValue<'_>, page: &SourceText<'_>) {
    match value {
        DeValue::Table(table) => rename_within(renamed, name, table, page),
        DeValue::Array(items) => {
            for item in items.iter_mut() {
                rename_below(renamed, name, item.get_mut(), page);
            }
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::fields::parse;

    const OF_A_TEST: [Renamed; 2] = [
        Renamed {
            table: "service",
            old: "title",
            new: "name",
        },
        Renamed {
            table: "member.site",
            old: "weather",
            new: "station",
        },
    ];

    fn renamed(text: &str) -> (Vec<String>, String) {
        let page = SourceText::new("a.toml", text);
        let mut table = parse(&page);
        rename(&OF_A_TEST, table.get_mut(), &page);
        let text = super::super::member_text::table(table.get_ref());
        let problems = page.into_problems();
        (problems.iter().map(ToString::to_string).collect(), text)
    }

    #[test]
    fn an_old_key_works_and_is_warned_of_at_its_place() {
        let (problems, text) =
            renamed("[service]\ntitle = \"A\"\n[[member]]\n[[member.site]]\nweather = \"x\"\n");
        assert_eq!(
            problems,
            [
                "a.toml:2:1: warning: title is called name now; rename it: the old name goes with the next release",
                "a.toml:5:1: warning: weather is called station now; rename it: the old name goes with the next release",
            ]
        );
        assert!(text.contains("\"name\" = \"A\""), "{text}");
        assert!(text.contains("\"station\" = \"x\""), "{text}");
    }

    #[test]
    fn an_old_key_beside_the_new_one_is_an_error() {
        let (problems, _) = renamed("[service]\ntitle = \"A\"\nname = \"B\"\n");
        assert_eq!(
            problems,
            ["a.toml:2:1: error: title is called name now, which is there as well; remove title"]
        );
    }

    #[test]
    fn a_key_of_another_table_keeps_its_name() {
        let (problems, text) = renamed("[email]\ntitle = \"A\"\n");
        assert!(problems.is_empty(), "{problems:?}");
        assert!(text.contains("title"), "{text}");
    }
}
