//! `hatchbell status`: what is due at every site, worst first, however wide the terminal is.

use crate::support::command::{Workshop, both};
use std::sync::OnceLock;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// A workshop with the demonstration's configuration and all its days.
fn demo() -> &'static (Workshop, String) {
    static DEMO: OnceLock<(Workshop, String)> = OnceLock::new();
    DEMO.get_or_init(|| {
        let workshop = Workshop::new();
        let text = std::fs::read_to_string(format!("{ROOT}/config/demo.toml")).unwrap();
        let database = workshop.path("demo.db").display().to_string();
        let text = text
            .replace("../target/demo/hatchbell.db", &database)
            .replace("../fixtures", &format!("{ROOT}/fixtures"));
        let config = workshop.write("demo.toml", &text);
        for file in [
            "harbour-meadow.csv",
            "old-orchard.csv",
            "high-pasture.csv.gz",
        ] {
            let (station, _) = file.split_once('.').unwrap();
            let days = format!("{ROOT}/fixtures/demo/{file}");
            workshop.succeeds(&["import", "--config", &config, "--station", station, &days]);
        }
        (workshop, config)
    })
}

/// What `status` of the demonstration prints with further options, and how it ends.
fn shown(columns: Option<&str>, more: &[&str]) -> (String, Option<i32>) {
    let (workshop, config) = demo();
    printed(workshop, config, columns, more)
}

fn printed(
    workshop: &Workshop,
    config: &str,
    columns: Option<&str>,
    more: &[&str],
) -> (String, Option<i32>) {
    let mut command = workshop.command(&["status", "--config", config]);
    command.args(more);
    if let Some(columns) = columns {
        command.env("COLUMNS", columns);
    }
    let output = command.output().expect("it starts");
    (both(&output), output.status.code())
}

fn width(text: &str) -> usize {
    text.lines().map(|line| line.chars().count()).max().unwrap()
}

/// So many fields of members with five each, on the demonstration's first station.
fn fields(count: usize) -> (Workshop, String) {
    let workshop = Workshop::new();
    let file = format!("{ROOT}/fixtures/demo/harbour-meadow.csv");
    let mut text = format!(
        "[service]\nname = \"Fields\"\ncontact = \"mailto:a@b.example\"\n\
         schedule = \"0 0 6 * * *\"\ndatabase = \"fields.db\"\n\n[[station]]\n\
         id = \"harbour-meadow\"\nname = \"Harbour Meadow\"\ndialect = \"ghcn-access\"\n\
         file = \"{file}\"\ncode = \"ZZI00000001\"\n"
    );
    for number in 0..count {
        if number % 5 == 0 {
            let member = number / 5;
            text += &format!(
                "\n[[member]]\nid = \"club-{member}\"\nname = \"The club of district {member}\"\n\
                 [[member.recipient]]\nid = \"keeper-{member}\"\nname = \"the keeper\"\nconsole = true\n"
            );
        }
        let every_year = if number % 2 == 0 {
            "preventives = \"every-year\"\n"
        } else {
            ""
        };
        text += &format!(
            "[[member.site]]\nid = \"field-{number}\"\nname = \"The long field {number}, by the river\"\n\
             turf = \"ryegrass\"\nlatitude = 41.8\nstation = \"harbour-meadow\"\n\
             species = [\"japanese-beetle\", \"european-chafer\"]\n{every_year}"
        );
    }
    let config = workshop.write("fields.toml", &text);
    let import = [
        "import",
        "--config",
        &config,
        "--station",
        "harbour-meadow",
        &file,
    ];
    workshop.succeeds(&import);
    (workshop, config)
}

#[test]
fn no_line_is_wider_than_the_terminal_and_no_word_is_broken() {
    for date in [
        "2026-01-10",
        "2026-05-05",
        "2026-07-02",
        "2026-08-30",
        "2026-11-20",
    ] {
        for more in [&[][..], &["--site", "northgate-pitches"], &["--problems"]] {
            let more = [&["--date", date], more].concat();
            let (wide, _) = shown(Some("400"), &more);
            let words: Vec<&str> = wide.split_whitespace().collect();
            for columns in [60, 72, 80, 132] {
                let (text, _) = shown(Some(&columns.to_string()), &more);
                assert!(width(&text) <= columns, "{columns}:\n{text}");
                let broken = text.split_whitespace().find(|word| !words.contains(word));
                assert_eq!(broken, None, "{columns}:\n{text}\n{wide}");
            }
        }
    }
}

#[test]
fn what_is_piped_has_eighty_columns_unless_columns_says_otherwise_and_never_bold() {
    let (piped, _) = shown(None, &["--date", "2026-07-02"]);
    assert_eq!(piped, shown(Some("80"), &["--date", "2026-07-02"]).0);
    assert!(!piped.contains('\u{1b}'));
}

