//! Messages that wait: their ids, their pauses, and how long they are kept.

use crate::support::command::Workshop;
use chrono::{DateTime, TimeDelta, Utc};
use hatchbell::domain::place::site::Channel;
use hatchbell::store::Store;
use hatchbell::store::outbox::{About, Draft, Waiting};
use hatchbell::store::pauses::{Retry, pause};

fn noon() -> DateTime<Utc> {
    "2026-07-01T12:00:00Z".parse().expect("an instant")
}

fn open(workshop: &Workshop, name: &str) -> Store {
    Store::open(&workshop.path(name)).expect("it opens")
}

fn write_message(store: &mut Store, now: DateTime<Utc>) {
    let draft = Draft {
        recipient: "keeper",
        member: "member",
        channel: Channel::Email,
        title: "a title".into(),
        body: "a text".into(),
        urgent: false,
        about: About::default(),
    };
    store.record(&[], &[draft], now).expect("it is written");
}

/// What is due at `now`.
fn due(store: &Store, now: DateTime<Utc>) -> Vec<Waiting> {
    let due = store.due(now, 0).expect("the database works");
    let message = |number| store.waiting(number).expect("the database works");
    due.iter().filter_map(|due| message(due.number)).collect()
}

#[test]
fn a_database_restored_from_a_backup_gives_no_id_again() {
    let workshop = Workshop::new();
    drop(open(&workshop, "hatchbell.db"));
    std::fs::copy(workshop.path("hatchbell.db"), workshop.path("backup.db")).unwrap();
    let ids: Vec<String> = ["hatchbell.db", "backup.db"]
        .iter()
        .flat_map(|name| {
            let mut store = open(&workshop, name);
            write_message(&mut store, noon());
            due(&store, noon()).into_iter().map(|message| message.id)
        })
        .collect();
    assert_ne!(ids[0], ids[1], "both are message 1");
    for id in ids {
        assert_eq!(id.len(), 32, "128 bits: {id}");
        assert!(id.chars().all(|digit| digit.is_ascii_hexdigit()), "{id}");
    }
}

#[test]
fn a_failed_message_waits_longer_each_time_under_its_id_and_is_given_up_after_two_weeks() {
    let workshop = Workshop::new();
    let mut store = open(&workshop, "hatchbell.db");
    write_message(&mut store, noon());
    let id = due(&store, noon())[0].id.clone();
    let mut now = noon();
    for tries in 0..4 {
        let message = due(&store, now).remove(0);
        assert_eq!((&message.id, message.tries), (&id, tries));
        store.attempt(&message, now).unwrap();
        assert!(due(&store, now).is_empty(), "noted before it is sent");
        let given_up = store.not_sent(&message, "server is down", Retry::Soon, now);
        assert!(!given_up.unwrap());
        let next = now + pause(&id, tries + 1, Retry::Soon);
        assert!(due(&store, next - TimeDelta::seconds(1)).is_empty());
        now = next;
    }
    let late = noon() + TimeDelta::days(14);
    let last = due(&store, late).remove(0);
    store.attempt(&last, late).unwrap();
    let given_up = store.not_sent(&last, "server is down", Retry::Soon, late);
    assert!(given_up.unwrap());
    assert!(due(&store, late + TimeDelta::days(2)).is_empty());
    assert_eq!(store.tally().unwrap().given_up, 1);
    assert_eq!(
        store.delivery_problems(late).unwrap(),
        ["keeper by email: server is down"]
    );
}

#[test]
fn a_message_that_was_never_tried_is_not_given_up_however_old_it_is() {
    let workshop = Workshop::new();
    let mut store = open(&workshop, "hatchbell.db");
    write_message(&mut store, noon());
    let late = noon() + TimeDelta::days(40);
    let message = due(&store, late).remove(0);
    store.attempt(&message, late).unwrap();
    let given_up = store.not_sent(&message, "no network yet", Retry::Soon, late);
    assert!(!given_up.unwrap());
}

#[test]
fn a_message_put_off_by_a_clock_that_was_ahead_is_due_and_one_after_a_refusal_is_not() {
    let workshop = Workshop::new();
    let mut store = open(&workshop, "hatchbell.db");
    write_message(&mut store, noon());
    let message = due(&store, noon()).remove(0);
    let ahead = noon() + TimeDelta::days(8);
    store.attempt(&message, ahead).unwrap();
    assert_eq!(due(&store, noon()).len(), 1);
    store
        .not_sent(&message, "no such mailbox", Retry::Refused, noon())
        .unwrap();
    assert!(due(&store, noon()).is_empty());
    assert_eq!(due(&store, noon() + TimeDelta::hours(29)).len(), 1);
}

#[test]
fn what_is_due_comes_page_by_page_and_each_message_once() {
    let workshop = Workshop::new();
    let mut store = Store::open_for_a_while(&workshop.path("hatchbell.db")).unwrap();
    for _ in 0..2_500 {
        write_message(&mut store, noon());
    }
    let (mut pages, mut numbers, mut last) = (Vec::new(), Vec::new(), 0);
    loop {
        let page = store.due(noon(), last).unwrap();
        let Some(newest) = page.last() else { break };
        last = newest.number;
        pages.push(page.len());
        numbers.extend(page.iter().map(|due| due.number));
    }
    assert_eq!(pages, [1_000, 1_000, 500]);
    assert_eq!(numbers, (1..=2_500).collect::<Vec<i64>>());
}
