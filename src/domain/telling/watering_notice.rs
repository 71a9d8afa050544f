//! What to tell of an application's water: each step once.

use crate::domain::place::site::Site;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog, WateringStep};
use crate::domain::treatment::watering::{Watering, WateringState};
use chrono::{DateTime, Datelike, Utc};

/// What to tell of an application's water, by the first number of its journal entry: an edited entry
/// goes on under that.
pub fn watering_notice(
    site: &Site,
    application: i64,
    watering: &Watering,
    log: &NoticeLog,
    now: DateTime<Utc>,
) -> Option<LoggedNotice> {
    let step = watering_step(watering.state, &log.watering_steps(application))?;
    Some(LoggedNotice {
        season: Some(watering.spread.year()),
        journal_entry: Some(application),
        due: Some(watering.deadline),
        ..LoggedNotice::of_site(LoggedKind::Watering(step), &site.id, now)
    })
}

/// What there is to tell of an application that stands so with its water, given what was told of it
/// before.
fn watering_step(state: WateringState, told: &[WateringStep]) -> Option<WateringStep> {
    let was_done = told.contains(&WateringStep::Done);
    let step = match state {
        // Water that was told of has been taken back.
        WateringState::Due | WateringState::Missed if was_done => WateringStep::LackingAgain,
        WateringState::Due if told.is_empty() => WateringStep::Due,
        WateringState::Done(_) => WateringStep::Done,
        WateringState::Missed => WateringStep::Missed,
        WateringState::Due | WateringState::Waiting => return None,
    };
    (!told.contains(&step)).then_some(step)
}

#[cfg(test)]
mod tests {
    use super::*;
    use WateringStep::{Done, Due, LackingAgain, Missed};

    fn done() -> WateringState {
        WateringState::Done("2026-06-10".parse().unwrap())
    }

    #[test]
    fn what_is_kept_names_the_application_the_deadline_and_the_year_it_was_spread_in() {
        let site = Site {
            id: "lawn".into(),
            name: "Lawn".into(),
            turf: "ryegrass".into(),
            condition: None,
            samples: Default::default(),
            area: None,
            choice: Default::default(),
            latitude: 41.8,
            station: "only".into(),
            species: Vec::new(),
            blend: None,
        };
        let deadline = "2025-12-31".parse().unwrap();
        let watering = Watering {
            needed_mm: 13.0,
            spread: "2025-12-30".parse().unwrap(),
            deadline,
            rain_mm: 0.0,
            irrigation_mm: 0.0,
            rain_through: None,
            state: WateringState::Due,
        };
        let now = "2026-01-01T06:00:00Z".parse().unwrap();
        let kept = watering_notice(&site, 7, &watering, &NoticeLog::default(), now).unwrap();
        assert_eq!(kept.journal_entry, Some(7));
        assert_eq!(kept.due, Some(deadline));
        assert_eq!(kept.season, Some(2025));
        assert_eq!(kept.kind, LoggedKind::Watering(Due));
    }

    #[test]
    fn each_step_is_told_once_in_the_order_in_which_it_comes() {
        let (due, waiting, missed) = (
            WateringState::Due,
            WateringState::Waiting,
            WateringState::Missed,
        );
        assert_eq!(watering_step(due, &[]), Some(Due));
        assert_eq!(watering_step(due, &[Due]), None);
        assert_eq!(watering_step(waiting, &[]), None);
        assert_eq!(watering_step(done(), &[Due]), Some(Done));
        assert_eq!(watering_step(done(), &[Due, Done]), None);
        assert_eq!(watering_step(missed, &[Due]), Some(Missed));
        assert_eq!(watering_step(missed, &[Due, Missed]), None);
        assert_eq!(watering_step(done(), &[Due, Missed]), Some(Done));
    }

    #[test]
    fn water_that_was_taken_back_is_asked_for_again_once() {
        for state in [WateringState::Due, WateringState::Missed] {
            assert_eq!(watering_step(state, &[Due, Done]), Some(LackingAgain));
            assert_eq!(watering_step(state, &[Due, Done, LackingAgain]), None);
        }
        assert_eq!(watering_step(WateringState::Waiting, &[Due, Done]), None);
    }

    #[test]
    fn what_was_missed_is_not_asked_for_as_due_again() {
        assert_eq!(watering_step(WateringState::Due, &[Missed]), None);
    }
}
