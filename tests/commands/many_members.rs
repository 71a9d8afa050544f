//! A configuration for many: included files, defaults, files of sites, and where mistakes in them are.

use crate::support::command::{Workshop, both};
use std::path::Path;

const MAIN: &str = r#"include = ["members/*.toml"]

[service]
name = "A co-op"
contact = "mailto:test@three-brooks.example"
schedule = "0 0 6 * * *"
database = "hatchbell.db"

[site_defaults]
turf = "ryegrass"
latitude = 27.4
station = "only"
species = ["japanese-beetle"]

[[station]]
id = "only"
name = "The only station"
dialect = "ncei-export"
unit = "celsius"
file = "days.csv"
"#;

fn member(id: &str, sites: &str) -> String {
    format!(
        "[[member]]\nid = \"{id}\"\nname = \"Member {id}\"\n{sites}\n\
         recipient = [{{ id = \"{id}-keeper\", name = \"the keeper\", console = true }}]\n"
    )
}

/// Files in a folder of their own.
fn folder(files: &[(&str, &str)]) -> Workshop {
    let workshop = Workshop::new();
    std::fs::create_dir(workshop.path("members")).unwrap();
    workshop.write("hatchbell.toml", MAIN);
    for (name, text) in files {
        workshop.write(name, text);
    }
    workshop
}

fn check(files: &[(&str, &str)]) -> (Option<i32>, String) {
    let output = folder(files).run(&["check", "--config", "hatchbell.toml"]);
    (output.status.code(), both(&output))
}

fn is_refused(files: &[(&str, &str)], due: &[&str]) {
    let (code, text) = check(files);
    assert_eq!(code, Some(78), "{text}");
    for due in due {
        assert!(text.contains(due), "{due:?} is not in\n{text}");
    }
    let errors = text.matches(": error: ").count();
    assert_eq!(errors, due.len(), "{text}");
}

#[test]
fn included_files_bring_members_and_stations_and_paths_start_from_their_own_folder() {
    let station = "[[station]]\nid = \"second\"\nname = \"The second\"\ndialect = \"ncei-export\"\n\
                   unit = \"celsius\"\nfile = \"second.csv\"\n";
    let workshop = folder(&[
        (
            "members/a.toml",
            &(member("a", "sites_file = \"a.csv\"") + station),
        ),
        (
            "members/a.csv",
            "id,name,station\na-1,One,second\na-2,Two,\n",
        ),
        (
            "members/b.toml",
            &member("b", "site = [{ id = \"b-1\", name = \"B\" }]"),
        ),
    ]);
    let text = workshop.succeeds(&["check", "--config", "hatchbell.toml"]);
    assert!(
        text.contains("2 stations, 2 members, 3 sites, 2 recipients"),
        "{text}"
    );
    workshop.write(
        "members/second.csv",
        "DATE,TMAX,TMIN\n2026-01-01,20.0,10.0\n",
    );
    let output = workshop.run(&["run", "--once", "--config", "hatchbell.toml"]);
    let text = both(&output);
    assert!(text.contains("station=\"second\" added=1"), "{text}");
}

#[test]
fn problems_in_an_included_file_stand_at_their_place_in_it() {
    is_refused(
        &[(
            "members/a.toml",
            &member("a", "site = [{ id = \"a-1\", nam = \"A\" }]"),
        )],
        &[
            "members/a.toml:4:9: error: [[member.site]] needs name",
            "members/a.toml:4:23: error: [[member.site]] does not know the key nam; did you mean name?",
        ],
    );
}

#[test]
fn tables_of_which_there_is_one_stand_in_the_main_file_alone() {
    let more = member("a", "site = [{ id = \"a-1\", name = \"A\" }]") + "[service]\nname = \"B\"\n";
    is_refused(
        &[("members/a.toml", &more)],
        &[
            "members/a.toml:6:1: error: [service] is there once, in hatchbell.toml; an included file holds members and stations",
        ],
    );
}

