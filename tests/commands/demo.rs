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
        ("7 May 2026", "The grub season ahead"),
        ("24 June 2026", "adult flight has begun (21 June)"),
        ("30 June 2026", "egg lay has begun (27 June)"),
        ("10 July 2026", "hatch has begun (7 July)"),
        ("28 August 2026", "window has ended (25 August)"),
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
        6,
        "the letter, 4 milestones, and counting: {gardener:#?}"
    );
    let flowing = season().split_whitespace().collect::<Vec<_>>().join(" ");
    let meadow = |head: &&&String| head.contains("lower meadow");
    assert_eq!(of("Northgate crew").iter().filter(meadow).count(), 0);
    assert!(
        of("Upper Green keeper")
            .iter()
            .any(|head| head.contains("Northern masked chafer and Oriental beetle: window"))
            && flowing.contains("window has ended (20 September by the calendar)"),
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
fn every_printed_message_about_something_applied_carries_cautions_and_no_other_does() {
    let mut applied = 0;
    for message in messages(season()) {
        let title = message.lines().nth(1).unwrap();
        let applies = ["Apply ", "Last week for ", "Water in "]
            .iter()
            .any(|what| message.contains(what));
        let has = message.contains("label is the law");
        if title.starts_with("Apply ") || title.starts_with("Last week for ") {
            applied += 1;
            assert!(has && message.contains("off water"), "{message}");
        }
        assert!(applies || !has, "{message}");
    }
    assert!(applied > 10, "{applied}");
}

/// The messages as they are printed, each from its line "… · to …" on.
fn messages(printed: &str) -> Vec<&str> {
    let starts: Vec<usize> = printed
        .match_indices(" · to ")
        .map(|(at, _)| printed[..at].rfind('\n').map_or(0, |line| line + 1))
        .collect();
    let ends = starts.iter().skip(1).copied().chain([printed.len()]);
    starts
        .iter()
        .zip(ends)
        .map(|(start, end)| printed[*start..end].trim_end())
        .collect()
}

/// The budget of words over the demonstration's season, each message with its head and its foot.
#[test]
fn nobody_gets_more_messages_and_words_than_they_would_read() {
    let of = |who: &str| -> Vec<&str> {
        let all = messages(season()).into_iter();
        all.filter(|message| message.lines().next().unwrap().contains(who))
            .collect()
    };
    let words = |messages: &[&str]| {
        messages
            .iter()
            .map(|one| one.split_whitespace().count())
            .sum::<usize>()
    };
    for (who, most, most_words) in [
        ("to the Northgate grounds manager by email", 14, 2_500),
        ("to the Mill Lane gardener by email", 7, 900),
    ] {
        let messages = of(who);
        assert!(
            (1..=most).contains(&messages.len()),
            "{who}: {}",
            messages.len()
        );
        assert!(
            words(&messages) <= most_words,
            "{who}: {}",
            words(&messages)
        );
    }
    for message in messages(season()) {
        assert!(words(&[message]) <= 450, "{message}");
        let mut lines = message.lines();
        let (head, title) = (lines.next().unwrap(), lines.next().unwrap());
        assert!(title.chars().count() <= 60, "{title}");
        if head.contains("by push") {
            let body: String = lines.collect::<Vec<_>>().join("\n");
            assert!(body.trim().chars().count() <= 240, "{message}");
        }
    }
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
    assert_eq!(samples.len(), 2, "the season's letter and work");
    for sample in samples {
        assert!(sample.lines().count() > 6, "{sample}");
        assert!(
            season().contains(sample.trim_end()),
            "the README shows an alert that is not sent any more:\n{sample}"
        );
    }
}

/// What the season's letter foretold held: each milestone fell into its range.
#[test]
fn the_ranges_foretold_for_the_demonstration_held() {
    let letter = messages(season())
        .into_iter()
        .find(|message| message.contains("The grub season ahead: Mill Lane"))
        .unwrap();
    let ranges = "12-29 Jun      20 Jun-6 Jul   29 Jun-17 Jul";
    assert!(letter.contains(ranges), "{letter}");
    for came in [
        "flight has begun (21 June)",
        "egg lay has begun (27 June)",
        "hatch has begun (7 July)",
    ] {
        assert!(season().contains(came), "{came}");
    }
}
