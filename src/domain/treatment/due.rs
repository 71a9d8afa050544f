//! What is due at a site: the one thing to do next and by when, and how much it presses beside what is
//! due elsewhere.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::Hold;
use crate::domain::treatment::coverage::Window;
use crate::domain::treatment::digging::{Digging, DugFor, digging};
use crate::domain::treatment::need::{Need, Reason};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::site_plan::SitePlan;
use crate::domain::treatment::steps::LAST_CALL_DAYS;
use crate::domain::treatment::watering::{Watering, WateringState};
use chrono::NaiveDate;

/// How much something presses, the most first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// Water is overdue: what was spread is losing its worth.
    WaterOverdue,
    /// Water is due.
    Water,
    /// The last week of an option's days.
    LastWeek,
    /// The days of an option have begun.
    Apply,
    /// Larvae can be counted.
    Count,
    /// A count calls for a treatment, and none is left.
    NothingLeft,
    /// Milestones are held back: nothing can be told.
    Held,
    /// The days of an option lie ahead.
    ApplyLater,
    /// Nothing is to be done.
    Nothing,
}

impl Urgency {
    /// Every urgency with its name for scripts.
    pub const NAMED: [(&'static str, Urgency); 9] = [
        ("water-overdue", Urgency::WaterOverdue),
        ("water", Urgency::Water),
        ("last-week", Urgency::LastWeek),
        ("apply", Urgency::Apply),
        ("count", Urgency::Count),
        ("nothing-left", Urgency::NothingLeft),
        ("held", Urgency::Held),
        ("apply-later", Urgency::ApplyLater),
        ("nothing", Urgency::Nothing),
    ];

    /// The name for scripts.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// Whether there is something to do or to decide now.
    pub fn presses(self) -> bool {
        self <= Urgency::NothingLeft
    }
}

/// What is due at a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Due<'d> {
    /// An application lacks water.
    Water {
        /// What was spread.
        option: &'d TreatmentOption,
        /// How it stands.
        watering: Watering,
    },
    /// An option is to be applied.
    Apply {
        /// What.
        option: &'d TreatmentOption,
        /// The days worth it.
        window: Window,
        /// Whether they lie ahead, have begun, or end within a week.
        urgency: Urgency,
    },
    /// Grubs are to be counted.
    Count {
        /// When.
        days: Digging,
        /// Whether a count was made that cannot tell.
        again: bool,
    },
    /// A count of this day calls for a treatment, and none works any more.
    NothingLeft(NaiveDate),
    /// Milestones are held back.
    Held(Hold),
    /// Nothing is to be done.
    Nothing {
        /// Why.
        idle: Idle,
        /// The milestone that comes next.
        next: Option<NextDay>,
    },
}

/// Why there is nothing to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Idle {
    /// Nothing calls for a treatment.
    NotCalledFor,
    /// It has been treated, the last time on this day.
    Treated(NaiveDate),
    /// Fewer larvae were counted than the turf tolerates.
    CountedBelow,
    /// A treatment is called for, and its days are not known yet.
    NoDates,
    /// A treatment is called for, and its last day is over.
    TooLate,
    /// No day of the season has arrived.
    NoDays,
}

/// A milestone that comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NextDay {
    /// Which one.
    pub milestone: Milestone,
    /// Its likely day, if that is known.
    pub likely: Option<NaiveDate>,
    /// Whether that day is the calendar's.
    pub by_calendar: bool,
}

impl Due<'_> {
    /// How much it presses.
    pub fn urgency(&self) -> Urgency {
        match self {
            Due::Water { watering, .. } if watering.state == WateringState::Due => Urgency::Water,
            Due::Water { .. } => Urgency::WaterOverdue,
            Due::Apply { urgency, .. } => *urgency,
            Due::Count { .. } => Urgency::Count,
            Due::NothingLeft(_) => Urgency::NothingLeft,
            Due::Held(_) => Urgency::Held,
            Due::Nothing { .. } => Urgency::Nothing,
        }
    }

    /// The last day for it.
    pub fn by(&self) -> Option<NaiveDate> {
        match self {
            Due::Water { watering, .. } => Some(watering.deadline),
            Due::Apply { window, .. } => Some(window.last),
            Due::Count { days, .. } => Some(days.by),
            Due::NothingLeft(_) | Due::Held(_) | Due::Nothing { .. } => None,
        }
    }

    /// The day since which it is due, or from which it will be.
    pub fn since(&self) -> Option<NaiveDate> {
        match self {
            Due::Water { watering, .. } => Some(watering.spread),
            Due::Apply { window, .. } => Some(window.first),
            Due::Count { days, .. } => Some(days.since),
            Due::NothingLeft(counted_on) => Some(*counted_on),
            Due::Held(Hold::Gap(gap)) => Some(gap.from),
            Due::Held(_) | Due::Nothing { .. } => None,
        }
    }

    /// What is to be applied or watered in.
    pub fn option(&self) -> Option<&TreatmentOption> {
        match self {
            Due::Water { option, .. } | Due::Apply { option, .. } => Some(option),
            _ => None,
        }
    }
}

