//! Messages come at the hours that their recipients have chosen, in every zone and whatever clocks do.

use crate::promise::{days, demo};
use crate::support::command::config_with;
use crate::support::engine::Play;
use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, Offset, TimeDelta, TimeZone, Utc, Weekday};
use chrono_tz::{TZ_VARIANTS, Tz};
use hatchbell::domain::telling::reception::{
    Cadence, DigestRhythm, QuietHours, QuietHoursError, Reception, Topic, Topics,
};

fn at(text: &str) -> DateTime<Utc> {
    text.parse().expect("an instant")
}

fn time(text: &str) -> NaiveTime {
    NaiveTime::parse_from_str(text, "%H:%M").expect("a time of day")
}

fn quiet_in(zone: Tz, from: &str, to: &str) -> Reception {
    Reception {
        quiet: Some(QuietHours::new(time(from), time(to), false).expect("quiet hours")),
        zone,
        ..Reception::default()
    }
}

fn digest_in(zone: Tz, every: Cadence, day: Weekday, at: &str) -> Reception {
    Reception {
        digest: Some(DigestRhythm {
            every,
            day,
            at: time(at),
            all_members: false,
        }),
        zone,
        ..Reception::default()
    }
}

/// From when on a message of an instant may be sent.
fn sent(reception: &Reception, now: &str) -> String {
    let instant = reception.not_before(at(now), false);
    instant.format("%Y-%m-%dT%H:%M:%SZ").to_string()
}

#[test]
fn quiet_hours_go_past_midnight_and_end_when_they_say() {
    // Central Daylight Time is UTC-5.
    let night = quiet_in(Tz::America__Chicago, "21:00", "06:30");
    for (now, then) in [
        ("2026-07-01T01:59:59Z", "2026-07-01T01:59:59Z"),
        ("2026-07-01T02:00:00Z", "2026-07-01T11:30:00Z"),
        ("2026-07-01T05:00:00Z", "2026-07-01T11:30:00Z"),
        ("2026-07-01T11:29:59Z", "2026-07-01T11:30:00Z"),
        ("2026-07-01T11:30:00Z", "2026-07-01T11:30:00Z"),
    ] {
        assert_eq!(sent(&night, now), then, "{now}");
    }
    let noon = quiet_in(Tz::UTC, "12:00", "14:00");
    assert_eq!(sent(&noon, "2026-07-01T11:59:59Z"), "2026-07-01T11:59:59Z");
    assert_eq!(sent(&noon, "2026-07-01T13:00:00Z"), "2026-07-01T14:00:00Z");
}

/// Clocks in the United States: forward at 2 on the second Sunday in March, back at 2 on the first in
/// November (Energy Policy Act of 2005, section 110): 8 March and 1 November 2026.
#[test]
fn quiet_hours_at_a_time_that_does_not_exist_turn_at_the_end_of_the_gap() {
    let until = quiet_in(Tz::America__Chicago, "21:00", "02:30");
    assert_eq!(sent(&until, "2026-03-08T07:59:59Z"), "2026-03-08T08:00:00Z");
    assert_eq!(sent(&until, "2026-03-08T08:00:00Z"), "2026-03-08T08:00:00Z");
    let from = quiet_in(Tz::America__Chicago, "02:30", "05:00");
    assert_eq!(sent(&from, "2026-03-08T07:59:59Z"), "2026-03-08T07:59:59Z");
    assert_eq!(sent(&from, "2026-03-08T08:00:00Z"), "2026-03-08T10:00:00Z");
}

#[test]
fn quiet_hours_at_a_time_that_comes_twice_are_never_cut_short() {
    // 01:30 is at 06:30 UTC and again at 07:30.
    let until = quiet_in(Tz::America__Chicago, "21:00", "01:30");
    assert_eq!(sent(&until, "2026-11-01T06:45:00Z"), "2026-11-01T07:30:00Z");
    assert_eq!(sent(&until, "2026-11-01T07:30:00Z"), "2026-11-01T07:30:00Z");
    let from = quiet_in(Tz::America__Chicago, "01:30", "05:00");
    assert_eq!(sent(&from, "2026-11-01T06:29:59Z"), "2026-11-01T06:29:59Z");
    assert_eq!(sent(&from, "2026-11-01T07:10:00Z"), "2026-11-01T11:00:00Z");
}

