use super::*;
use crate::domain::phenology::outlook::{ByCalendar, Outlook};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn ahead(early: Option<&str>, late: Option<&str>) -> MilestoneOutlook {
    MilestoneOutlook {
        milestone: "hatch",
        title: "hatch",
        threshold: GradedThreshold {
            value: 820.0,
            low: Some(700.0),
            high: Some(900.0),
            grade: "estimate",
        },
        dates: MilestoneDates::Ahead(Outlook {
            early: early.map(day),
            likely: Some(day("2026-07-10")),
            late: late.map(day),
            passed: 0.0,
            within: [0.05, 0.5, 1.0],
            never: 0.0,
            by_calendar: ByCalendar::default(),
        }),
    }
}

fn outlook(milestones: Vec<MilestoneOutlook>) -> SpeciesOutlook {
    SpeciesOutlook {
        species: "beetle".to_owned(),
        name: "Beetle".to_owned(),
        season: 2026,
        season_name: "2026".to_owned(),
        season_end: day("2026-12-31"),
        degree_days: 500.0,
        station: "meadow".to_owned(),
        station_name: "Meadow".to_owned(),
        data_through: None,
        estimated_days: 0,
        anchor: None,
        milestones,
        basis: None,
        no_dates: None,
    }
}

#[test]
fn a_milestone_ahead_shows_three_dates_and_four_chances() {
    let words = ahead(Some("2026-07-01"), None).dates_in_words(&Notation::default());
    let shown = [
        "1 Jul",
        "10 Jul",
        "not reached",
        "0 %",
        "5 %",
        "50 %",
        "100 %",
    ];
    assert_eq!(words, shown);
}

#[test]
fn a_mark_stands_behind_a_date_that_the_calendar_sets() {
    let passed = |by_calendar| MilestoneOutlook {
        dates: MilestoneDates::Passed {
            on: day("2026-10-01"),
            by_calendar,
        },
        ..ahead(None, None)
    };
    assert_eq!(
        passed(true).dates_in_words(&Notation::default()),
        ["passed", "1 Oct†"]
    );
    assert_eq!(
        passed(false).dates_in_words(&Notation::default()),
        ["passed", "1 Oct"]
    );
    assert!(outlook(vec![passed(false), passed(true)]).has_date_by_calendar());

    let by_sum = ahead(Some("2026-07-01"), Some("2026-07-20"));
    let mut capped = by_sum.clone();
    if let MilestoneDates::Ahead(outlook) = &mut capped.dates {
        outlook.by_calendar.late = true;
    }
    assert_eq!(
        capped.dates_in_words(&Notation::default())[..3],
        ["1 Jul", "10 Jul", "20 Jul†"]
    );
    assert!(outlook(vec![by_sum.clone(), capped]).has_date_by_calendar());
    assert!(!outlook(vec![by_sum, passed(false)]).has_date_by_calendar());
}

#[test]
fn a_star_marks_an_estimated_threshold() {
    let estimated = ahead(None, None).threshold;
    assert_eq!(estimated.in_words(&Notation::default()), "820* (700-900)");
    let published = GradedThreshold {
        grade: "published",
        low: None,
        high: None,
        ..estimated
    };
    assert_eq!(published.in_words(&Notation::default()), "820");
}

#[test]
fn a_range_without_an_end_is_drawn_to_the_end_of_the_season() {
    let open = outlook(vec![ahead(Some("2026-07-01"), None), ahead(None, None)]);
    let drawn = DateRange {
        title: "hatch".to_owned(),
        from: day("2026-07-01"),
        middle: Some(day("2026-07-10")),
        to: day("2026-12-31"),
    };
    assert_eq!(open.ranges(), [drawn]);
}

#[test]
fn few_past_seasons_are_told_of() {
    let rests_on = |past_seasons, forecast_days| {
        let basis = Basis {
            data_through: day("2026-06-17"),
            forecast_days,
            forecast_jumps_on: None,
            past_seasons,
            borrowed: None,
        };
        OutlookBasis::of(&basis, None).in_words()
    };
    assert_eq!(
        rests_on(FULL_SEASONS, 1),
        [
            "Made of days observed through 2026-06-17, 1 day of a model's forecast for what such days have been worth, 10 past seasons of the station, and each threshold's own range."
        ]
    );
    let few = rests_on(FULL_SEASONS - 1, 0);
    assert_eq!(
        few[1],
        "Under 10 past seasons the ranges are widened: import more history."
    );
}

#[test]
fn a_forecast_that_jumps_is_told_of() {
    let basis = Basis {
        data_through: day("2026-06-17"),
        forecast_days: 0,
        forecast_jumps_on: Some(day("2026-06-18")),
        past_seasons: FULL_SEASONS,
        borrowed: None,
    };
    assert_eq!(
        OutlookBasis::of(&basis, None).in_words()[1],
        "The forecast jumps by 15 °C or more to 2026-06-18: it is not used from that day on."
    );
}

#[test]
fn a_forecast_that_no_date_rests_on_has_no_instant() {
    let issued = Some("2026-06-18T05:20:00Z".parse().unwrap());
    let of = |forecast_days| {
        let basis = Basis {
            data_through: day("2026-06-17"),
            forecast_days,
            forecast_jumps_on: None,
            past_seasons: FULL_SEASONS,
            borrowed: None,
        };
        OutlookBasis::of(&basis, issued).forecast_issued
    };
    assert_eq!(of(0), None);
    assert_eq!(of(7), issued);
}

#[test]
fn scripts_get_the_state_of_a_milestone_beside_its_dates_and_threshold() {
    let mut milestone = ahead(Some("2026-07-01"), None);
    if let MilestoneDates::Ahead(outlook) = &mut milestone.dates {
        outlook.never = 0.123_456;
        outlook.by_calendar.late = true;
    }
    let due = serde_json::json!({
        "milestone": "hatch",
        "threshold": { "value": 820.0, "low": 700.0, "high": 900.0, "grade": "estimate" },
        "state": "ahead",
        "early": "2026-07-01", "likely": "2026-07-10", "late": null,
        "by_calendar": { "early": false, "likely": false, "late": true },
        "by_now": 0.0,
        "within_days": { "7": 0.05, "14": 0.5, "30": 1.0 },
        "never": 0.123,
    });
    assert_eq!(serde_json::to_value(&milestone).unwrap(), due);

    milestone.dates = MilestoneDates::Passed {
        on: day("2026-07-06"),
        by_calendar: false,
    };
    let passed = serde_json::to_value(&milestone).unwrap();
    assert_eq!(
        (&passed["state"], &passed["on"]),
        (&"passed".into(), &"2026-07-06".into())
    );
    milestone.dates = MilestoneDates::NotThisSeason;
    let not = serde_json::to_value(&milestone).unwrap();
    assert_eq!(not["state"], "not-this-season");
}

#[test]
fn why_there_are_no_dates_is_told_as_a_sentence() {
    let mut outlook = outlook(vec![MilestoneOutlook {
        dates: MilestoneDates::AheadWithoutDates,
        ..ahead(None, None)
    }]);
    outlook.no_dates = Some("a hole".to_owned());
    assert_eq!(outlook.basis_in_words(), ["No dates: a hole."]);
    outlook.milestones.clear();
    outlook.no_dates = Some("the season is over".to_owned());
    assert_eq!(outlook.basis_in_words(), ["The season is over."]);
}
