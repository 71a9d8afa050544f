//! The key `manages` of a `[[member.recipient]]`: members whose sites they see on the page.

use super::fields::Located;
use super::members::ReadMember;
use super::problem::{SourceText, closest};
use crate::domain::place::site::Recipient;
use std::ops::Range;

/// Refuses rights over other members that an included file gives: whoever edits a member's own file would
/// give them to themselves. `at` is where the member's table stands.
pub(super) fn refuse_rights_over_others(
    page: &SourceText<'_>,
    member: &ReadMember,
    at: Range<usize>,
) {
    let hears_of_all = |one: &Recipient| one.reception.digest.is_some_and(|one| one.all_members);
    let recipients = member.member.iter().flat_map(|one| &one.recipients);
    let manages = member
        .manages
        .first()
        .map(|name| (name.at.clone(), "manages"));
    let digest = recipients
        .into_iter()
        .any(hears_of_all)
        .then_some((at, "all_members"));
    let before = page.attribute(Some(member.number));
    for (at, key) in manages.into_iter().chain(digest) {
        let problem = format!(
            "{key} gives rights over other members, so it may stand in the main file only; put this [[member]] there"
        );
        page.error(at, problem);
    }
    page.attribute(before);
}

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
