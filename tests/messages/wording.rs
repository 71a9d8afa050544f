//! What people read: every message carries what it must, whatever it is about.

use crate::support::species::{date, species, steady};
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::phenology::outlook::{Basis, ByCalendar, Outlook};
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::phenology::season_state::{Expectation, PassedBy, Record, season_state};
use hatchbell::domain::phenology::species::Species;
use hatchbell::domain::place::site::{Channel, Member, Recipient, Site, Station};
use hatchbell::domain::sourced_value::EvidenceGrade;
use hatchbell::domain::telling::meaning::Meaning;
use hatchbell::domain::telling::notice::{Bundle, Notice, NoticeKind, bundles};
use hatchbell::domain::telling::reception::Reception;
use hatchbell::domain::treatment::choice::Choice;
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::observation_day::DayShift;
use hatchbell::domain::weather::reading::Readings;
use hatchbell::notify::wording::{Message, message};

fn station() -> Station {
    Station {
        id: "harbour-meadow".into(),
        name: "Harbour Meadow".into(),
        usual_lag_days: 4,
        elevation_m: None,
        neighbours: vec![],
        day_shift: DayShift::default(),
    }
}

fn site(id: &str, name: &str) -> Site {
    Site {
        id: id.into(),
        name: name.into(),
        turf: "ryegrass".into(),
        condition: None,
        samples: Default::default(),
        area: None,
        choice: Choice::default(),
        latitude: 41.8,
        station: "harbour-meadow".into(),
        species: vec!["japanese-beetle".into()],
        blend: None,
    }
}

fn recipient(id: &str, sites: &[&str]) -> Recipient {
    Recipient {
        id: id.into(),
        name: format!("the {id}"),
        channels: vec![Channel::Email, Channel::Push],
        sites: sites.iter().map(|site| (*site).to_owned()).collect(),
        species: None,
        reception: Reception::default(),
        at_machine: false,
    }
}

fn member(id: &str, sites: Vec<Site>, recipients: Vec<Recipient>) -> Member {
    Member {
        id: id.into(),
        name: format!("Member {id}"),
        answer_to: None,
        sites,
        recipients,
    }
}

fn passed<'a>(
    member: &'a Member,
    station: &'a Station,
    species: &'a Species,
    milestone: Milestone,
    gain: f64,
) -> Notice<'a> {
    let readings = steady("2026-01-01", "2026-10-20", gain);
    let record = Record {
        readings: &DailyReadings::from(&readings),
        past: &[],
        estimates: &Estimates::new(),
        forecast: &Readings::new(),
    };
    let state = season_state(species, 41.8, record, date("2026-10-22"), Limits::default());
    let crossing = *state
        .crossings
        .iter()
        .find(|crossing| crossing.milestone == milestone)
        .expect("it is passed");
    let so_far: Vec<Milestone> = state
        .crossings
        .iter()
        .map(|c| c.milestone)
        .filter(|other| *other <= milestone)
        .collect();
    Notice {
        member,
        site: &member.sites[0],
        station,
        kind: NoticeKind::Passed {
            species,
            crossing,
            data_through: state.data_through,
            next: None,
            meaning: Meaning::of(&crossing, &so_far, 3),
        },
        need: None,
        parts: &[],
    }
}

fn worded(notice: &Notice<'_>, channel: Channel) -> Message {
    message(
        "a test",
        &Bundle {
            recipient: &notice.member.recipients[0],
            channel,
            notices: vec![notice],
        },
    )
}

fn one_member() -> Member {
    member(
        "one",
        vec![site("lawn", "Front lawn")],
        vec![recipient("gardener", &["lawn"])],
    )
}