/// Newfoundland put its clocks back at one minute past midnight until 2011 (IANA time zone database):
/// on 7 November 2010 from 00:01 to 23:01 of the day before, at 02:31 UTC.
#[test]
fn quiet_hours_that_began_on_a_day_that_a_clock_then_leaves_again_go_on() {
    let night = quiet_in(Tz::America__St_Johns, "00:00", "06:00");
    assert_eq!(sent(&night, "2010-11-07T02:29:59Z"), "2010-11-07T02:29:59Z");
    assert_eq!(sent(&night, "2010-11-07T03:00:00Z"), "2010-11-07T09:30:00Z");
}

#[test]
fn quiet_hours_leave_three_hours_of_a_day() {
    let hours = |from, to| QuietHours::new(time(from), time(to), false);
    assert!(hours("09:00", "06:00").is_ok());
    assert_eq!(hours("09:00", "06:01"), Err(QuietHoursError::TooLong));
    assert_eq!(hours("09:00", "09:00"), Err(QuietHoursError::Empty));
}

#[test]
fn what_is_urgent_breaks_quiet_hours_only_if_asked_to_and_never_a_pause() {
    let night = at("2026-07-01T03:00:00Z");
    let mut reception = quiet_in(Tz::America__Chicago, "21:00", "06:30");
    assert_eq!(
        reception.not_before(night, true),
        at("2026-07-01T11:30:00Z")
    );
    reception.quiet = QuietHours::new(time("21:00"), time("06:30"), true).ok();
    assert_eq!(reception.not_before(night, true), night);
    assert_eq!(
        reception.not_before(night, false),
        at("2026-07-01T11:30:00Z")
    );
    reception.pause_until = NaiveDate::from_ymd_opt(2026, 8, 1);
    let day_begins = at("2026-08-01T05:00:00Z");
    assert_eq!(reception.not_before(night, true), day_begins);
    // A day begins at night.
    assert_eq!(
        reception.not_before(night, false),
        at("2026-08-01T11:30:00Z")
    );
    assert_eq!(reception.not_before(day_begins, true), day_begins);
}

/// In Egypt clocks are put forward at midnight before the last Friday in April (law 24 of 2023), in
/// 2026 on the 24th, as the IANA time zone database has it.
#[test]
fn a_pause_until_a_day_without_midnight_ends_at_its_first_instant() {
    let reception = Reception {
        zone: Tz::Africa__Cairo,
        pause_until: NaiveDate::from_ymd_opt(2026, 4, 24),
        ..Reception::default()
    };
    assert_eq!(
        sent(&reception, "2026-04-01T00:00:00Z"),
        "2026-04-23T22:00:00Z"
    );
}

fn offset(zone: Tz, instant: DateTime<Utc>) -> i32 {
    let offset = zone.offset_from_utc_datetime(&instant.naive_utc());
    offset.fix().local_minus_utc()
}

const YEAR: (&str, &str) = ("2026-01-01T00:00:00Z", "2027-01-01T00:00:00Z");

/// Instants of a year: one a day, at another hour each, and every ten minutes where clocks change.
fn instants(zone: Tz) -> Vec<(DateTime<Utc>, bool)> {
    let (first, end) = (at(YEAR.0), at(YEAR.1));
    let mut all = Vec::new();
    let mut day = first;
    while day < end {
        let next = day + TimeDelta::days(1);
        let changes =
            offset(zone, day - TimeDelta::days(1)) != offset(zone, next + TimeDelta::days(1));
        let step = if changes { 10 } else { 1500 };
        let mut instant = day + TimeDelta::minutes(i64::from(day.ordinal()) * 97 % step);
        while instant < next {
            all.push((instant, changes));
            instant += TimeDelta::minutes(step);
        }
        day = next;
    }
    all
}

