//! A season for scripts.

use super::SeasonReport;
use super::applications::verdict;
use super::told::told;
use super::values::{
    SeasonApplication, SeasonChange, SeasonCount, SeasonDamage, SeasonHatch, SeasonMet,
    SeasonMilestone, SeasonNotice, SeasonOfSpecies, SeasonScore, SeasonShare, SeasonShareUnknown,
    SeasonTold, SeasonValues, SeasonWatering,
};
use crate::domain::look_back::{
    Applied, Counted, Foretelling, Held, Met, MilestoneReview, NotKnown, NoticeScore, OfSpecies,
    SentNotice, Told,
};
use crate::domain::notation::Notation;
use crate::domain::phenology::season_state::PassedBy;
use crate::domain::treatment::watering::{Watering, WateringState};
use crate::report::words::thousandths;
use chrono::NaiveDate;

impl SeasonReport {
    /// The season for scripts: the values behind the sentences.
    pub fn values(&self) -> SeasonValues {
        let season = &self.look_back;
        SeasonValues {
            site: self.site.clone(),
            season: season.season.year,
            first_day: season.season.start,
            last_day: season.season.end,
            through: season.through,
            is_over: season.is_over,
            partly_outlook: season.is_partly_outlook(),
            species: season.species.iter().map(species).collect::<Vec<_>>(),
            scores_weather_only: true,
            first_notices: season.first_notices().map(score),
            all_notices: season.all_notices().map(score),
            applications: season.applied.iter().map(applied).collect::<Vec<_>>(),
            irrigation_mm: season.irrigation.0,
            damage: season
                .damage
                .iter()
                .map(|(day, damage)| SeasonDamage {
                    day: *day,
                    damage: *damage,
                })
                .collect::<Vec<_>>(),
            told: season.told.iter().map(sent).collect::<Vec<_>>(),
            cautions: self.cautions,
        }
    }
}

fn species(one: &OfSpecies) -> SeasonOfSpecies {
    SeasonOfSpecies {
        species: one.id.clone(),
        data_through: one.data_through,
        watched_from: one.watched_from,
        held_back: one.is_held,
        milestones: one.milestones.iter().map(milestone).collect::<Vec<_>>(),
        hatch: one.hatch.as_ref().ok().map(|span| SeasonHatch {
            one_in_twenty: span.first,
            half: span.half,
            nineteen_in_twenty: span.most,
        }),
        hatch_unknown: one.hatch.as_ref().err().map(ToString::to_string),
        hatch_observed: one.is_settled,
        catches: one.catches.clone(),
        tolerated_per_m2: one.tolerance,
        counts: one.counts.all.iter().map(count).collect::<Vec<_>>(),
        change: one.counts.from_brood_to_brood().map(|change| SeasonChange {
            before: change.before.number,
            after: change.after.number,
            ratio: change.ratio(),
            ranges_apart: change.is_clear(),
        }),
    }
}

fn milestone(one: &MilestoneReview) -> SeasonMilestone {
    let announced = one.announced;
    SeasonMilestone {
        milestone: one.milestone.name(),
        foretold: one
            .foretold
            .iter()
            .map(|told| notice(told, one.came_by_sum()))
            .collect::<Vec<_>>(),
        came: one.came,
        by_sum: one.by.map(|by| by == PassedBy::Sum),
        told_on: announced.filter(|one| one.recorded.told).map(|one| one.on),
        told_for: announced
            .filter(|one| one.recorded.told)
            .map(|one| one.recorded.on),
        corrected_to: announced.and_then(|one| one.recorded.corrected_to),
        withdrawn: announced.is_some_and(|one| one.recorded.withdrawn),
    }
}

