//! One member's mistakes hurt nobody else: their last good tables go on, and one who has none is left
//! out. An id that two members claim is whose it was; where it is new, whose it is first.

use super::fields::{Fields, parse};
use super::members::{Claim, KnownIds, ReadMember, member};
use super::problem::{Problem, Severity, SourceText};
use super::site::SiteDefaults;
use crate::domain::place::site::Recipient;
use crate::in_force::{Fault, KeptMember};
use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::path::Path;

/// Whose problems carry a number.
pub(super) struct Whose {
    /// The member's id, if that can be read.
    pub id: Option<String>,
    /// The file, as it is named in messages.
    pub name: String,
    /// The file, from the root on.
    pub path: String,
}

/// A member who was in force, with their tables as they read now.
pub(super) type Before = (KeptMember, Result<ReadMember, Vec<Problem>>);

/// The members in force, and what is wrong with others.
pub(super) struct Isolated {
    /// As they were read, or as they were kept.
    pub members: Vec<ReadMember>,
    /// The same to be kept.
    pub kept: Vec<KeptMember>,
    /// What is wrong, by whose it is.
    pub faults: Vec<Fault>,
}

/// Errors for ids that are there twice; `before` are the members that were in force.
pub(super) fn clashes(members: &[ReadMember], whose: &[Whose], before: &[Before]) -> Vec<Problem> {
    let mut claimed: BTreeMap<(&str, &str), Vec<(&ReadMember, &Claim)>> = BTreeMap::new();
    for member in members {
        for claim in &member.claims {
            let claims = claimed.entry((claim.kind, &claim.id)).or_default();
            claims.push((member, claim));
        }
    }
    let mut problems = Vec::new();
    for claims in claimed.into_values().filter(|claims| claims.len() > 1) {
        let had_it = |member: &ReadMember, claim: &Claim| {
            let of = &whose[member.number];
            before.iter().any(|(kept, read)| {
                Some(&kept.id) == member.id.as_ref()
                    && (Some(&claim.id) != member.id.as_ref() || kept.file == of.path)
                    && read
                        .iter()
                        .flat_map(|read| &read.claims)
                        .any(|one| one.is_for(claim))
            })
        };
        let rightful = claims
            .iter()
            .position(|(member, claim)| had_it(member, claim));
        let rightful = rightful.unwrap_or(0);
        let owner = claims[rightful].0;
        for (place, (member, claim)) in claims.iter().enumerate() {
            if place == rightful {
                continue;
            }
            let of = match &owner.id {
                Some(id) if owner.number != member.number => format!(": it is of member \"{id}\""),
                _ => String::new(),
            };
            problems.push(Problem {
                text: format!("{}{of}", claim.clash.text),
                ..claim.clash.clone()
            });
        }
    }
    problems
}

impl Claim {
    fn is_for(&self, other: &Claim) -> bool {
        self.kind == other.kind && self.id == other.id
    }
}

/// Reads the members that were in force once more.
///
/// # Errors
/// The problems of one that does not go with the other tables any more.
pub(super) fn read_again(kept: Vec<KeptMember>, known: &KnownIds<'_>) -> Vec<Before> {
    let read = |kept: &KeptMember| {
        let folder = Path::new(&kept.file).parent().unwrap_or(Path::new(""));
        let name = format!(
            "{} (member \"{}\" as they were last good)",
            kept.file, kept.id
        );
        let page = SourceText::new(name, &kept.text);
        let table = parse(&page);
        let values = table.get_ref();
        let top = Fields::of(&page, values, 0..0, "[[member]]");
        let mut read = member(top, (0, folder), SiteDefaults::NONE, known);
        if kept.file != known.main {
            let recipients = read.member.iter_mut().flat_map(|one| &mut one.recipients);
            recipients.for_each(take_say_over_others);
        }
        let problems = page.into_problems();
        match problems.iter().any(|one| one.severity == Severity::Error) {
            true => Err(problems),
            false => Ok(read),
        }
    };
    kept.into_iter()
        .map(|kept| {
            let read = read(&kept);
            (kept, read)
        })
        .collect()
}

/// Leaves a recipient no say over other members.
fn take_say_over_others(recipient: &mut Recipient) {
    recipient.manages.clear();
    if let Some(digest) = &mut recipient.reception.digest {
        digest.all_members = false;
    }
}

