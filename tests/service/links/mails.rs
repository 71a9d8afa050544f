//! The mail that brings links: what it holds as text and as a page, and where its links lead.

use super::{PAGE, PATIENCE, Served, no_server, read_by, told_of_flight, told_of_flight_at};
use crate::support::command::Workshop;
use crate::support::smtp_peer::SmtpPeer;

#[test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
fn a_mail_of_many_sites_has_one_link_to_all_of_them_and_says_whose_the_picture_is() {
    let mut mail = SmtpPeer::start(&[]);
    let (workshop, config) = told_of_flight_at(mail.port(), 9);
    let received = mail.messages_at_least(1, PATIENCE).remove(0);
    let read = read_by("read_mail.py", &received.content);
    let caption = read["caption"].as_str().unwrap();
    assert!(
        caption.starts_with("The lawn: Japanese beetle, season 2026. The first of the 9 sites"),
        "{caption}"
    );
    let links = read["links"].as_array().unwrap();
    assert_eq!(links.len(), 2, "{links:?}");
    let path = links[0].as_str().unwrap();
    let path = path.strip_prefix("https://turf.example").unwrap();
    assert!(path.starts_with("/tasks/"), "{path}");
    let served = Served::start(&workshop, &config);
    let shown = served.get(path);
    served.stop();
    assert!(shown.body.contains("Lawn 9"), "{}", shown.body);
}

#[test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
fn a_mail_says_the_same_as_text_and_as_a_page_with_the_season_drawn() {
    let mut mail = SmtpPeer::start(&[]);
    let (workshop, config) = told_of_flight(mail.port());
    let received = mail.messages_at_least(1, PATIENCE).remove(0);
    assert!(
        received.content.len() < 60_000,
        "{}",
        received.content.len()
    );
    let read = read_by("read_mail.py", &received.content);
    assert_eq!(
        read["kinds"],
        serde_json::json!([
            "multipart/alternative",
            "text/plain",
            "multipart/related",
            "text/html",
            "image/png"
        ])
    );
    let words = |of: &str| -> Vec<String> {
        let text = read[of].as_str().expect("text");
        text.split_whitespace().map(str::to_owned).collect()
    };
    // Dashes before the items of lists are the text's alone.
    let plain: Vec<String> = words("plain")
        .into_iter()
        .filter(|word| word != "-")
        .collect();
    assert_eq!(words("page"), plain);
    assert_eq!(read["size"], serde_json::json!([720, 504]));
    let shown = read["alternative"].as_str().expect("words");
    assert!(!shown.contains("The lawn"), "the caption says it: {shown}");
    assert_eq!(
        read["caption"], "The lawn: Japanese beetle, season 2026.",
        "below the picture"
    );
    assert!(shown.contains("flight at"), "{shown}");
    assert_eq!(read["picture_is_there"], true);
    assert_eq!(
        read["elsewhere"],
        serde_json::json!([]),
        "nothing is fetched"
    );

    let one_click = received.header("List-Unsubscribe");
    assert_eq!(
        received.header("List-Unsubscribe-Post"),
        "List-Unsubscribe=One-Click"
    );
    assert_eq!(received.header("Auto-Submitted"), "auto-generated");
    let path = one_click.strip_prefix("<https://turf.example").unwrap();
    let path = path.strip_suffix('>').unwrap();
    let links = read["links"].as_array().unwrap();
    let task = links[0]
        .as_str()
        .unwrap()
        .strip_prefix("https://turf.example")
        .unwrap();
    assert_eq!(links.len(), 2);
    let served = Served::start(&workshop, &config);
    assert_eq!(served.get(task).status, 200);
    assert_eq!(served.get(path).status, 200);
    served.stop();
}

#[test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
fn without_an_address_of_the_page_a_mail_has_no_links() {
    let mut mail = SmtpPeer::start(&[]);
    let workshop = Workshop::new();
    let (other, _) = told_of_flight(no_server());
    let text = other.read("hatchbell.toml");
    let port = mail.port().to_string();
    let old = text
        .lines()
        .find(|line| line.starts_with("port = "))
        .unwrap();
    let text = text
        .replace(old, &format!("port = {port}"))
        .replace(PAGE, "");
    let config = workshop.write("hatchbell.toml", &text);
    workshop.write("daily.csv", &other.read("daily.csv"));
    for _ in 0..2 {
        workshop.succeeds(&["run", "--once", "--config", &config]);
    }
    let received = mail.messages_at_least(1, PATIENCE).remove(0);
    let read = read_by("read_mail.py", &received.content);
    assert_eq!(read["links"], serde_json::json!([]));
    assert!(!received.content.contains("List-Unsubscribe"));
    assert!(!received.text.contains("http"), "{}", received.text);
}
