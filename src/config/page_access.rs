//! The key `manages` of a `[[member.recipient]]`: members whose sites they see on the page.

use super::fields::Located;
use super::problem::{SourceText, closest};

/// Notes names that are no member's, and rights that a member's own file gives: whoever may write that
/// file has no say over others. `whose` is whose the problems are, `ids` the members if all are known,
/// `main` the file that may give rights, if it is not this one.
pub(super) fn check_managed(
    page: &SourceText<'_>,
    whose: usize,
    names: &[Located<String>],
    (ids, main): (Option<&[&str]>, Option<&str>),
) {
    let before = page.attribute(Some(whose));
    if let (Some(main), Some(first)) = (main, names.first()) {
        page.error(
            first.at.clone(),
            format!(
                "manages gives a say over other members, so only {main} may: move the whole [[member]] there, or take the key away"
            ),
        );
    }
    for name in names {
        let Some(ids) = ids.filter(|ids| !ids.contains(&name.value.as_str())) else {
            continue;
        };
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
