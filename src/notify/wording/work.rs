//! What milestones mean for the work, and the cautions. All of it common practice, no source.

use super::wrapped;
use crate::domain::milestone::{Crossing, Milestone};

/// What a milestone means for the work. All of it common practice, no source; see the README.
pub(super) fn what_it_means(crossing: &Crossing, passed: &[Milestone]) -> String {
    match crossing.milestone {
        Milestone::AdultFlight => "Adults are leaving the soil; first eggs usually follow within days to two weeks. A poorly soluble preventive (chlorantraniliprole) needs weeks to sink to the root zone: it belongs down before this day, and what is spread from now on reaches it late. For a soluble one (imidacloprid, clothianidin, thiamethoxam, where they are allowed) the time comes with egg lay: get it and the means to water it in ready. Decide first whether to treat at all: last year's damage and counts say more than the calendar.",
        Milestone::EggLay => "Females are laying; first larvae hatch in about two weeks. For a soluble preventive (imidacloprid, clothianidin, thiamethoxam, where they are allowed) these two weeks are the time: spread it, then water it through the thatch into the top 25 to 50 mm of soil. A poorly soluble one (chlorantraniliprole) spread now arrives after much of the hatch. Dry soil kills eggs: turf left dry now is less at risk than watered turf around it.",
        Milestone::Hatch => "The first larvae are hatching and feed near the surface while they are small. A short-lived biological (Bacillus thuringiensis galleriae) works from now until the hatch is past its peak, about two weeks; nematodes (Heterorhabditis bacteriophora) follow when most have hatched and the soil is warm and moist. A soluble preventive still helps if it goes down and is watered in within days. Curatives wait for a count.",
        Milestone::WindowEnd if !passed.contains(&Milestone::Hatch) => "Hatch was not reached this season, so nothing needs to be spread against this year's larvae here. If turf still lifts or animals dig, look for grubs before you do anything.",
        Milestone::WindowEnd => "Most larvae are too large for preventives: what is spread now against them is wasted. Count instead: cut and fold back a few flaps of turf over the whole area and look through the top 10 cm. Only a count above what the turf stands justifies a curative (trichlorfon, carbaryl, where they are allowed), soon and watered in. Some grubs are normal in healthy turf. Note the counts for next year's decision.",
    }
    .to_owned()
}

/// The same in a sentence or two, for push messages.
pub(super) fn in_brief(crossing: &Crossing, passed: &[Milestone]) -> &'static str {
    match crossing.milestone {
        Milestone::AdultFlight => {
            "Adults are leaving the soil. Chlorantraniliprole spread from now on arrives late; get a soluble preventive and the water for it ready, if last year's counts call for one."
        }
        Milestone::EggLay => {
            "The two weeks for a soluble preventive (imidacloprid, clothianidin, thiamethoxam, where allowed), watered into the top 25 to 50 mm of soil."
        }
        Milestone::Hatch => {
            "Small larvae feed near the surface. Bt galleriae works for about two weeks from now; nematodes follow. Curatives wait for a count."
        }
        Milestone::WindowEnd if !passed.contains(&Milestone::Hatch) => {
            "Hatch was not reached: nothing needs to be spread against this year's larvae."
        }
        Milestone::WindowEnd => {
            "Preventives are wasted from now on. Count grubs; only a count above what the turf stands justifies a curative."
        }
    }
}

/// What to get ready before a milestone.
pub(super) fn get_ready(milestone: Milestone) -> &'static str {
    match milestone {
        Milestone::AdultFlight => {
            "Nothing is due yet. Look up last year's counts and damage and decide whether these sites need a treatment at all. If a poorly soluble preventive (chlorantraniliprole) is your choice, it needs weeks to sink to the root zone: early does no harm, late is wasted, so it goes down before flight. A trap or the first beetles seen tell more than any sum; log them."
        }
        Milestone::EggLay => {
            "The time of soluble preventives (imidacloprid, clothianidin, thiamethoxam, where they are allowed) begins with egg lay and lasts about two weeks. Have the product, the permission and the means to water it in ready, if last year's counts call for it. A poorly soluble one (chlorantraniliprole) is late by now."
        }
        Milestone::Hatch => {
            "A preventive must be in the root zone when the first larvae feed: a soluble one goes down before hatch, not after it. Short-lived biologicals (Bacillus thuringiensis galleriae) go down on the hatch itself, so order them for these dates and keep them cool. A poorly soluble one (chlorantraniliprole) only helps if it has been down for weeks."
        }
        Milestone::WindowEnd => "After this preventives no longer help; plan to count.",
    }
}

/// The same in a sentence, for push messages.
pub(super) fn get_ready_in_brief(milestone: Milestone) -> &'static str {
    match milestone {
        Milestone::AdultFlight => {
            "Decide by last year's counts whether to treat. Chlorantraniliprole goes down before flight; early does no harm."
        }
        Milestone::EggLay => {
            "Soluble preventives (where allowed) are due from egg lay for about two weeks, watered in. Chlorantraniliprole is late by now."
        }
        Milestone::Hatch => {
            "Soluble preventives go down before hatch, Bt galleriae on it. Get them ready if counts call for them."
        }
        Milestone::WindowEnd => "After this preventives no longer help; plan to count.",
    }
}

/// The cautions of a mail.
pub(super) fn cautions() -> String {
    let lines = [
        "The label is the law: product, rate, timing, watering in, protective gear and re-entry are what it says. hatchbell names active ingredients and times, never doses.",
        "Local rules decide what may be used and by whom; neonicotinoids (imidacloprid, clothianidin, thiamethoxam), trichlorfon and carbaryl are restricted or forbidden in many places, and a licensed applicator may be required.",
        "Never treat turf in bloom: mow clover and weeds first, keep off bees. Carbaryl and neonicotinoids are very toxic to them.",
        "Keep off water, drains, slopes that run to water, and hard surfaces; not before heavy rain or on saturated soil.",
        "Keep children and pets off until it is watered in and dry, or longer if the label says so.",
    ];
    let list: Vec<String> = lines.iter().map(|line| wrapped(line, "- ", "  ")).collect();
    format!("CAUTIONS\n{}", list.join("\n"))
}

/// The cautions of a push message.
pub(super) fn brief_cautions() -> String {
    "Cautions: the label is the law; local rules and licensed applicators decide. Not on turf in bloom. Keep off water and drains. Children and pets off until watered in and dry.".to_owned()
}
