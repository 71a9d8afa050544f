//! What people read: every message carries what it must, whatever it is about.

use crate::support::species::{date, species, steady};
use hatchbell::config::option_file;
use hatchbell::domain::notation::Notation;
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::phenology::outlook::{Basis, ByCalendar, Outlook};
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::phenology::season_state::{Expectation, PassedBy, Record, season_state};
use hatchbell::domain::phenology::species::Species;
use hatchbell::domain::place::site::{Channel, Member, PageAccess, Recipient, Site, Station};
use hatchbell::domain::telling::meaning::Meaning;
use hatchbell::domain::telling::notice::{Bundle, Notice, NoticeKind, bundles};
use hatchbell::domain::telling::reception::{DigestRhythm, Reception, Topic, Topics};
use hatchbell::domain::treatment::choice::Choice;
use hatchbell::domain::treatment::need::{Need, Reason};
use hatchbell::domain::treatment::option::TreatmentOption;
use hatchbell::domain::treatment::watering::{Watering, WateringState};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::gaps::Estimates;
use hatchbell::domain::weather::observation_day::DayShift;
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
        page: PageAccess::default(),
        manages: Vec::new(),
        id: id.into(),
        name: format!("the {id}"),
        channels: vec![Channel::Email, Channel::Push],
        sites: sites.iter().map(|site| (*site).to_owned()).collect(),
        species: None,
        reception: Reception::default(),
        at_machine: false,
        notation: Notation::default(),
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
        borrowed: None,
        readings: &DailyReadings::from(&readings),
        past: &[],
        estimates: &Estimates::new(),
        forecast: None,
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
            next: None,
            meaning: Meaning::of(&crossing, &so_far, 3),
        },
        need: None,
    }
}

fn worded(notice: &Notice<'_>, channel: Channel) -> Message {
    let bundle = Bundle {
        recipient: &notice.member.recipients[0],
        channel,
        notices: vec![notice],
    };
    message("a test", "office@turf.example", &bundle)
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn one_member() -> Member {
    member(
        "one",
        vec![site("lawn", "Front lawn")],
        vec![recipient("gardener", &["lawn"])],
    )
}

fn option(id: &str) -> TreatmentOption {
    let options = option_file::BUILT_IN.iter();
    let mut options = options.map(|(file, text)| option_file::read(file, text).unwrap());
    options.find(|option| option.id == id).unwrap()
}

/// An application that lacks its water.
fn water<'a>(member: &'a Member, station: &'a Station, option: &'a TreatmentOption) -> Notice<'a> {
    Notice {
        member,
        site: &member.sites[0],
        station,
        need: None,
        kind: NoticeKind::Water {
            option,
            watering: Watering {
                needed_mm: 13.0,
                spread: date("2026-06-09"),
                deadline: date("2026-06-10"),
                rain_mm: 2.0,
                irrigation_mm: 3.0,
                rain_through: None,
                state: WateringState::Due,
            },
            wet: None,
        },
    }
}

#[test]
fn a_message_about_something_applied_carries_its_cautions_itself() {
    let (member, station) = (one_member(), station());
    let option = option("imidacloprid");
    let notice = water(&member, &station, &option);
    for channel in [
        Channel::Email,
        Channel::Console,
        Channel::File,
        Channel::WebPush,
    ] {
        let body = flat(&worded(&notice, channel).body);
        for caution in [
            "The label is the law",
            "local rules and a licensed applicator decide",
            "imidacloprid: restricted or forbidden in many places",
            "in bloom",
            "off water",
            "Children and pets",
            "very toxic to bees",
        ] {
            assert!(
                body.contains(caution),
                "{channel:?}: no {caution:?} in {body}"
            );
        }
    }
    let push = worded(&notice, Channel::Push).body;
    for caution in [
        "label is the law",
        "not on blooms",
        "off water",
        "people and pets",
        "See label",
    ] {
        assert!(push.contains(caution), "no {caution:?} in {push}");
    }
    assert!(push.chars().count() <= 240, "{push}");
}

#[test]
fn where_nothing_is_applied_there_are_no_cautions() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    for milestone in Milestone::ALL {
        let notice = passed(&member, &station, &beetle, milestone, 8.0);
        for channel in [Channel::Email, Channel::Push, Channel::WebPush] {
            let body = worded(&notice, channel).body;
            assert!(!body.contains("autions"), "{milestone:?}: {body}");
        }
    }
}

#[test]
fn the_decision_and_the_place_come_first_and_the_deadline_second() {
    let (member, station) = (one_member(), station());
    let option = option("imidacloprid");
    let message = worded(&water(&member, &station, &option), Channel::Email);
    assert_eq!(message.title, "Water in imidacloprid: Front lawn");
    let mut lines = message.body.lines();
    assert_eq!(lines.next(), Some("Water in imidacloprid: Front lawn"));
    assert_eq!(lines.next(), Some("13 mm by 10 June; 8 mm are lacking."));
}

#[test]
fn a_milestone_is_called_an_estimate_and_says_what_comes_next_and_whether_to_apply_something() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    let mut notice = passed(&member, &station, &beetle, Milestone::Hatch, 8.0);
    notice.need = Some(Need::Nothing(Reason::NothingKnown));
    let message = worded(&notice, Channel::Email);
    assert_eq!(
        message.title,
        "Japanese beetle: hatch has begun (13 April): Front lawn"
    );
    let body = flat(&message.body);
    for part in [
        "Nothing more this season.",
        "Nothing to apply here.",
        "The day is an estimate",
    ] {
        assert!(body.contains(part), "no {part:?} in {body}");
    }
}

