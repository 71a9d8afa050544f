//! What has changed between two headers of a feed.

use crate::station_feed::dialect::Binding;

/// How a header differs from an earlier one.
pub(super) enum HeaderChange {
    /// Not at all.
    None,
    /// Names that are new, and nothing else.
    Added(String),
    /// Everything else, in words.
    Other(String),
}

/// Holds a header against an earlier one.
pub(super) fn header_change(old: &[String], new: &[String], binding: &Binding) -> HeaderChange {
    if old.is_empty() || new.is_empty() || old == new {
        return HeaderChange::None;
    }
    let nameless = |header: &[String]| header.iter().all(String::is_empty);
    match (nameless(old), nameless(new)) {
        (true, true) => {
            return HeaderChange::Other(format!(
                "Rows have {} columns where they had {}; without a header they are found by position.",
                new.len(),
                old.len()
            ));
        }
        (true, false) => return HeaderChange::Other("The file has a header now.".to_owned()),
        (false, true) => return HeaderChange::Other("The file has no header any more.".to_owned()),
        (false, false) => {}
    }
    let without = |from: &[String], other: &[String]| -> Vec<String> {
        from.iter()
            .filter(|name| !other.iter().any(|o| o.eq_ignore_ascii_case(name)))
            .cloned()
            .collect()
    };
    let (gone, added) = (without(old, new), without(new, old));
    let common = |header: &[String], strange: &[String]| -> Vec<String> {
        header
            .iter()
            .filter(|name| !strange.contains(name))
            .map(|name| name.to_ascii_lowercase())
            .collect()
    };
    let reordered = common(old, &gone) != common(new, &added);
    if gone.is_empty() && !reordered {
        return if added.is_empty() {
            HeaderChange::None
        } else {
            HeaderChange::Added(added.join(", "))
        };
    }
    let mut words = Vec::new();
    if !gone.is_empty() {
        words.push(format!("columns are gone ({})", gone.join(", ")));
    }
    if !added.is_empty() {
        words.push(format!("columns are new ({})", added.join(", ")));
    }
    if reordered {
        words.push("their order is another".to_owned());
    }
    let mut what = format!(
        "The header has changed: {}. The columns that hatchbell needs are there and are found by name.",
        words.join(", ")
    );
    let columns = &binding.dialect.columns;
    let flags = [&columns.tmax_flags, &columns.tmin_flags, &columns.quality];
    let flags_gone = flags.iter().any(|column| {
        let named = |header: &[String]| {
            column
                .names
                .iter()
                .any(|name| header.iter().any(|field| field.eq_ignore_ascii_case(name)))
        };
        named(old) && !named(new)
    });
    if flags_gone {
        what += " A column of quality flags is no longer among them: values that fail the publisher's own check can no longer be told from good ones.";
    }
    HeaderChange::Other(what)
}