#[test]
fn in_no_zone_is_anything_sent_in_quiet_hours_nor_held_much_longer() {
    let hours = [("21:00", "06:30"), ("00:30", "02:10"), ("02:30", "23:30")];
    let most_that_clocks_change = TimeDelta::hours(2);
    let mut held = 0;
    for zone in TZ_VARIANTS {
        let instants = instants(zone);
        for (from, to) in hours {
            let reception = quiet_in(zone, from, to);
            let (from, to) = (time(from), time(to));
            let length = TimeDelta::seconds((to - from).num_seconds().rem_euclid(86_400));
            let is_quiet = |instant: DateTime<Utc>| {
                let wall = instant.with_timezone(&zone).time();
                if from < to {
                    from <= wall && wall < to
                } else {
                    from <= wall || wall < to
                }
            };
            for (now, changes) in &instants {
                let then = reception.not_before(*now, false);
                let wait = then - *now;
                assert!(!is_quiet(then), "{zone}: {now} to {then}");
                assert!(
                    wait >= TimeDelta::zero() && wait <= length + most_that_clocks_change,
                    "{zone}: {now} to {then}"
                );
                if !changes {
                    assert_eq!(wait > TimeDelta::zero(), is_quiet(*now), "{zone}: {now}");
                    assert!(wait <= length, "{zone}: {now} to {then}");
                }
                held += u32::from(wait > TimeDelta::zero());
            }
        }
    }
    assert!(held > 100_000, "{held}");
}

#[test]
fn in_every_zone_a_year_has_52_or_53_weekly_digests() {
    let week = [
        Weekday::Sun,
        Weekday::Mon,
        Weekday::Thu,
        Weekday::Fri,
        Weekday::Sat,
    ];
    let times = ["02:30", "00:00", "01:30", "23:59"];
    for (index, zone) in TZ_VARIANTS.into_iter().enumerate() {
        let (day, time) = (week[index % week.len()], times[index % times.len()]);
        let reception = digest_in(zone, Cadence::Week, day, time);
        let mut last = at(YEAR.0);
        let mut now = last;
        let mut count = 0;
        while now < at(YEAR.1) {
            now += TimeDelta::hours(8);
            if reception.digest_due(Some(last), now).is_some() {
                let between = now - last;
                assert!(
                    count == 0 || between >= TimeDelta::hours(7 * 24 - 10),
                    "{zone}: {now}"
                );
                (last, count) = (now, count + 1);
            }
        }
        assert!(count == 52 || count == 53, "{zone}: {count}");
    }
}

#[test]
fn a_digest_is_due_at_its_time_once_also_where_that_time_is_skipped_or_comes_twice() {
    let due = |time, last, now| {
        digest_in(Tz::America__Chicago, Cadence::Week, Weekday::Sun, time)
            .digest_due(Some(at(last)), at(now))
            .is_some()
    };
    assert!(!due(
        "02:30",
        "2026-03-02T00:00:00Z",
        "2026-03-08T07:59:59Z"
    ));
    assert!(due("02:30", "2026-03-02T00:00:00Z", "2026-03-08T08:00:00Z"));
    assert!(!due(
        "01:30",
        "2026-10-27T00:00:00Z",
        "2026-11-01T06:29:59Z"
    ));
    assert!(due("01:30", "2026-10-27T00:00:00Z", "2026-11-01T06:30:00Z"));
    assert!(!due(
        "01:30",
        "2026-11-01T06:30:00Z",
        "2026-11-01T07:30:00Z"
    ));
    // Missed while the machine was off: once, however many there were.
    assert!(due("01:30", "2026-10-01T00:00:00Z", "2026-11-12T00:00:00Z"));
}

/// By ISO 8601 a year that begins on a Thursday, as 2026 does, has 53 weeks.
#[test]
fn every_two_weeks_means_the_weeks_with_an_even_number() {
    let reception = digest_in(Tz::UTC, Cadence::TwoWeeks, Weekday::Mon, "07:00");
    let (mut last, mut now) = (at("2026-11-10T00:00:00Z"), at("2026-11-10T00:00:00Z"));
    let mut days = Vec::new();
    while now < at("2027-02-01T00:00:00Z") {
        now += TimeDelta::hours(1);
        if reception.digest_due(Some(last), now).is_some() {
            last = now;
            days.push(now.format("%m-%d %H:%M").to_string());
        }
    }
    assert_eq!(
        days,
        [
            "11-23 07:00",
            "12-07 07:00",
            "12-21 07:00",
            "01-11 07:00",
            "01-25 07:00"
        ]
    );
    // Missed while the machine was off, and noticed just before the next.
    let missed = at("2027-01-11T06:59:59Z");
    assert!(
        reception
            .digest_due(Some(at("2026-12-20T00:00:00Z")), missed)
            .is_some()
    );
}