#[test]
fn forty_sites_take_at_most_sixty_lines_of_eighty_columns() {
    let (workshop, config) = fields(40);
    for date in ["2026-01-10", "2026-05-05", "2026-06-25", "2026-08-30"] {
        let (text, _) = printed(&workshop, &config, Some("80"), &["--date", date]);
        assert!(text.lines().count() <= 60, "{date}:\n{text}");
        assert!(width(&text) <= 80, "{date}:\n{text}");
        assert_eq!(text.matches("The long field").count(), 40);
    }
}

#[test]
fn a_thousand_sites_are_summed_up_by_member_unless_one_is_asked_for() {
    let (workshop, config) = fields(1_000);
    let at = |more: &[&str]| {
        let more = [&["--date", "2026-05-05"], more].concat();
        printed(&workshop, &config, Some("80"), &more).0
    };
    let all = at(&[]);
    assert!(all.lines().count() <= 210 && width(&all) <= 80, "{all}");
    assert!(all.contains("The club of district 7 "), "{all}");
    assert!(!all.contains("The long field"), "{all}");
    let club = at(&["--member", "club-7"]);
    assert_eq!(club.matches("The long field").count(), 5, "{club}");
    let unknown = at(&["--site", "field-10000"]);
    assert!(unknown.contains("did you mean \"field-100\"?"), "{unknown}");
    let unlike = at(&["--site", "moon"]);
    assert!(
        unlike.contains("and 990 more") && unlike.len() < 300,
        "{unlike}"
    );
}

#[test]
fn the_site_that_presses_most_comes_first_with_what_to_do_and_by_when() {
    let (text, _) = shown(None, &["--date", "2026-05-05"]);
    let first = text.lines().nth(2).unwrap();
    assert!(first.starts_with("Northgate, pitches 1 to 6"), "{text}");
    assert!(first.contains("apply chlorantraniliprole by "), "{text}");
    let lawn = text
        .lines()
        .find(|line| line.starts_with("Mill Lane"))
        .unwrap();
    assert!(lawn.contains("nothing to apply; flight about 2"), "{text}");
    let (august, _) = shown(None, &["--date", "2026-08-30"]);
    assert!(august.contains("count grubs by 14 Oct"), "{august}");
}

#[test]
fn json_says_what_is_due_by_when_and_since_when() {
    let (text, _) = shown(None, &["--date", "2026-05-05", "--json"]);
    let status: serde_json::Value = serde_json::from_str(&text).unwrap();
    let sites = status["sites"].as_array().unwrap();
    let of = |id: &str| &sites.iter().find(|site| site["site"] == id).unwrap()["due"];
    let due = of("northgate-pitches");
    assert_eq!(due["what"], "apply");
    assert_eq!(due["option"], "chlorantraniliprole");
    assert!(due["since"].as_str().unwrap() < "2026-05-05");
    assert!(due["by"].as_str().unwrap() > "2026-05-05");
    let idle = of("mill-lane-lawn");
    assert_eq!(idle["what"], "nothing");
    assert!(idle["by"].is_null() && idle["option"].is_null());
    // What the table no longer shows.
    for field in [
        "degree_days",
        "estimated_days",
        "held",
        "next_milestone",
        "data_through",
    ] {
        assert!(sites[0].get(field).is_some(), "{field}");
    }
    assert_eq!(status["problems"], serde_json::json!([]));
}

#[test]
fn one_site_is_shown_with_each_of_its_species_and_one_species_with_its_sites() {
    let (site, _) = shown(
        None,
        &["--date", "2026-07-02", "--site", "northgate-pitches"],
    );
    for words in [
        "Southern masked chafer, season 2026",
        "Japanese beetle, season 2026",
        "°C·d",
    ] {
        assert!(site.contains(words), "{site}");
    }
    let chafer = ["--date", "2026-07-02", "--species", "european-chafer"];
    let (species, _) = shown(None, &chafer);
    assert_eq!(species.lines().count(), 3, "{species}");
    let (none, code) = shown(None, &["--species", "european-chaffer"]);
    assert!(none.contains("did you mean \"european-chafer\"?"), "{none}");
    assert_eq!(code, Some(1));
    let (member, _) = shown(None, &["--member", "milllane"]);
    assert!(member.contains("did you mean \"mill-lane\"?"), "{member}");
}

#[test]
fn the_status_in_the_readme_is_the_real_one() {
    let readme = include_str!("../../README.md");
    let (text, _) = shown(Some("80"), &["--date", "2026-07-02"]);
    assert!(
        readme.contains(&format!("```\n{text}```\n")),
        "the README shows a status that is not printed any more:\n{text}"
    );
}