#[test]
fn an_include_that_means_nothing_is_refused_with_what_is_wrong() {
    let good = member("a", "site = [{ id = \"a-1\", name = \"A\" }]");
    let with = |include: &str| MAIN.replace("\"members/*.toml\"", include);
    is_refused(
        &[("hatchbell.toml", &with("\"nowhere/*.toml\""))],
        &[
            "hatchbell.toml:1:12: error: include names \"nowhere/*.toml\", and there is no such file in ",
        ],
    );
    is_refused(
        &[
            ("members/a.toml", &good),
            (
                "hatchbell.toml",
                &with("\"members/a.toml\", \"members/*.toml\""),
            ),
        ],
        &[
            "hatchbell.toml:1:30: error: members/a.toml is included twice, here and by hatchbell.toml; include it once",
        ],
    );
    is_refused(
        &[
            ("members/a.toml", &good),
            ("hatchbell.toml", &with("\"members/a.toml\", \"*.toml\"")),
        ],
        &[
            "hatchbell.toml:1:30: error: include = \"*.toml\" names hatchbell.toml, which is this file itself: a circle",
        ],
    );
    let circle = format!("include = [\"../hatchbell.toml\"]\n{good}");
    is_refused(
        &[("members/a.toml", &circle)],
        &[
            "members/a.toml:1:12: error: include = \"../hatchbell.toml\" names members/../hatchbell.toml, which is a file that includes this one: a circle",
        ],
    );
}

#[test]
fn a_site_goes_before_its_member_and_that_before_all() {
    let defaults =
        "site_defaults = { latitude = -27.4, stations = [\"only\"], order = \"fallback\" }";
    let sites = "site = [{ id = \"a-1\", name = \"A\" }, { id = \"a-2\", name = \"B\", latitude = 12.0, station = \"only\" }]";
    let workshop = folder(&[(
        "members/a.toml",
        &member("a", &format!("{defaults}\n{sites}")),
    )]);
    let text = workshop.succeeds(&["check", "--config", "hatchbell.toml"]);
    assert!(text.contains("2 sites"), "{text}");
    let config = hatchbell::config::load(&workshop.path("hatchbell.toml"))
        .unwrap()
        .config;
    let sites: Vec<_> = config.sites().map(|(_, site)| site).collect();
    assert_eq!((sites[0].latitude, sites[1].latitude), (-27.4, 12.0));
    assert!(sites[0].blend.is_some() && sites[1].blend.is_none());
    assert_eq!(
        (sites[0].turf.as_str(), sites[1].species.len()),
        ("ryegrass", 1)
    );
}

#[test]
fn a_mistake_in_defaults_is_named_once_where_it_stands() {
    let sites = "sites_file = \"a.csv\"";
    let good = member("a", sites);
    let csv = "id,name\na-1,A\na-2,B\n";
    is_refused(
        &[
            ("members/a.toml", &good),
            ("members/a.csv", csv),
            (
                "hatchbell.toml",
                &MAIN.replace("\"japanese-beetle\"", "\"japanese-beatle\""),
            ),
        ],
        &["hatchbell.toml:13:12: error: there is no species \"japanese-beatle\""],
    );
    let own = member(
        "a",
        &format!("{sites}\nsite_defaults = {{ latitud = 1.0, id = \"x\" }}"),
    );
    is_refused(
        &[("members/a.toml", &own), ("members/a.csv", csv)],
        &[
            "members/a.toml:5:19: error: [member.site_defaults] does not know the key latitud; did you mean latitude?",
            "members/a.toml:5:39: error: id is each site's own; leave it out here",
        ],
    );
}

#[test]
fn problems_in_a_file_of_sites_stand_at_line_and_column_and_name_the_column() {
    let csv = "id,name,latitude,station,area\r\n\
               a-1,\"One, by the \"\"lake\"\"\",127.5,only,\r\n\
               \r\n\
               a-2,Two,12.5,onyl,12 acorns\r\n\
               A 3,,,,\r\n";
    is_refused(
        &[
            ("members/a.toml", &member("a", "sites_file = \"a.csv\"")),
            ("members/a.csv", csv),
        ],
        &[
            "members/a.csv:2:28: error: latitude must be a number from -66 to 66",
            "members/a.csv:4:14: error: station: there is no [[station]] \"onyl\"; did you mean \"only\"?",
            "members/a.csv:4:19: error: area: ",
            "members/a.csv:5:1: error: id = \"A 3\" may only hold a-z, 0-9 and hyphens",
            "members/a.csv:5:8: error: this row needs name",
        ],
    );
}