#[test]
fn no_digest_is_due_before_the_first_is_gathered_or_where_none_is_wanted() {
    let monday = at("2026-07-06T07:00:00Z");
    let mut reception = digest_in(Tz::UTC, Cadence::Week, Weekday::Mon, "07:00");
    assert_eq!(reception.digest_due(None, monday), None);
    assert!(
        reception
            .digest_due(Some(monday - TimeDelta::days(1)), monday)
            .is_some()
    );
    reception.topics = Topics::only(&[Topic::Work, Topic::Milestones, Topic::Data]);
    assert_eq!(
        reception.digest_due(Some(monday - TimeDelta::days(1)), monday),
        None
    );
    assert_eq!(
        Reception::default().digest_due(Some(monday - TimeDelta::days(30)), monday),
        None
    );
}

/// Something happens every hour; each digest brings what came since the last one.
#[test]
fn a_digest_noted_by_a_clock_that_was_ahead_is_due_and_brings_its_usual_span() {
    let now = at("2026-07-01T12:00:00Z");
    for (every, span) in [(Cadence::Week, 7), (Cadence::TwoWeeks, 14)] {
        let reception = digest_in(Tz::UTC, every, Weekday::Mon, "07:00");
        let due = |ahead| reception.digest_due(Some(now + ahead), now);
        let since = Some(now - TimeDelta::days(span));
        assert_eq!(due(TimeDelta::days(8)), since);
        assert_eq!(due(TimeDelta::days(365 * 70)), since);
        assert_eq!(
            due(TimeDelta::hours(3)),
            None,
            "a clock that was set back a little"
        );
    }
}

#[test]
fn a_change_of_tell_or_cadence_loses_and_repeats_nothing_of_digests() {
    let weekly = digest_in(Tz::America__Chicago, Cadence::Week, Weekday::Mon, "07:00");
    let without = Reception {
        topics: Topics::only(&[Topic::Work]),
        ..weekly
    };
    let changes = [
        ("2026-05-01T00:00:00Z", weekly),
        (
            "2026-05-20T12:00:00Z",
            digest_in(Tz::UTC, Cadence::TwoWeeks, Weekday::Fri, "18:00"),
        ),
        ("2026-06-20T12:00:00Z", without),
        (
            "2026-07-20T12:00:00Z",
            digest_in(Tz::UTC, Cadence::Week, Weekday::Sat, "06:00"),
        ),
        (
            "2026-08-05T12:00:00Z",
            digest_in(Tz::Asia__Tokyo, Cadence::Week, Weekday::Wed, "06:00"),
        ),
    ];
    let start = at(changes[0].0);
    let (mut last, mut now) = (start, start);
    let mut told: Vec<i64> = Vec::new();
    let mut digests = 0;
    while now < at("2026-09-01T00:00:00Z") {
        now += TimeDelta::hours(1);
        let in_force = changes.iter().rfind(|(from, _)| at(from) <= now);
        if in_force
            .expect("the first")
            .1
            .digest_due(Some(last), now)
            .is_some()
        {
            told.extend((last - start).num_hours() + 1..=(now - start).num_hours());
            (last, digests) = (now, digests + 1);
        }
    }
    assert!(digests > 8, "{digests}");
    assert_eq!(told, Vec::from_iter(1..=(last - start).num_hours()));
    assert!(now - last < TimeDelta::days(8), "the newest was at {last}");
}

/// A recipient with these keys at a site where flight (560 °C·d at 10 a day) is found on 2 March at six.
async fn told_of_flight(keys: &str) -> Play {
    let mut play = Play::new(&keeper(keys));
    play.workshop.write("days.csv", &days(55, 10.0));
    play.cycle("2026-02-24T06:00:00Z").await;
    play.workshop.write("days.csv", &days(60, 10.0));
    play.cycle("2026-03-02T06:00:00Z").await;
    play
}

fn keeper(keys: &str) -> String {
    config_with(
        "file = \"days.csv\"",
        &format!("console = true\n{keys}"),
        "",
    )
}

fn states(play: &Play) -> Vec<String> {
    play.column("SELECT state || ' ' || tries FROM outbox ORDER BY id")
}

const NIGHT: &str =
    "quiet = { from = \"22:00\", to = \"07:00\", urgent = true }\nzone = \"Etc/GMT-1\"";