/// Sets members with mistakes aside.
///
/// # Errors
/// Problems that concern everybody: a last good member who does not go with the other tables any
/// more, or nobody left.
pub(super) fn isolate(
    members: Vec<ReadMember>,
    whose: &[Whose],
    problems: &[Problem],
    before: Vec<Before>,
) -> Result<Isolated, Vec<Problem>> {
    let mut mistakes: BTreeMap<usize, Vec<Problem>> = BTreeMap::new();
    for problem in problems {
        if let (Severity::Error, Some(number)) = (problem.severity, problem.whose) {
            mistakes.entry(number).or_default().push(problem.clone());
        }
    }
    let mut going_on = going_on(&members, whose, &mistakes, &before);
    // Whoever takes an id over from a member that goes on as before has to wait.
    loop {
        let held: HashSet<(&str, &str)> = before
            .iter()
            .filter(|(kept, _)| going_on.contains(&kept.id))
            .filter_map(|(_, read)| read.as_ref().ok())
            .flat_map(|read| &read.claims)
            .map(|claim| (claim.kind, claim.id.as_str()))
            .collect();
        let mut found = Vec::new();
        for member in members
            .iter()
            .filter(|one| !mistakes.contains_key(&one.number))
        {
            let taken = member
                .claims
                .iter()
                .find(|claim| held.contains(&(claim.kind, claim.id.as_str())));
            if let Some(claim) = taken {
                let text = format!(
                    "{} \"{}\" is still of a member whose last good tables go on; mend those first",
                    claim.kind, claim.id
                );
                let problem = Problem {
                    text,
                    ..claim.clash.clone()
                };
                found.push((member.number, problem));
            }
        }
        if found.is_empty() {
            break;
        }
        for (number, problem) in found {
            mistakes.entry(number).or_default().push(problem);
        }
        going_on = self::going_on(&members, whose, &mistakes, &before);
    }
    let faults = faults(whose, &mistakes, &going_on, &before);
    in_force(members, whose, &mistakes, &going_on, before, faults)
}

/// The ids of members whose last good tables go on.
fn going_on(
    members: &[ReadMember],
    whose: &[Whose],
    mistakes: &BTreeMap<usize, Vec<Problem>>,
    before: &[Before],
) -> BTreeSet<String> {
    let is_sound = |id: &str| {
        let mut sound = members
            .iter()
            .filter(|one| !mistakes.contains_key(&one.number));
        sound.any(|one| one.id.as_deref() == Some(id))
    };
    let is_read = |kept: &KeptMember| {
        let of_file = |one: &&ReadMember| whose[one.number].path == kept.file;
        let mut read = members.iter().filter(of_file);
        read.any(|one| one.id.as_ref() == Some(&kept.id))
    };
    let goes_on = |kept: &KeptMember| {
        mistakes.keys().any(|number| {
            let whose = &whose[*number];
            match &whose.id {
                Some(id) => *id == kept.id,
                // Somebody of this file, and nobody knows who.
                None => whose.path == kept.file && !is_read(kept),
            }
        })
    };
    before
        .iter()
        .map(|(kept, _)| kept)
        .filter(|kept| goes_on(kept) && !is_sound(&kept.id))
        .map(|kept| kept.id.clone())
        .collect()
}

/// What is wrong, by whose it is.
fn faults(
    whose: &[Whose],
    mistakes: &BTreeMap<usize, Vec<Problem>>,
    going_on: &BTreeSet<String>,
    before: &[Before],
) -> Vec<Fault> {
    let mut faults: Vec<Fault> = Vec::new();
    for (number, problems) in mistakes {
        let whose = &whose[*number];
        // A file of one member is that member's, even where it does not say so any more.
        let of_file: Vec<&str> = before
            .iter()
            .map(|(kept, _)| kept)
            .filter(|kept| kept.file == whose.path && going_on.contains(&kept.id))
            .map(|kept| kept.id.as_str())
            .collect();
        let id = whose.id.as_deref().or(match of_file.as_slice() {
            [one] => Some(*one),
            _ => None,
        });
        let (subject, goes_on) = match id {
            Some(id) => (format!("member {id}"), going_on.contains(id)),
            None => (whose.name.clone(), !of_file.is_empty()),
        };
        let problems = problems.iter().map(ToString::to_string);
        match faults.iter_mut().find(|one| one.subject == subject) {
            Some(known) => known.problems.extend(problems),
            None => faults.push(Fault {
                subject,
                goes_on,
                problems: problems.collect(),
            }),
        }
    }
    faults
}

fn in_force(
    members: Vec<ReadMember>,
    whose: &[Whose],
    mistakes: &BTreeMap<usize, Vec<Problem>>,
    going_on: &BTreeSet<String>,
    before: Vec<Before>,
    faults: Vec<Fault>,
) -> Result<Isolated, Vec<Problem>> {
    let mut isolated = Isolated {
        members: Vec::new(),
        kept: Vec::new(),
        faults,
    };
    let sound = members
        .into_iter()
        .filter(|one| !mistakes.contains_key(&one.number));
    for mut member in sound {
        isolated.kept.push(KeptMember {
            id: member.id.clone().unwrap_or_default(),
            file: whose[member.number].path.clone(),
            text: std::mem::take(&mut member.text),
        });
        isolated.members.push(member);
    }
    for (kept, read) in before {
        if going_on.contains(&kept.id) {
            isolated.members.push(read?);
            isolated.kept.push(kept);
        }
    }
    if isolated.members.is_empty() {
        return Err(Vec::new());
    }
    Ok(isolated)
}
