//! What cannot be is not logged: each refusal says what, where and what to do, and writes nothing.

use crate::support::journal::Site;

/// The lawn with an application and a count of each kind in its journal.
fn lawn() -> Site {
    let lawn = Site::of("");
    lawn.logs("application --option chlorantraniliprole --area 450m2 --date 2026-06-08");
    lawn.logs("count --species japanese-beetle --larvae 12 --samples 10 --area 0.25ft2");
    lawn.logs("count --species japanese-beetle --each 1,2 --area 0.25ft2 --date 2026-06-09");
    lawn.logs("note --remark dew");
    lawn
}

/// Runs each and finds in what it says all that is due.
fn refuses(lawn: &Site, cases: &[(&str, &[&str])]) {
    for (what, due) in cases {
        let said = lawn.refused(what);
        for words in *due {
            assert!(said.contains(words), "{what}: \"{words}\" is due: {said}");
        }
    }
}

#[test]
fn an_application_that_cannot_be_is_refused() {
    const SPREAD: &str = "log application --site lawn --area 450m2";
    let cases = [
        (
            "--option chlorantraniliprole --date 2026-06-11",
            &["lies in the future (today is 2026-06-10)"][..],
        ),
        (
            "--option chlorantraniliprole --date 2025-12-31",
            &[
                "before this season, which began on 2026-01-01",
                "--earlier-season",
            ],
        ),
        (
            "--option chlorantraniliprole --date 2026-06-08",
            &[
                "logged for 2026-06-08 already, as number 1",
                "log edit 1",
                "log undo 1",
                "name the part with --part",
            ],
        ),
        (
            "--option chlorantranilprole",
            &[
                "no option \"chlorantranilprole\"",
                "did you mean \"chlorantraniliprole\"?",
            ],
        ),
        (
            "--option soap",
            &[
                "no option \"soap\"",
                "there are bacillus-thuringiensis-galleriae, carbaryl",
            ],
        ),
        (
            "--option imidacloprid --rate 0.2kg",
            &["\"0.2kg\" is not a rate", "like 0.2kg/100m2"],
        ),
        (
            "--option imidacloprid --rate -1kg/ha",
            &["amount and area are above 0"],
        ),
        (
            "--option imidacloprid --most-a-season much",
            &["\"much\" is not a rate"],
        ),
        ("--option imidacloprid --date 10.6.2026", &["YYYY-MM-DD"]),
        (
            "--option imidacloprid --date 2014-02-30",
            &["there is no day 2014-02-30; check month and day"],
        ),
    ];
    let lawn = lawn();
    for (what, due) in cases {
        refuses(&lawn, &[(&format!("{SPREAD} {what}"), due)]);
    }
}

#[test]
fn an_area_that_cannot_be_or_is_not_known_is_refused() {
    const SPREAD: &str = "log application --site lawn --option imidacloprid";
    let lawn = lawn();
    refuses(
        &lawn,
        &[
            (
                SPREAD,
                &[
                    "how much turf did it go on?",
                    "--area 450m2",
                    "site \"lawn\"",
                ],
            ),
            (
                &format!("{SPREAD} --area -450m2"),
                &["\"-450m2\" cannot be an area of turf", "above 0"],
            ),
            (&format!("{SPREAD} --area 0m2"), &["above 0"]),
            (
                &format!("{SPREAD} --area 450"),
                &["\"450\" is not an area of turf", "like 450m2"],
            ),
        ],
    );
}

#[test]
fn a_count_that_cannot_be_is_refused() {
    const COUNT: &str = "log count --site lawn --species japanese-beetle --date 2026-06-07";
    let cases = [
        (
            "--larvae 12 --samples 10",
            &["a count needs the area of one sample, for example --area 0.25ft2"][..],
        ),
        ("--each 1,2,3", &["a count needs the area of one sample"]),
        ("", &["say what was found", "--each 0,3,1", "--per-m2 60"]),
        (
            "--larvae 12 --area 1ft2",
            &["in how many samples", "--samples 10"],
        ),
        (
            "--samples 12 --area 1ft2",
            &["how many larvae", "0 if none"],
        ),
        (
            "--larvae -1 --samples 2 --area 1ft2",
            &["'--larvae <N>'", "a whole number, 0 or more"],
        ),
        (
            "--larvae 1 --samples 0 --area 1ft2",
            &["at least one sample"],
        ),
        (
            "--larvae 9 --samples 2 --each 1,2 --area 1ft2",
            &["adds up to 3 larvae, not 9"],
        ),
        (
            "--each 1,x --area 1ft2",
            &["'--each <N,N,…>'", "a whole number"],
        ),
        ("--each 4294967295,1 --area 1ft2", &["check"]),
        (
            "--larvae 1 --samples 2 --area -1ft2",
            &["one sample is 0.001 to 2 m²"],
        ),
        (
            "--larvae 1 --samples 2 --area 450",
            &["not the area of a sample"],
        ),
        (
            "--per-m2 -3",
            &["-3 larvae per m² cannot be", "check number and unit"],
        ),
        ("--per-m2 inf", &["cannot be"]),
        ("--per-ft2 NaN", &["cannot be"]),
        (
            "--per-m2 60 --per-ft2 5",
            &["--per-m2 or --per-ft2, not both"],
        ),
        ("--per-m2 60 --larvae 3", &["not both"]),
        ("--per-m2 60 --area 1ft2", &["not both"]),
    ];
    let lawn = lawn();
    for (what, due) in cases {
        refuses(&lawn, &[(&format!("{COUNT} {what}"), due)]);
    }
    refuses(
        &lawn,
        &[
            (
                "log count --site lawn --species japanese-beetle --per-m2 60",
                &["logged for 2026-06-10 already, as number 2"],
            ),
            (
                "log count --site lawn --species japanese-beetle --per-m2 60 --date 2026-06-11",
                &["in the future"],
            ),
        ],
    );
}

