//! What milestones mean for the work, and the cautions. All of it common practice, no source.

use super::wrapped;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::species::Species;
use crate::domain::telling::meaning::Meaning;

/// What a milestone means for the work. All of it common practice, no source; see the README.
pub(super) fn what_it_means(species: &Species, meaning: Meaning) -> String {
    match meaning {
        Meaning::Overtaken { by, days_ago } => overtaken(by, days_ago),
        Meaning::OutOfDate { days_ago } => out_of_date(days_ago),
        Meaning::AdultFlight => "Adults are leaving the soil; first eggs usually follow within days to two weeks. A poorly soluble preventive (chlorantraniliprole) needs weeks to sink to the root zone, so weeks before this day was the safe side. Trials differ on how much one spread between now and first hatch still does: the later, the less of the hatch it meets. For a soluble one (imidacloprid, clothianidin, thiamethoxam, where they are allowed) the time comes with egg lay: get it and the means to water it in ready. Decide first whether to treat at all: last year's damage and counts say more than the calendar.".to_owned(),
        Meaning::EggLay => "Females are laying. First larvae usually hatch in ten days to two weeks, sooner in warm soil and later in cool. For a soluble preventive (imidacloprid, clothianidin, thiamethoxam, where they are allowed) this is the time: spread it, then water it in at once, through the thatch into the top 25 to 50 mm of soil. A poorly soluble one (chlorantraniliprole) spread now reaches much of the root zone after larvae have begun to hatch; hatchbell plan shows whether it is too late. Fewer eggs survive in dry soil, so watered turf is at more risk than dry turf around it.".to_owned(),
        Meaning::Hatch => format!(
            "The first larvae are hatching and feed near the surface while they are small. A short-lived biological (Bacillus thuringiensis galleriae) lasts days to two weeks, so it is best spread towards the peak of the hatch{}; its results vary. Nematodes (Heterorhabditis bacteriophora) follow when most have hatched: in the evening, on soil of 16 °C or more that stays moist; their results vary too and are poor against European chafer. A soluble preventive can still help if it goes down and is watered in within days. Curatives wait for a count: start looking for grubs three to four weeks from now, before turf shows damage.",
            peak(species)
        ),
        Meaning::EndUnknown => "Days are missing this season, so it is not known how far the hatch came: this message says nothing about whether there are grubs. Count: cut and fold back a few flaps of turf over the whole area and look through the top 10 cm. Preventives are of little use from now on.".to_owned(),
        Meaning::EndWithoutHatch => "By the sums hatch was not reached this season, so nothing needs to be spread against this year's larvae here. If turf still lifts or animals dig, look for grubs before you do anything.".to_owned(),
        Meaning::EndByDate => "The season ends while many larvae are still small. In cooling soil they feed less and go deeper, so preventives spread now do little. Count, as below, and look again in spring: larvae that winter small do their damage then. Count by cutting and folding back a few flaps of turf over the whole area and looking through the top 10 cm. Only a count above what the turf stands justifies a curative (trichlorfon, carbaryl, where they are allowed), soon and watered in.".to_owned(),
        Meaning::EndBySum => "About half of the larvae are in their third instar and too large for preventives: what is spread now is mostly wasted. Count instead: cut and fold back a few flaps of turf over the whole area and look through the top 10 cm. Only a count above what the turf stands justifies a curative (trichlorfon, carbaryl, where they are allowed), soon and watered in. Some grubs are normal in healthy turf. Note the counts for next year's decision.".to_owned(),
    }
}

/// What stands instead of advice that a later milestone has overtaken.
fn overtaken(by: Milestone, days_ago: i64) -> String {
    format!(
        "This is told late, {days_ago} days after. The {} has been passed since then: go by that.",
        by.title()
    )
}

/// What stands instead of advice that is told too late.
fn out_of_date(days_ago: i64) -> String {
    format!(
        "This is told late, {days_ago} days after, so what would have been due then may no longer be. Reckon from the date itself, and from what comes next."
    )
}

/// Where the species' file puts the peak of the hatch.
fn peak(species: &Species) -> String {
    species.stage("peak-hatch").map_or(String::new(), |peak| {
        format!(
            " (set at {:.0} °C·d, {})",
            peak.value,
            peak.grade.in_words()
        )
    })
}

