//! What gives somebody a say over other members, or shows them their sites: only the main file may.

use super::fields::Located;
use super::members::ReadMember;
use super::problem::{SourceText, closest};

/// Notes rights that a member's own file gives: whoever may write that file has no say over others.
/// `main` is the file that may give rights.
pub(super) fn refuse_rights(page: &SourceText<'_>, member: &ReadMember, main: &str) {
    let before = page.attribute(Some(member.number));
    let rights = [
        (
            "manages gives a say over other members",
            member.manages.first().map(|first| &first.at),
        ),
        (
            "all_members shows the sites of other members",
            member.coordinates.first(),
        ),
    ];
    for (what, at) in rights {
        if let Some(at) = at {
            page.error(
                at.clone(),
                format!(
                    "{what}, so only {main} may: move the whole [[member]] there, or take the key away"
                ),
            );
        }
    }
    page.attribute(before);
}

/// Notes names in `manages` that are no member's.
pub(super) fn check_managed(page: &SourceText<'_>, member: &ReadMember, ids: &[&str]) {
    let before = page.attribute(Some(member.number));
    let unknown = member.manages.iter();
    for name in unknown.filter(|name| !ids.contains(&name.value.as_str())) {
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

/// Notes an operator whom a member's own file names: whoever writes such a file could become it.
pub(super) fn refuse_operator(
    main: (&SourceText<'_>, &str),
    operator: &Located<String>,
    (member, file): (&ReadMember, &str),
) {
    if member.names_recipient(&operator.value) {
        let (page, name) = main;
        page.error(
            operator.at.clone(),
            format!(
                "operator names \"{}\" of {file}, but the operator is told what is wrong with the whole service and sees all sites, so only {name} may say who that is: move the whole [[member]] there",
                operator.value
            ),
        );
    }
}
