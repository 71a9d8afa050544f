//! What was told in a season, in a few words each.

use super::species::range;
use crate::domain::look_back::SentNotice;
use crate::domain::notation::Notation;
use crate::domain::telling::notice_log::WateringStep;
use crate::domain::treatment::steps::Step;
use chrono::NaiveDate;

/// What was told.
pub(super) fn told(what: &SentNotice, notation: &Notation) -> String {
    let about = |day: Option<NaiveDate>| {
        day.map_or(String::new(), |day| format!(" about {}", notation.day(day)))
    };
    match what {
        SentNotice::Foretold { species, notice } => {
            let range =
                range(notice, notation).map_or(String::new(), |range| format!(" ({range})"));
            format!(
                "{species}: {} likely {}{range}",
                notice.milestone.title(),
                notation.day(notice.likely)
            )
        }
        SentNotice::Passed { species, recorded } => {
            let after = match (recorded.withdrawn, recorded.corrected_to) {
                (true, _) => "; taken back later".to_owned(),
                (false, Some(to)) => format!("; corrected later to {}", notation.day(to)),
                (false, None) => String::new(),
            };
            format!(
                "{species}: {} on {}{after}",
                recorded.milestone.title(),
                notation.day(recorded.on)
            )
        }
        SentNotice::Treatment { option, step, due } => {
            let step = match step {
                Step::Opens => "worth it now, best day",
                Step::BestAhead => "its best days are near,",
                Step::LastCall => "its last useful day is near,",
                Step::TooLate => "it is too late for it, since",
            };
            format!("{option}: {step}{}", about(*due))
        }
        SentNotice::Count => "time to count grubs".to_owned(),
        SentNotice::Overtaken { nothing_left: true } => "nothing works now".to_owned(),
        SentNotice::Overtaken { .. } => "hold back".to_owned(),
        SentNotice::Water {
            number,
            option,
            step,
            due,
        } => {
            let what = match option {
                Some(option) => format!("{option} (number {number})"),
                None => format!("application number {number}, taken back since"),
            };
            let by = due.map_or(String::new(), |due| format!(" by {}", notation.day(due)));
            match step {
                WateringStep::Done => format!("{what}: watered in"),
                WateringStep::Missed => format!("{what}: not watered in{by}"),
                WateringStep::Due | WateringStep::LackingAgain => {
                    format!("{what}: to be watered in{by}")
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn water(option: Option<&str>, step: WateringStep) -> String {
        told(
            &SentNotice::Water {
                number: 3,
                option: option.map(str::to_owned),
                step,
                due: NaiveDate::from_ymd_opt(2026, 6, 2),
            },
            &Notation::default(),
        )
    }

    #[test]
    fn a_notice_of_water_names_the_application_and_the_day() {
        let option = Some("Clothianidin");
        assert_eq!(
            water(option, WateringStep::Done),
            "Clothianidin (number 3): watered in"
        );
        assert_eq!(
            water(option, WateringStep::Missed),
            "Clothianidin (number 3): not watered in by 2 June"
        );
        assert_eq!(
            water(None, WateringStep::Due),
            "application number 3, taken back since: to be watered in by 2 June"
        );
    }

    #[test]
    fn a_treatment_is_told_with_its_step_and_the_day_it_was_about() {
        let step = |step, due| {
            told(
                &SentNotice::Treatment {
                    option: "Carbaryl".to_owned(),
                    step,
                    due,
                },
                &Notation::default(),
            )
        };
        let due = NaiveDate::from_ymd_opt(2026, 8, 20);
        assert_eq!(
            step(Step::LastCall, due),
            "Carbaryl: its last useful day is near, about 20 August"
        );
        assert_eq!(step(Step::Opens, None), "Carbaryl: worth it now, best day");
    }
}