#[test]
fn commands_are_named_to_those_who_have_the_machine_and_others_are_told_whom_to_answer() {
    let station = station();
    let option = option("imidacloprid");
    for at_machine in [true, false] {
        let mut member = one_member();
        member.recipients[0].at_machine = at_machine;
        let body = flat(&worded(&water(&member, &station, &option), Channel::Email).body);
        assert_eq!(
            body.contains("hatchbell log irrigation --site lawn"),
            at_machine,
            "{body}"
        );
        assert_eq!(
            body.contains("tell office@turf.example"),
            !at_machine,
            "{body}"
        );
    }
}

#[test]
fn a_title_has_at_most_60_characters_with_the_decision_first() {
    let station = station();
    let option = option("bacillus-thuringiensis-galleriae");
    let mut member = one_member();
    member.sites[0].name = "The very long name of a lawn behind the old brick house".into();
    let title = worded(&water(&member, &station, &option), Channel::Email).title;
    assert!(title.chars().count() <= 60, "{title}");
    assert!(
        title.starts_with("Water in Bacillus thuringiensis"),
        "{title}"
    );
}

#[test]
fn a_season_without_hatch_ends_with_nothing_to_spread() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    let notice = passed(&member, &station, &beetle, Milestone::WindowEnd, 2.5);
    let body = flat(&worded(&notice, Channel::Email).body);
    assert!(body.contains("nothing needs to be applied"), "{body}");
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
fn push_messages_have_at_most_240_characters() {
    let (member, station, beetle) = (one_member(), station(), species("japanese-beetle"));
    for milestone in Milestone::ALL {
        let notice = passed(&member, &station, &beetle, milestone, 8.0);
        let body = worded(&notice, Channel::Push).body;
        assert!(body.chars().count() <= 240, "{milestone:?}: {body}");
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
    let message = message("a test", "the office", &bundles[0]);
    assert!(message.title.ends_with(" (+1)"), "{}", message.title);
    assert_eq!(message.body.matches("For the gardener").count(), 1);
}

#[test]
fn what_is_the_same_at_several_sites_is_told_once_with_all_of_them() {
    let sites = ["North", "East", "South"].map(|name| site(&name.to_lowercase(), name));
    let ids = ["north", "east", "south"];
    let member = member("one", sites.into(), vec![recipient("gardener", &ids)]);
    let (station, beetle) = (station(), species("japanese-beetle"));
    let notices: Vec<Notice<'_>> = member
        .sites
        .iter()
        .map(|site| Notice {
            site,
            ..passed(&member, &station, &beetle, Milestone::Hatch, 8.0)
        })
        .collect();
    let members = [member.clone()];
    let bundles = bundles(&members, &notices);
    let message = message("a test", "the office", &bundles[0]);
    assert_eq!(
        message.title,
        "Japanese beetle: hatch has begun (13 April): 3 sites"
    );
    assert!(
        message.body.contains("Sites: North, East, South."),
        "{}",
        message.body
    );
    assert_eq!(message.body.matches("hatch has begun").count(), 1);
}

#[test]
fn a_recipient_hears_of_the_topics_they_chose_and_milestones_wait_for_a_digest() {
    let heard = |change: &dyn Fn(&mut Recipient)| {
        let mut member = one_member();
        change(&mut member.recipients[0]);
        let (station, beetle) = (station(), species("japanese-beetle"));
        let option = option("imidacloprid");
        let notices = [
            passed(&member, &station, &beetle, Milestone::Hatch, 8.0),
            water(&member, &station, &option),
        ];
        let members = [member.clone()];
        let bundles = bundles(&members, &notices);
        bundles.first().map_or(0, |bundle| bundle.notices.len())
    };
    assert_eq!(heard(&|_| {}), 2);
    let only = |topic| move |one: &mut Recipient| one.reception.topics = Topics::only(&[topic]);
    assert_eq!(heard(&only(Topic::Milestones)), 1);
    assert_eq!(heard(&only(Topic::Work)), 1);
    assert_eq!(heard(&only(Topic::Data)), 0);
    assert_eq!(
        heard(&|one| one.reception.digest = Some(DigestRhythm::USUAL)),
        1
    );
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
    assert!(body.contains("Told late, 60 days after"), "{body}");
    assert!(!body.contains("First larvae usually hatch"), "{body}");
    let body = what_it_says(Milestone::Hatch, 8.0, |kind| {
        if let NoticeKind::Passed {
            crossing, meaning, ..
        } = kind
        {
            *meaning = Meaning::of(crossing, &[Milestone::Hatch], 30);
        }
    });
    assert!(body.contains("Told late, 30 days after"), "{body}");
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
        body.contains("how far the hatch came is not known"),
        "{body}"
    );
    assert!(!body.contains("nothing needs to be applied"), "{body}");
}

#[test]
fn a_season_that_ends_by_date_after_hatch_does_not_call_the_larvae_large() {
    let body = what_it_says(Milestone::WindowEnd, 3.5, |_| {});
    assert!(body.contains("Many larvae are still small"), "{body}");
    assert!(!body.contains("too large"), "{body}");
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
        forecast_jumps_on: None,
        past_seasons: 10,
        borrowed: None,
    };
    let body = what_it_says(Milestone::Hatch, 8.0, |kind| {
        if let NoticeKind::Passed { next, .. } = kind {
            *next = Some(Expectation {
                milestone: Milestone::WindowEnd,
                outlook: Ok((outlook, basis)),
            });
        }
    });
    assert!(body.contains("on 20 September."), "{body}");
}