#[test]
fn every_milestone_message_carries_the_cautions_itself() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    for milestone in Milestone::ALL {
        let notice = passed(&member, &station, &beetle, milestone, 8.0);
        for channel in [
            Channel::Email,
            Channel::Push,
            Channel::Console,
            Channel::File,
        ] {
            // Lines are broken anywhere between words.
            let body = worded(&notice, channel)
                .body
                .replace("\n  ", " ")
                .replace('\n', " ");
            for caution in [
                "label is the law",
                "ocal rules",
                "icensed applicator",
                "in bloom",
                "off water",
                "hildren and pets",
            ] {
                assert!(
                    body.contains(caution),
                    "{milestone:?} by {channel:?}: no {caution:?} in {body}"
                );
            }
        }
    }
}

#[test]
fn an_estimate_is_called_an_estimate_and_a_published_value_published() {
    let (member, station) = (one_member(), station());
    for id in [
        "japanese-beetle",
        "european-chafer",
        "northern-masked-chafer",
    ] {
        let species = species(id);
        for milestone in Milestone::ALL {
            let notice = passed(&member, &station, &species, milestone, 8.0);
            let body = worded(&notice, Channel::Email).body.replace('\n', " ");
            let due = species.threshold(milestone).grade;
            assert!(body.contains(due.in_words()), "{id} {milestone:?}: {body}");
            if due == EvidenceGrade::Estimate {
                assert!(!body.contains("a published value:"), "{id} {milestone:?}");
            }
        }
    }
}

#[test]
fn a_message_says_what_happened_what_it_means_and_what_comes_next() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    let notice = passed(&member, &station, &beetle, Milestone::Hatch, 8.0);
    let message = worded(&notice, Channel::Email);
    assert_eq!(
        message.title,
        "Front lawn: Japanese beetle, hatch has begun (13 April)"
    );
    let body = message.body.replace('\n', " ");
    for part in [
        "What happened:",
        "Harbour Meadow",
        "820 (700 to 940) °C·d",
        "no day estimated",
        "What it means:",
        "What comes next:",
        "How sure:",
    ] {
        assert!(body.contains(part), "no {part:?} in {body}");
    }
}

#[test]
fn a_season_without_hatch_ends_with_nothing_to_spread() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    let notice = passed(&member, &station, &beetle, Milestone::WindowEnd, 2.5);
    let body = worded(&notice, Channel::Email).body.replace('\n', " ");
    assert!(body.contains("nothing needs to be spread"), "{body}");
}

#[test]
fn mail_lines_stay_within_72_columns() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    for milestone in Milestone::ALL {
        let notice = passed(&member, &station, &beetle, milestone, 8.0);
        for line in worded(&notice, Channel::Email).body.lines() {
            assert!(line.chars().count() <= 72, "{line}");
        }
    }
}

#[test]
fn push_messages_are_shorter_than_mails() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    for milestone in Milestone::ALL {
        let notice = passed(&member, &station, &beetle, milestone, 8.0);
        let length = |channel| worded(&notice, channel).body.chars().count();
        assert!(
            length(Channel::Push) * 2 < length(Channel::Email),
            "{milestone:?}"
        );
        assert!(
            length(Channel::Push) < 900,
            "{milestone:?}: {}",
            length(Channel::Push)
        );
    }
}

#[test]
fn everything_due_to_one_recipient_by_one_way_is_one_message() {
    let member = one_member();
    let (station, beetle) = (station(), species("japanese-beetle"));
    let members = [member.clone()];
    let notices = [
        passed(&member, &station, &beetle, Milestone::AdultFlight, 8.0),
        passed(&member, &station, &beetle, Milestone::EggLay, 8.0),
    ];
    let bundles = bundles(&members, &notices);
    assert_eq!(bundles.len(), 2, "one by email and one by push");
    let message = message("a test", &bundles[0]);
    assert!(message.title.ends_with("and 1 more"), "{}", message.title);
    assert_eq!(message.body.matches("CAUTIONS").count(), 1);
}