/// The same in a sentence or two, for push messages.
pub(super) fn in_brief(meaning: Meaning) -> String {
    match meaning {
        Meaning::Overtaken { by, days_ago } => return overtaken(by, days_ago),
        Meaning::OutOfDate { days_ago } => return out_of_date(days_ago),
        Meaning::AdultFlight => "Adults are leaving the soil. The safe side for chlorantraniliprole was weeks ago; get a soluble preventive and the water for it ready, if last year's counts call for one.",
        Meaning::EggLay => "The time of a soluble preventive (imidacloprid, clothianidin, thiamethoxam, where allowed), watered at once into the top 25 to 50 mm of soil.",
        Meaning::Hatch => "Small larvae feed near the surface. Bt galleriae goes down towards the peak, nematodes after it; results vary. Curatives wait for a count.",
        Meaning::EndUnknown => "Days are missing, so it is not known how far the hatch came. Count grubs.",
        Meaning::EndWithoutHatch => "By the sums hatch was not reached: nothing needs to be spread against this year's larvae.",
        Meaning::EndByDate => "The season ends with many larvae still small; preventives do little now. Count, and look again in spring.",
        Meaning::EndBySum => "Preventives are mostly wasted from now on. Count grubs; only a count above what the turf stands justifies a curative.",
    }
    .to_owned()
}

/// What to get ready before a milestone.
pub(super) fn get_ready(milestone: Milestone) -> &'static str {
    match milestone {
        Milestone::AdultFlight => {
            "Nothing is due yet. Look up last year's counts and damage and decide whether these sites need a treatment at all. If a poorly soluble preventive (chlorantraniliprole) is your choice, it needs weeks to sink to the root zone: early does no harm, late is wasted, so weeks before flight is the safe side. A trap or the first beetles seen tell more than any sum; log them."
        }
        Milestone::EggLay => {
            "The time of soluble preventives (imidacloprid, clothianidin, thiamethoxam, where they are allowed) begins with egg lay and lasts about two weeks. Have the product, the permission and the means to water it in ready, if last year's counts call for it. For a poorly soluble one (chlorantraniliprole) the last useful day is weeks before hatch; hatchbell plan shows it."
        }
        Milestone::Hatch => {
            "A preventive must be in the root zone when the first larvae feed: a soluble one goes down before hatch, not after it. Short-lived biologicals (Bacillus thuringiensis galleriae) go down between first hatch and its peak, so order them for these dates and store them as the label says. A poorly soluble one (chlorantraniliprole) helps most if it has been down for weeks."
        }
        Milestone::WindowEnd => "After this preventives no longer help; plan to count.",
    }
}

/// The same in a sentence, for push messages.
pub(super) fn get_ready_in_brief(milestone: Milestone) -> &'static str {
    match milestone {
        Milestone::AdultFlight => {
            "Decide by last year's counts whether to treat. The safe side for chlorantraniliprole is weeks before flight; early does no harm."
        }
        Milestone::EggLay => {
            "Soluble preventives (where allowed) are due from egg lay for about two weeks, watered in. The last useful day of chlorantraniliprole is weeks before hatch; hatchbell plan shows it."
        }
        Milestone::Hatch => {
            "Soluble preventives go down before hatch, Bt galleriae towards its peak. Get them ready if counts call for them."
        }
        Milestone::WindowEnd => "After this preventives no longer help; plan to count.",
    }
}

/// The cautions that go with every word on treatments.
pub const CAUTIONS: [&str; 5] = [
    "The label is the law: product, rate, timing, watering in, protective gear and re-entry are what it says. hatchbell names active ingredients and times, never doses.",
    "Local rules decide what may be used and by whom; neonicotinoids (imidacloprid, clothianidin, thiamethoxam), trichlorfon and carbaryl are restricted or forbidden in many places, and a licensed applicator may be required.",
    "Never treat turf in bloom: mow clover and weeds first, keep off bees. Carbaryl and neonicotinoids are very toxic to them.",
    "Keep off water, drains, slopes that run to water, and hard surfaces; not before heavy rain or on saturated soil.",
    "Keep children and pets off until it is watered in and dry, or longer if the label says so.",
];

/// The cautions of a mail.
pub(super) fn cautions() -> String {
    let list: Vec<String> = CAUTIONS
        .iter()
        .map(|line| wrapped(line, "- ", "  "))
        .collect();
    format!("CAUTIONS\n{}", list.join("\n"))
}

/// The cautions of a push message.
pub(super) fn brief_cautions() -> String {
    "Cautions: the label is the law; local rules and licensed applicators decide (neonicotinoids, trichlorfon and carbaryl are restricted in many places). Not on turf in bloom: toxic to bees. Keep off water and drains. Children and pets off until watered in and dry.".to_owned()
}
