//! The key `manages` of a `[[member.recipient]]`: members whose sites they see on the page.

use super::fields::Located;
use super::problem::{SourceText, closest};

/// Notes names that are no member's; `whose` is whose the problems are.
pub(super) fn check_managed(
    page: &SourceText<'_>,
    whose: usize,
    names: &[Located<String>],
    ids: &[&str],
) {
    let before = page.attribute(Some(whose));
    for name in names {
        if ids.contains(&name.value.as_str()) {
            continue;
        }
        let hint = match closest(&name.value, ids.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are {}", ids.join(", ")),
        };
        page.error(
            name.at.clone(),
            format!(
                "manages names \"{}\", which is no [[member]]; {hint}",
                name.value
            ),
        );
    }
    page.attribute(before);
}
