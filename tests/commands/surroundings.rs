//! `hatchbell check` looks at what the configuration names on this machine: each problem at the key, an
//! error with exit code 1, what may come right by itself a warning.

use crate::support::command::{Workshop, both, config_with, config_with_station};
use rcgen::{CertificateParams, KeyPair};
use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt;

const DAYS: &str = "DATE,TMAX,TMIN\n2026-01-01,25.0,15.0\n2026-01-02,25.0,15.0\n";

fn check(workshop: &Workshop, config: &str) -> (Option<i32>, String) {
    let path = workshop.write("hatchbell.toml", config);
    let output = workshop.run(&["check", "--config", &path]);
    let folder = format!("{}/", workshop.folder().display());
    (output.status.code(), both(&output).replace(&folder, ""))
}

fn set_mode(workshop: &Workshop, name: &str, mode: u32) {
    std::fs::set_permissions(workshop.path(name), Permissions::from_mode(mode)).unwrap();
}

/// The line and column of a text in a configuration.
fn place(config: &str, text: &str) -> String {
    let (line, found) = config
        .lines()
        .enumerate()
        .find(|(_, line)| line.contains(text))
        .expect("it stands there");
    format!(
        "hatchbell.toml:{}:{}: ",
        line + 1,
        found.find(text).unwrap() + 1
    )
}

/// A workshop with the file of its station.
fn workshop() -> Workshop {
    let workshop = Workshop::new();
    workshop.write("days.csv", DAYS);
    workshop
}

fn with_mail(password: &str) -> String {
    let mail = format!(
        "[email]\nhost = \"mail.three-brooks.example\"\nsecurity = \"tls\"\n\
         from = \"turf@three-brooks.example\"\nusername = \"turf\"\n{password}\n"
    );
    config_with(
        "file = \"days.csv\"",
        "email = \"ada@three-brooks.example\"",
        &mail,
    )
}

#[test]
fn a_secret_that_is_missing_empty_or_open_to_others_is_an_error_at_its_key() {
    let workshop = workshop();
    let config = with_mail("password_file = \"mail-password\"");
    let at = place(&config, "\"mail-password\"") + "error: file mail-password: ";
    let refused = |why: &str| {
        let (code, text) = check(&workshop, &config);
        assert_eq!(code, Some(1), "{text}");
        assert!(text.contains(&format!("{at}{why}")), "{at}{why}\n{text}");
        assert!(text.contains("has 1 error"), "{text}");
    };
    refused("not found");
    workshop.write("mail-password", "\n");
    set_mode(&workshop, "mail-password", 0o600);
    refused("empty");
    workshop.write("mail-password", "thatch rake\n");
    set_mode(&workshop, "mail-password", 0o640);
    refused("open to others than its owner (mode 640)");
    set_mode(&workshop, "mail-password", 0o600);
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(0), "{text}");
    assert!(
        !text.contains("warning") && !text.contains("thatch"),
        "{text}"
    );
}

#[test]
fn a_credential_of_the_service_cannot_be_looked_at_elsewhere_which_is_a_warning() {
    let workshop = workshop();
    let config = with_mail("password_credential = \"smtp\"");
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(0), "{text}");
    let due =
        place(&config, "\"smtp\"") + "warning: systemd hands the credential smtp to the service";
    assert!(text.contains(&due), "{text}");
    // Within the service it is looked for.
    let path = workshop.write("hatchbell.toml", &config);
    let mut command = workshop.command(&["check", "--config", &path]);
    let output = command
        .env("CREDENTIALS_DIRECTORY", workshop.folder())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", both(&output));
    assert!(both(&output).contains("systemd credential smtp: not found"));
}

#[test]
fn a_demonstration_that_prints_its_messages_needs_no_secret() {
    let workshop = workshop();
    let demo = "\n[demo]\nstarts = \"2026-01-01T06:00:00Z\"\n";
    let (code, text) = check(&workshop, &(with_mail("password_file = \"none\"") + demo));
    assert_eq!(code, Some(0), "{text}");
}

/// A certificate of these years.
fn certificate(years: std::ops::Range<i32>) -> String {
    let mut params = CertificateParams::new(vec!["turf.example".to_owned()]).unwrap();
    params.not_before = rcgen::date_time_ymd(years.start, 1, 1);
    params.not_after = rcgen::date_time_ymd(years.end, 1, 1);
    params
        .self_signed(&KeyPair::generate().unwrap())
        .unwrap()
        .pem()
}

