//! The demonstration of the README: a season of the invented co-op, played offline.

use crate::support::command::Workshop;
use std::sync::OnceLock;

fn replay(more: &[&str]) -> String {
    let config = concat!(env!("CARGO_MANIFEST_DIR"), "/config/demo.toml");
    let mut arguments = vec!["replay", "--config", config];
    arguments.extend(more);
    Workshop::new().succeeds(&arguments)
}

/// The season as the README plays it, played once for all tests.
fn season() -> &'static str {
    static SEASON: OnceLock<String> = OnceLock::new();
    SEASON.get_or_init(|| replay(&[]))
}

/// The heads of the messages: who was told what, and when.
fn heads(printed: &str) -> Vec<String> {
    let lines: Vec<&str> = printed.lines().collect();
    lines
        .windows(2)
        .filter(|pair| pair[0].contains(" · to "))
        .map(|pair| format!("{} | {}", pair[0], pair[1]))
        .collect()
}

#[test]
fn every_member_hears_of_their_own_season_in_order() {
    let heads = heads(season());
    let of =
        |who: &str| -> Vec<&String> { heads.iter().filter(|head| head.contains(who)).collect() };
    let gardener: Vec<&str> = of("Mill Lane gardener")
        .iter()
        .map(|head| head.as_str())
        .collect();
    let due = [
        ("7 May 2026", "adult flight likely 13 June to 29 June"),
        ("24 June 2026", "adult flight has begun (21 June)"),
        ("30 June 2026", "egg lay has begun (27 June)"),
        ("10 July 2026", "hatch has begun (7 July)"),
        (
            "28 August 2026",
            "the susceptible window has ended (25 August)",
        ),
    ];
    let mut at = 0;
    for (told, what) in due {
        let found = gardener[at..]
            .iter()
            .position(|head| head.starts_with(told) && head.contains(what));
        at += found.unwrap_or_else(|| panic!("no {told}: {what} in {gardener:#?}"));
    }
    assert_eq!(
        gardener.len(),
        11,
        "4 milestones, 3 of them foretold twice, and counting: {gardener:#?}"
    );
    assert!(
        of("Northgate crew")
            .iter()
            .all(|head| head.contains("Southern masked chafer"))
    );
    assert!(
        of("Upper Green keeper")
            .iter()
            .any(|head| head.contains("window ends by the calendar (20 September)")),
        "the cold site's window is closed by date: {heads:#?}"
    );
}

#[test]
fn the_same_season_comes_out_the_same_every_time() {
    assert_eq!(season(), replay(&[]));
}

#[test]
fn a_feed_without_lag_tells_three_days_earlier() {
    let heads = heads(&replay(&["--lag", "0"]));
    let flight = heads
        .iter()
        .find(|head| head.contains("Mill Lane gardener") && head.contains("has begun"))
        .unwrap();
    assert!(flight.starts_with("21 June 2026"), "{flight}");
}

#[test]
fn another_season_can_be_played() {
    let printed = replay(&["--season", "2020"]);
    assert!(printed.contains("season 2020 played"), "{printed}");
    assert!(
        heads(&printed)
            .iter()
            .all(|head| head.contains("2020 · to"))
    );
}

#[test]
fn every_printed_message_carries_cautions() {
    let printed = season();
    let messages = printed.matches(" · to ").count();
    let cautions = printed.matches("CAUTIONS\n").count() + printed.matches("\nCautions: ").count();
    assert!(messages > 20, "{messages}");
    assert_eq!(messages, cautions);
}

#[test]
fn the_alerts_in_the_readme_are_real_ones() {
    let readme = include_str!("../../README.md");
    let samples: Vec<&str> = readme
        .split("```\n")
        .filter(|block| {
            block
                .lines()
                .next()
                .is_some_and(|line| line.contains(" · to "))
        })
        .collect();
    assert_eq!(
        samples.len(),
        3,
        "hatch, what to get ready for it, a treatment step"
    );
    for sample in samples {
        assert!(sample.lines().count() > 20, "{sample}");
        assert!(
            season().contains(sample.trim_end()),
            "the README shows an alert that is not sent any more:\n{sample}"
        );
    }
}

/// What was foretold at the farthest lead held: each milestone fell into its range.
#[test]
fn the_ranges_foretold_for_the_demonstration_held() {
    let printed = season();
    for (foretold, happened) in [
        ("adult flight likely 13 June to 29 June", "21 June"),
        ("egg lay likely 20 June to 7 July", "27 June"),
        ("hatch likely 29 June to 16 July", "7 July"),
    ] {
        let title = format!("Mill Lane, front lawn: Japanese beetle, {foretold}");
        assert!(printed.contains(&title), "{title}");
        assert!(
            printed.contains(&format!("has begun ({happened})")),
            "{happened}"
        );
    }
}