#[test]
fn what_spreadsheets_make_of_csv_is_read() {
    let csv = "\u{feff}ID;Name;Latitude;Species\na-1;One;27.5;japanese-beetle, northern\n";
    let csv = csv.replace(", northern", " northern-masked-chafer");
    let workshop = folder(&[
        ("members/a.toml", &member("a", "sites_file = \"a.csv\"")),
        ("members/a.csv", &csv),
    ]);
    let config = hatchbell::config::load(&workshop.path("hatchbell.toml"))
        .unwrap()
        .config;
    let (_, site) = config.sites().next().unwrap();
    assert_eq!((site.id.as_str(), site.latitude), ("a-1", 27.5));
    assert_eq!(site.species, ["japanese-beetle", "northern-masked-chafer"]);
}

#[test]
fn a_file_of_sites_that_cannot_be_understood_is_refused_by_name() {
    let toml = member("a", "sites_file = \"a.csv\"");
    let with = |csv: &str, due: &[&str]| {
        is_refused(&[("members/a.toml", &toml), ("members/a.csv", csv)], due);
    };
    with("", &["members/a.csv:1:1: error: the file is empty"]);
    with(
        "id,name\n",
        &["members/a.csv:1:1: error: there is no site below the header"],
    );
    with(
        "id,name\na-1\n",
        &["members/a.csv:2:1: error: this row has 1 cells and the header has 2"],
    );
    with(
        "id,nmae\na-1,A\n",
        &["members/a.csv:1:4: error: there is no column \"nmae\"; did you mean name?"],
    );
    with(
        "id,name,id\na-1,A,b\n",
        &["members/a.csv:1:9: error: the column id is there twice"],
    );
    is_refused(
        &[("members/a.toml", &toml)],
        &["members/a.toml:4:14: error: sites_file members/a.csv cannot be read"],
    );
    is_refused(
        &[("members/a.toml", &member("a", "sites_file = \"/dev/zero\""))],
        &["sites_file /dev/zero cannot be read (it is no file)"],
    );
}

#[test]
fn ids_of_two_members_clash_and_the_later_one_is_told_whose_it_is() {
    is_refused(
        &[
            ("members/a.toml", &member("a", "sites_file = \"a.csv\"")),
            ("members/a.csv", "id,name\nlawn,A\nlawn,B\n"),
            (
                "members/b.toml",
                &member("b", "site = [{ id = \"lawn\", name = \"B\" }]"),
            ),
        ],
        &[
            "members/a.csv:3:1: error: id \"lawn\" is there twice; ids are unique",
            "members/b.toml:4:16: error: [[member.site]] \"lawn\" is there twice; ids are unique: it is of member \"a\"",
        ],
    );
}

#[test]
fn forty_fields_take_at_most_sixty_lines() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let path = root.join("forty-fields.toml");
    let lines = ["forty-fields.toml", "forty-fields.csv"].map(|name| {
        std::fs::read_to_string(root.join(name))
            .unwrap()
            .lines()
            .count()
    });
    assert!(lines.iter().sum::<usize>() <= 60, "{lines:?}");
    let text = Workshop::new().succeeds(&["check", "--config", path.to_str().unwrap()]);
    assert!(text.contains("1 member, 40 sites, 1 recipient"), "{text}");
}