#[test]
fn certificates_must_be_readable_and_in_their_time() {
    let workshop = workshop();
    let config = config_with_station("file = \"days.csv\"")
        .replace("database =", "extra_ca_file = \"own-ca.pem\"\ndatabase =");
    let at = place(&config, "\"own-ca.pem\"");
    let says = |pem: Option<&str>, code: i32, due: &str| {
        if let Some(pem) = pem {
            workshop.write("own-ca.pem", pem);
        }
        let (found, text) = check(&workshop, &config);
        assert_eq!(found, Some(code), "{text}");
        let due = format!("{at}{due}");
        assert!(text.contains(&due), "{due}\n{text}");
    };
    says(None, 1, "error: own-ca.pem: cannot be read");
    says(
        Some("not a certificate"),
        1,
        "error: own-ca.pem: the extra root certificates hold none",
    );
    let over = certificate(2000..2010);
    says(
        Some(&over),
        1,
        "error: own-ca.pem: the certificate of CN=rcgen self signed cert ended on 2010-01-01",
    );
    // Its successor stands beside it.
    let both = over + &certificate(2010..4000);
    says(
        Some(&both),
        0,
        "warning: own-ca.pem: the certificate of CN=rcgen self signed cert ended on 2010-01-01",
    );
    let early = certificate(3000..4000);
    says(
        Some(&early),
        0,
        "warning: own-ca.pem: the certificate of CN=rcgen self signed cert begins on 3000-01-01",
    );
    workshop.write("own-ca.pem", &certificate(2000..4000));
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(0), "{text}");
    assert!(!text.contains("own-ca.pem"), "{text}");
}

#[test]
fn a_station_s_file_of_another_dialect_is_an_error_and_a_missing_one_a_warning() {
    let workshop = Workshop::new();
    let config = config_with_station("file = \"days.csv\"");
    let at = place(&config, "\"days.csv\"");
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains(&format!("{at}warning: days.csv: there is no such file")),
        "{text}"
    );
    workshop.write("days.csv", "day;high;low\n2026-01-01;25.0;15.0\n");
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains(&format!("{at}error: days.csv")), "{text}");
    std::fs::remove_file(workshop.path("days.csv")).unwrap();
    std::fs::create_dir(workshop.path("days.csv")).unwrap();
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(1), "{text}");
    workshop_is_as_it_was(&workshop, &["days.csv", "hatchbell.toml"]);
}

#[test]
fn a_station_s_file_in_a_folder_that_is_not_there_is_an_error() {
    let workshop = Workshop::new();
    let config = config_with_station("file = \"/no-such-folder/days.csv\"");
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(1), "{text}");
    let at = place(&config, "\"/no-such-folder");
    let due = "error: /no-such-folder/days.csv: there is no such file, and no folder /no-such-folder either";
    assert!(text.contains(&format!("{at}{due}")), "{text}");
}

#[test]
fn a_station_s_file_that_is_empty_is_called_that_and_has_no_address_to_check() {
    let workshop = Workshop::new();
    workshop.write("days.csv", "\n");
    let (code, text) = check(&workshop, &config_with_station("file = \"days.csv\""));
    assert_eq!(code, Some(1), "{text}");
    assert!(
        text.contains("the file is empty; look at what writes it"),
        "{text}"
    );
    assert!(!text.contains("address"), "{text}");
    let text = both(&workshop.run(&["feed", "try", "days.csv"]));
    assert!(
        text.contains("the file is empty; look at what writes it"),
        "{text}"
    );
    assert!(!text.contains("address"), "{text}");
}

fn workshop_is_as_it_was(workshop: &Workshop, due: &[&str]) {
    let entries = std::fs::read_dir(workshop.folder()).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, due);
}

#[test]
fn the_database_s_folder_must_be_one_and_is_never_made() {
    let workshop = workshop();
    let config = config_with_station("file = \"days.csv\"");
    let of = |database: &str| config.replace("\"hatchbell.db\"", &format!("\"{database}\""));
    let (code, text) = check(&workshop, &of("new/folder/hatchbell.db"));
    assert_eq!(code, Some(0), "{text}");
    assert!(!text.contains("warning"), "{text}");
    workshop_is_as_it_was(&workshop, &["days.csv", "hatchbell.toml"]);
    let config = of("days.csv/hatchbell.db");
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(1), "{text}");
    let at = place(&config, "\"days.csv/");
    assert!(text.contains(&format!("{at}error: days.csv")), "{text}");
    std::fs::create_dir(workshop.path("hatchbell.db")).unwrap();
    let (code, text) = check(&workshop, &of("hatchbell.db"));
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("not a regular file"), "{text}");
}

#[test]
fn a_database_open_to_others_is_warned_of() {
    let workshop = workshop();
    workshop.write("hatchbell.db", "");
    set_mode(&workshop, "hatchbell.db", 0o644);
    let (code, text) = check(&workshop, &config_with_station("file = \"days.csv\""));
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains("warning: hatchbell.db: open to others"),
        "{text}"
    );
}

#[test]
fn all_problems_are_reported_at_once_in_the_order_of_the_file() {
    let workshop = Workshop::new();
    workshop.write("days.csv", "no,columns\n1,2\n");
    let config = with_mail("password_file = \"none\"")
        .replace("database =", "extra_ca_file = \"none.pem\"\ndatabase =");
    let (code, text) = check(&workshop, &config);
    assert_eq!(code, Some(1), "{text}");
    let places: Vec<usize> = ["none.pem: ", "days.csv", "file none: "]
        .iter()
        .map(|one| text.find(one).unwrap_or_else(|| panic!("{one}: {text}")))
        .collect();
    assert!(places.is_sorted(), "{text}");
    assert!(text.contains("has 3 errors"), "{text}");
}
