//! How far off the early notices of a season were.

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
            "{} of {} held the day that came",
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
        "{of}: {ranges} (8 in 10 are meant to). The likely day was off by {:.1} days on average over {}; it came {lean}. Warning: {warning}.",
        score.mean_error_days,
        counted(score.notices, "notice"),
    )
}