/// A notice, held against the day that came if it did.
fn notice(told: &Foretelling, came: Option<NaiveDate>) -> SeasonNotice {
    let held = came.and_then(|came| told.held(came));
    SeasonNotice {
        told_on: told.told_on,
        lead_days: told.lead_days,
        likely: told.likely,
        early: told.early,
        late: told.late,
        warning_days: came.map(|came| told.warning_days(came)),
        late_by_days: came.map(|came| told.late_by_days(came)),
        held: held.map(|held| held == Held::Inside),
        days_outside: held.map(|held| match held {
            Held::Inside => 0,
            Held::Before(days) => -days,
            Held::After(days) => days,
        }),
    }
}

fn score(score: NoticeScore) -> SeasonScore {
    SeasonScore {
        notices: score.notices,
        mean_error_days: score.mean_error_days,
        mean_late_days: score.mean_late_days,
        ranges: score.ranges,
        held: score.held,
        shortest_warning_days: score.warning_days.0,
        longest_warning_days: score.warning_days.1,
    }
}

fn count(one: &Counted) -> SeasonCount {
    let density = one.reading.density;
    SeasonCount {
        number: one.number,
        day: one.day,
        brood: one.brood.name(),
        per_m2: one.reading.mean_per_m2,
        per_m2_low: density.map(|density| density.low_per_m2),
        per_m2_high: density.map(|density| density.high_per_m2),
        against_turf: one.reading.verdict.name(),
    }
}

fn applied(one: &Applied) -> SeasonApplication {
    SeasonApplication {
        number: one.number,
        day: one.day,
        option: one.option.clone(),
        area_m2: one.area.m2(),
        share_of_site: one.share_of_site.map(thousandths),
        rate: one.rate.map(|rate| rate.to_string()),
        watering: one.watering.as_ref().map(water),
        active_from: one.active.map(|(from, _)| from),
        active_to: one.active.map(|(_, to)| to),
        counted_before: one.counted_before,
        met: one
            .met
            .iter()
            .map(|(species, found)| met(one, species, found))
            .collect::<Vec<_>>(),
    }
}

fn water(watering: &Watering) -> SeasonWatering {
    let (state, done_on) = match watering.state {
        WateringState::Due => ("due", None),
        WateringState::Done(on) if watering.is_late() => ("late", Some(on)),
        WateringState::Done(on) => ("done", Some(on)),
        WateringState::Waiting => ("waiting", None),
        WateringState::Missed => ("missed", None),
    };
    SeasonWatering {
        state,
        done_on,
        deadline: watering.deadline,
        needed_mm: watering.needed_mm,
        rain_mm: watering.rain_mm,
        rain_through: watering.rain_through,
        irrigation_mm: watering.irrigation_mm,
    }
}

fn met(one: &Applied, species: &str, found: &Result<Met, NotKnown>) -> SeasonMet {
    let verdict = verdict(one, species, found, &Notation::default());
    match found {
        Err(why) => SeasonMet::Unknown(SeasonShareUnknown {
            species: species.to_owned(),
            verdict,
            unknown: why.to_string(),
        }),
        Ok(met) => SeasonMet::Known(SeasonShare {
            species: species.to_owned(),
            verdict,
            timing: met.timing.name(),
            counted_from: met.from,
            mean: thousandths(met.share.mean),
            low: thousandths(met.share.low),
            high: thousandths(met.share.high),
            best: thousandths(met.best),
            first_day: met.window.first,
            best_day: met.window.best,
            last_day: met.window.last,
            days_from_best: met.days_from_best(),
            half_in_root_zone: met.arrived,
            hatched_by_then: thousandths(met.hatched),
            third_instar_by_then: thousandths(met.grown),
        }),
    }
}

fn sent(one: &Told) -> SeasonTold {
    let kind = match one.what {
        SentNotice::Foretold { .. } => "foretold",
        SentNotice::Passed { .. } => "passed",
        SentNotice::Treatment { .. } => "treatment",
        SentNotice::Count => "count",
        SentNotice::Overtaken { .. } => "overtaken",
        SentNotice::Water { .. } => "water",
    };
    SeasonTold {
        day: one.on,
        kind,
        what: told(&one.what, &Notation::default()),
    }
}