#[test]
fn sites_and_species_that_are_not_there_are_answered_with_those_that_are() {
    let lawn = lawn();
    for what in [
        "application --option imidacloprid --area 1ha",
        "count --species japanese-beetle --per-m2 60",
        "irrigation --depth 12mm",
        "note --remark dew",
        "catch --species japanese-beetle",
        "list",
    ] {
        refuses(
            &lawn,
            &[(
                &format!("log {what} --site moon"),
                &["no site \"moon\"; there are lawn"],
            )],
        );
    }
    refuses(
        &lawn,
        &[
            (
                "log count --site lawn --species oriental-beetle --per-m2 60",
                &["lawn is not watched for \"oriental-beetle\"; its species are japanese-beetle"],
            ),
            (
                "scout lawn --species oriental-beetle",
                &["its species are japanese-beetle"],
            ),
        ],
    );
}

#[test]
fn water_and_notes_that_say_nothing_are_refused() {
    let lawn = lawn();
    refuses(
        &lawn,
        &[
            (
                "log irrigation --site lawn --depth -3mm",
                &["\"-3mm\" cannot be a depth of water"],
            ),
            (
                "log irrigation --site lawn --depth 12",
                &["\"12\" is not a depth", "like 12mm"],
            ),
            ("log irrigation --site lawn --depth 3m", &["is not a depth"]),
            (
                "log irrigation --site lawn --depth 12mm --date 2026-06-11",
                &["in the future"],
            ),
            (
                "log note --site lawn",
                &["a note needs something to say", "--damage yes or no"],
            ),
            ("log note --site lawn --damage maybe", &["say yes or no"]),
        ],
    );
}

#[test]
fn an_edit_is_held_to_what_a_new_entry_is_held_to() {
    let lawn = lawn();
    lawn.logs("application --option chlorantraniliprole --area 450m2 --date 2026-06-05");
    refuses(
        &lawn,
        &[
            ("log edit 1 --date 2026-06-11", &["in the future"]),
            ("log edit 1 --date 2025-06-08", &["before this season"]),
            (
                "log edit 1 --date 2026-06-05",
                &["logged for 2026-06-05 already, as number 5"],
            ),
            ("log edit 1 --area -3m2", &["cannot be an area of turf"]),
            ("log edit 1 --option soap", &["no option \"soap\""]),
            ("log edit 2 --area 450m2", &["one sample is 0.001 to 2 m²"]),
            ("log edit 2 --samples 0", &["at least one sample"]),
            ("log edit 2 --species oriental-beetle", &["not watched for"]),
            (
                "log edit 3 --larvae 5",
                &["give the whole list anew with --each"],
            ),
        ],
    );
}

#[test]
fn an_edit_with_a_field_of_another_kind_or_without_any_is_refused_by_name() {
    let lawn = lawn();
    refuses(
        &lawn,
        &[
            (
                "log edit 1 --depth 3mm --larvae 4",
                &[
                    "number 1 is of the kind application, which has no --depth and no --larvae",
                    "--most-a-season",
                ],
            ),
            (
                "log edit 4 --area 3m2",
                &[
                    "kind note",
                    "no --area",
                    "It has --date, --remark, --damage",
                ],
            ),
            (
                "log edit 2",
                &["say what to change of number 2", "--per-ft2"],
            ),
            (
                "log edit 2 --larvae 12",
                &["entry 2 says that already; nothing was changed"],
            ),
            ("log edit 4 --remark=", &["a note needs something to say"]),
            (
                "log edit 99 --date 2026-06-01",
                &["no entry 99 that stands; see log list"],
            ),
            ("log undo 99", &["no entry 99 that stands"]),
        ],
    );
}