#[tokio::test]
async fn a_message_found_in_quiet_hours_waits_for_their_end_and_is_no_failure() {
    // Etc/GMT-1 is an hour ahead of UTC: six is seven there.
    let play = told_of_flight(NIGHT).await;
    assert_eq!(states(&play), ["sent 1"]);
    let mut play = told_of_flight(&NIGHT.replace("GMT-1", "GMT+1")).await;
    assert_eq!(states(&play), ["waiting 0"]);
    play.cycle("2026-03-02T07:59:00Z").await;
    assert_eq!(states(&play), ["waiting 0"]);
    play.cycle("2026-03-02T08:00:00Z").await;
    assert_eq!(states(&play), ["sent 1"]);
}

/// Flight is found on Monday 2 March at six; the digest is due at nine, long before the next cycle.
#[tokio::test]
async fn a_digest_comes_at_its_hour_and_not_with_the_next_cycle() {
    let keys = "digest = { every = \"week\", day = \"monday\", at = \"09:00\" }";
    let mut play = told_of_flight(keys).await;
    assert_eq!(states(&play), [""; 0]);
    play.between_cycles("2026-03-02T08:59:00Z").await;
    assert_eq!(states(&play), [""; 0]);
    play.between_cycles("2026-03-02T09:00:00Z").await;
    assert_eq!(states(&play), ["sent 1"]);
    play.between_cycles("2026-03-02T09:01:00Z").await;
    assert_eq!(states(&play), ["sent 1"]);
}

#[tokio::test]
async fn an_urgent_message_is_sent_at_night_where_quiet_hours_say_so() {
    let mut play = told_of_flight(&NIGHT.replace("GMT-1", "GMT+1")).await;
    let database = rusqlite::Connection::open(play.workshop.path("hatchbell.db")).unwrap();
    database
        .execute("UPDATE outbox SET urgent = 1", [])
        .unwrap();
    drop(database);
    play.cycle("2026-03-02T06:01:00Z").await;
    assert_eq!(states(&play), ["sent 1"]);
}

#[tokio::test]
async fn a_message_waits_for_the_end_of_a_pause_or_for_its_being_lifted() {
    let mut play = told_of_flight("pause_until = \"2999-08-01\"").await;
    assert_eq!(states(&play), ["waiting 0"]);
    let outbox = &play.status_json("2026-03-02")["outbox"];
    let seen = ["waiting", "failing", "for_their_hour"].map(|what| outbox[what].as_u64());
    assert_eq!(seen, [Some(1), Some(0), Some(1)], "{outbox}");
    play.cycle("2026-05-02T06:00:00Z").await;
    play.reconfigure(&keeper("pause_until = \"2026-05-04\""));
    play.cycle("2026-05-03T23:59:59Z").await;
    assert!(states(&play).iter().all(|state| state == "waiting 0"));
    play.cycle("2026-05-04T00:00:00Z").await;
    assert!(states(&play).iter().all(|state| state == "sent 1"));
}

#[test]
fn a_single_run_says_what_waits_for_its_hour_and_succeeds() {
    let workshop = crate::support::command::Workshop::new();
    workshop.write("days.csv", &days(60, 10.0));
    let text = config_with(
        "file = \"days.csv\"",
        "console = true\npause_until = \"2026-08-01\"",
        &demo("2026-02-24", 86_400.0),
    );
    let config = workshop.write("hatchbell.toml", &text);
    workshop.succeeds(&["run", "--once", "--config", &config]);
    let output = workshop.run(&["run", "--once", "--config", &config]);
    assert!(output.status.success());
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        said.contains("0 sent, 0 not sent yet, 1 waiting for their hour"),
        "{said}"
    );
    assert!(output.stdout.is_empty(), "nothing is printed");
}

#[test]
fn a_replay_tells_each_day_what_was_found_whatever_the_hours() {
    let workshop = crate::support::command::Workshop::new();
    workshop.write("days.csv", &days(60, 10.0));
    let text = config_with(
        "file = \"days.csv\"",
        "console = true\npause_until = \"2999-08-01\"",
        "",
    );
    let config = workshop.write("hatchbell.toml", &text);
    let told = workshop.succeeds(&["replay", "--season", "2026", "--config", &config]);
    assert!(!told.contains(" 0 messages to "), "{told}");
    assert!(told.contains(" messages to 1 person, longest "), "{told}");
}