/// What is due at a site, by its plan, its species and latitude (degrees), and how what was spread
/// stands with its water.
///
/// # Method
/// What presses most, see [`Urgency`]: the application whose water is due first; of the options that
/// serve what is called for and are in time the first in the plan's order, one whose days have begun
/// before one whose days lie ahead; the season's digging; a hold.
///
/// # References
/// The order: our choice.
pub fn due<'d>(
    plan: &SitePlan<'d>,
    species: &[DugFor<'_>],
    latitude: f64,
    waterings: &[(&'d TreatmentOption, Watering)],
) -> Due<'d> {
    let found = [
        water(waterings),
        application(plan),
        count(plan, species, latitude),
        nothing_left(plan),
        held(species, plan.day),
    ];
    let most = found.into_iter().flatten().min_by_key(Due::urgency);
    most.unwrap_or_else(|| Due::Nothing {
        idle: idle(plan, species),
        next: next_day(species),
    })
}

fn water<'d>(waterings: &[(&'d TreatmentOption, Watering)]) -> Option<Due<'d>> {
    let lacking = waterings
        .iter()
        .filter(|(_, watering)| !matches!(watering.state, WateringState::Done(_)));
    let (option, watering) = lacking.min_by_key(|(_, watering)| watering.deadline)?;
    Some(Due::Water {
        option,
        watering: *watering,
    })
}

fn application<'d>(plan: &SitePlan<'d>) -> Option<Due<'d>> {
    let (wanted, today) = (plan.need.purpose()?, plan.day);
    let serving = plan.options.iter().map(|one| &one.planned);
    let in_time = serving.filter(|one| one.purpose == wanted && one.in_time(today));
    // Of equals the first: the plan's order.
    let planned = in_time.min_by_key(|one| one.window.first > today)?;
    let window = planned.window;
    let urgency = if window.first > today {
        Urgency::ApplyLater
    } else if (window.last - today).num_days() <= LAST_CALL_DAYS {
        Urgency::LastWeek
    } else {
        Urgency::Apply
    };
    Some(Due::Apply {
        option: planned.option,
        window,
        urgency,
    })
}

fn count<'d>(plan: &SitePlan<'_>, species: &[DugFor<'_>], latitude: f64) -> Option<Due<'d>> {
    if let Some(days) = digging(species, latitude, plan.day) {
        return Some(Due::Count { days, again: false });
    }
    let counted = |one: &DugFor<'_>| one.evidence.this_brood.as_ref().map(|(day, _)| *day);
    let days = Digging {
        since: species.iter().filter_map(counted).max()?,
        by: species.iter().map(|one| one.by(latitude)).max()?,
    };
    let is_open = matches!(plan.need.need, Need::CountMore { .. }) && plan.day <= days.by;
    is_open.then_some(Due::Count { days, again: true })
}

fn nothing_left<'d>(plan: &SitePlan<'_>) -> Option<Due<'d>> {
    match plan.need.need {
        Need::Curative { counted_on, .. } if plan.has_dates() => Some(Due::NothingLeft(counted_on)),
        _ => None,
    }
}

/// Days into the season within which its first ones may arrive; later something is wrong.
const FIRST_DAYS_WITHIN: i64 = 14;

/// Before the season's first days arrive, and after its last milestone, there is nothing to hold.
fn held<'d>(species: &[DugFor<'_>], today: NaiveDate) -> Option<Due<'d>> {
    let mut holds = species.iter().filter_map(|one| {
        let hold = one.state.hold?;
        let is_held = match hold {
            Hold::NoData => (today - one.state.season.start).num_days() > FIRST_DAYS_WITHIN,
            _ => one.state.next().is_some(),
        };
        is_held.then_some(hold)
    });
    holds.next().map(Due::Held)
}

fn idle(plan: &SitePlan<'_>, species: &[DugFor<'_>]) -> Idle {
    let has_no_days = |one: &DugFor<'_>| one.state.hold == Some(Hold::NoData);
    match plan.need.need {
        Need::Nothing(Reason::Treated { on }) => Idle::Treated(on),
        Need::Nothing(Reason::CountedBelow { .. }) => Idle::CountedBelow,
        _ if !species.is_empty() && species.iter().all(has_no_days) => Idle::NoDays,
        Need::Preventive(_) | Need::Curative { .. } if !plan.has_dates() => Idle::NoDates,
        Need::Preventive(_) if !plan.options.is_empty() => Idle::TooLate,
        _ => Idle::NotCalledFor,
    }
}

/// The milestone of any species that is likely first; one without a day comes after the others.
fn next_day(species: &[DugFor<'_>]) -> Option<NextDay> {
    let next = species.iter().filter_map(|one| {
        let next = one.state.next()?;
        let outlook = next.outlook.ok().filter(|_| one.state.hold.is_none());
        let likely = outlook.and_then(|(outlook, _)| outlook.likely);
        Some(NextDay {
            milestone: next.milestone,
            likely,
            by_calendar: outlook.is_some_and(|(outlook, _)| outlook.by_calendar.likely),
        })
    });
    next.min_by_key(|next| (next.likely.is_none(), next.likely, next.milestone))
}

#[cfg(test)]
mod tests;
