//! How far off the early notices of a season were. The day that came is the program's own sum at its
//! own threshold, so what is scored is the weather alone.

use crate::domain::look_back::{LookBack, NoticeScore};
use crate::report::words::{counted, days};

/// The scores, a paragraph each.
pub(super) fn scores(season: &LookBack) -> Vec<String> {
    let first = season.first_notices();
    let all = season.all_notices();
    match (first, all) {
        (None, _) => vec![
            "No early notice can be scored: none was told, or nothing that was told has come."
                .to_owned(),
        ],
        (Some(first), all) => {
            let mut scores = vec![score(&first, "First notices")];
            let more = all.filter(|all| all.notices > first.notices);
            scores.extend(
                more.map(|all| score(&all, "All notices, also those that told a date anew")),
            );
            scores
        }
    }
}

/// How far off the notices were.
fn score(score: &NoticeScore, of: &str) -> String {
    let ranges = match score.ranges {
        0 => "No range of them was kept".to_owned(),
        ranges => format!(
            "of the weather alone, {} of {} held the day the sum got there (more than 8 in 10 should: the threshold counts as right here)",
            score.held,
            counted(ranges, "range")
        ),
    };
    let lean = if score.mean_late_days.abs() < 0.05 {
        "neither early nor late on the whole".to_owned()
    } else if score.mean_late_days > 0.0 {
        format!(
            "{:.1} days later than told on the whole",
            score.mean_late_days
        )
    } else {
        format!(
            "{:.1} days earlier than told on the whole",
            -score.mean_late_days
        )
    };
    let (shortest, longest) = score.warning_days;
    let warning = if shortest == longest {
        days(longest)
    } else {
        format!("{shortest} to {}", days(longest))
    };
    format!(
        "{of}: {ranges}. The likely day was off by {:.1} days on average over {}; it came {lean}. Warning: {warning}.",
        score.mean_error_days,
        counted(score.notices, "notice"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(mean_late_days: f64, warning_days: (i64, i64), ranges: usize) -> String {
        let scored = NoticeScore {
            notices: 2,
            mean_error_days: 3.25,
            mean_late_days,
            ranges,
            held: 1,
            warning_days,
        };
        score(&scored, "First notices")
    }

    #[test]
    fn a_score_says_how_often_a_range_held_and_which_way_notices_lean() {
        assert_eq!(
            of(-1.5, (20, 45), 2),
            "First notices: of the weather alone, 1 of 2 ranges held the day the sum got there (more than 8 in 10 should: the threshold counts as right here). The likely day was off by 3.2 days on average over 2 notices; it came 1.5 days earlier than told on the whole. Warning: 20 to 45 days."
        );
        assert!(of(2.0, (1, 1), 1).contains("it came 2.0 days later than told on the whole."));
        assert!(of(2.0, (1, 1), 1).ends_with("Warning: 1 day."));
        assert!(of(0.04, (1, 2), 1).contains("it came neither early nor late on the whole."));
        assert!(of(0.0, (1, 2), 0).starts_with("First notices: No range of them was kept"));
    }
}