#[test]
fn recipients_hear_of_their_own_sites_and_chosen_species_only() {
    let mut picky = recipient("picky", &["lawn"]);
    picky.species = Some(vec!["european-chafer".into()]);
    let mut fond = recipient("fond", &["lawn"]);
    fond.species = Some(vec!["japanese-beetle".into()]);
    let members = [
        member(
            "one",
            vec![site("lawn", "Front lawn"), site("field", "Field")],
            vec![
                recipient("gardener", &["lawn"]),
                recipient("foreman", &["field"]),
                picky,
                fond,
            ],
        ),
        member(
            "two",
            vec![site("rink", "Rink")],
            vec![recipient("keeper", &["rink"])],
        ),
    ];
    let (station, beetle) = (station(), species("japanese-beetle"));
    let notices = [passed(
        &members[0],
        &station,
        &beetle,
        Milestone::Hatch,
        8.0,
    )];
    let told: Vec<String> = bundles(&members, &notices)
        .iter()
        .map(|bundle| format!("{} {}", bundle.recipient.id, bundle.channel.name()))
        .collect();
    let due = ["gardener email", "gardener push", "fond email", "fond push"];
    assert_eq!(told, due);
}

fn what_it_says(
    milestone: Milestone,
    gain: f64,
    change: impl FnOnce(&mut NoticeKind<'_>),
) -> String {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    let mut notice = passed(&member, &station, &beetle, milestone, gain);
    change(&mut notice.kind);
    let email = worded(&notice, Channel::Email).body;
    email.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn advice_that_has_been_overtaken_is_not_given() {
    let body = what_it_says(Milestone::EggLay, 8.0, |kind| {
        if let NoticeKind::Passed {
            crossing, meaning, ..
        } = kind
        {
            *meaning = Meaning::of(crossing, &Milestone::ALL, 60);
        }
    });
    assert!(body.contains("told late, 60 days after"), "{body}");
    assert!(!body.contains("spread it"), "{body}");
    let body = what_it_says(Milestone::Hatch, 8.0, |kind| {
        if let NoticeKind::Passed {
            crossing, meaning, ..
        } = kind
        {
            *meaning = Meaning::of(crossing, &[Milestone::Hatch], 30);
        }
    });
    assert!(body.contains("told late, 30 days after"), "{body}");
}

#[test]
fn a_season_with_missing_days_does_not_say_that_there_was_no_hatch() {
    let body = what_it_says(Milestone::WindowEnd, 2.5, |kind| {
        if let NoticeKind::Passed {
            crossing, meaning, ..
        } = kind
        {
            crossing.by = PassedBy::DateCapUnknown;
            *meaning = Meaning::of(crossing, &[Milestone::EggLay], 3);
        }
    });
    assert!(
        body.contains("it is not known how far the hatch came"),
        "{body}"
    );
    assert!(!body.contains("nothing needs to be spread"), "{body}");
}

#[test]
fn a_season_that_ends_by_date_after_hatch_does_not_call_the_larvae_large() {
    let body = what_it_says(Milestone::WindowEnd, 3.5, |_| {});
    assert!(body.contains("many larvae are still small"), "{body}");
    assert!(!body.contains("third instar"), "{body}");
}

#[test]
fn a_range_of_one_day_is_told_as_a_day() {
    let outlook = Outlook {
        early: Some(date("2026-09-20")),
        likely: Some(date("2026-09-20")),
        late: Some(date("2026-09-20")),
        passed: 0.0,
        within: [0.0; 3],
        never: 0.0,
        by_calendar: ByCalendar::default(),
    };
    let basis = Basis {
        data_through: date("2026-07-25"),
        forecast_days: 0,
        past_seasons: 10,
    };
    let body = what_it_says(Milestone::Hatch, 8.0, |kind| {
        if let NoticeKind::Passed { next, .. } = kind {
            *next = Some(Expectation {
                milestone: Milestone::WindowEnd,
                outlook: Ok((outlook, basis)),
            });
        }
    });
    assert!(body.contains("likely on 20 September."), "{body}");
}