#[test]
fn the_environment_names_the_configuration_where_the_command_does_not() {
    let workshop = folder(&[(
        "members/a.toml",
        &member("a", "site = [{ id = \"a-1\", name = \"A\" }]"),
    )]);
    let run = |arguments: &[&str], named: &str| {
        let mut command = workshop.command(arguments);
        both(&command.env("HATCHBELL_CONFIG", named).output().unwrap())
    };
    let text = run(&["check"], "hatchbell.toml");
    assert!(text.contains("hatchbell.toml is fine"), "{text}");
    let text = run(&["check", "--config", "hatchbell.toml"], "nowhere.toml");
    assert!(text.contains("hatchbell.toml is fine"), "{text}");
    let text = run(&["check"], "nowhere.toml");
    assert!(text.contains("nowhere.toml:1:1: error"), "{text}");
}

#[test]
fn a_members_own_file_gives_nobody_a_say_over_others() {
    let site = |id: &str| format!("site = [{{ id = \"{id}-1\", name = \"{id}\" }}]");
    let digest =
        "digest = { every = \"week\", day = \"monday\", at = \"07:00\", all_members = true }";
    let greedy = member("a", &site("a")).replace("console", "manages = [\"b\"], console");
    let curious = member("b", &site("b")).replace("console", &format!("{digest}, console"));
    let files = [
        ("members/a.toml", greedy.as_str()),
        ("members/b.toml", curious.as_str()),
    ];
    is_refused(
        &files,
        &[
            "members/a.toml:5:65: error: manages gives a say over other members, so only hatchbell.toml may",
            "members/b.toml:5:63: error: all_members shows the sites of other members, so only hatchbell.toml may",
        ],
    );
    // A file that cannot be read leaves the others' rights as they are.
    let (_, said) = check(&[files[0], ("members/b.toml", "[[member\n")]);
    assert!(said.contains("manages gives a say"), "{said}");
    let workshop = folder(&[("members/b.toml", &member("b", &site("b")))]);
    let main = format!("{MAIN}\n{greedy}\n{}", curious.replace("\"b", "\"c"));
    workshop.write("hatchbell.toml", &main);
    workshop.succeeds(&["check", "--config", "hatchbell.toml"]);
}

#[test]
fn an_office_of_the_members_has_people_and_no_site() {
    let office = member("office", "");
    let a = member("a", "site = [{ id = \"a-1\", name = \"a\" }]");
    let workshop = folder(&[("members/a.toml", &a)]);
    let main = MAIN.replace("database =", "operator = \"office-keeper\"\ndatabase =");
    workshop.write("hatchbell.toml", &format!("{main}\n{office}"));
    workshop.write("days.csv", "DATE,TMAX,TMIN\n2026-02-19,25.0,15.0\n");
    for command in ["check", "status", "doctor"] {
        let said = both(&workshop.run(&[command, "--config", "hatchbell.toml"]));
        assert!(!said.contains("error"), "{command}: {said}");
        assert!(!said.contains("panicked"), "{command}: {said}");
    }
    let alone = "[[member]]\nid = \"b\"\nname = \"Nobody\"\n";
    is_refused(
        &[("members/b.toml", alone)],
        &[
            "members/b.toml:1:1: error: a [[member]] needs at least one [[member.site]], or a sites_file; or a",
        ],
    );
    is_refused(
        &[("members/b.toml", &office)],
        &["hatchbell.toml:1:1: error: no [[member]] has a [[member.site]] or a sites_file"],
    );
}

#[test]
fn a_members_own_file_does_not_say_who_the_operator_is() {
    let main = MAIN.replace("database =", "operator = \"a-keeper\"\ndatabase =");
    let a = member("a", "site = [{ id = \"a-1\", name = \"a\" }]");
    let workshop = folder(&[("members/a.toml", &a)]);
    workshop.write("hatchbell.toml", &main);
    let said = both(&workshop.run(&["check", "--config", "hatchbell.toml"]));
    let why = "hatchbell.toml:7:12: error: operator names \"a-keeper\" of members/a.toml";
    assert!(said.contains(why), "{said}");
    let b = member("b", "site = [{ id = \"b-1\", name = \"b\" }]");
    let workshop = folder(&[("members/b.toml", &b)]);
    workshop.write("hatchbell.toml", &format!("{main}\n{a}"));
    workshop.succeeds(&["check", "--config", "hatchbell.toml"]);
}
