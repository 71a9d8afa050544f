//! Who may reach the page and what they may do there is checked where it is written.

use crate::support::command::{Workshop, both, config_with, second_member};

/// What `check` says of a table `[web]` and of keys of the recipient.
fn checked(recipient: &str, web: &str) -> String {
    let workshop = Workshop::new();
    workshop.write("days.csv", "DATE,TMAX,TMIN\n2026-02-19,25.0,15.0\n");
    let address = format!("console = true\n{recipient}");
    let text = config_with("file = \"days.csv\"", &address, web) + &second_member("console = true");
    workshop.write("hatchbell.toml", &text);
    both(&workshop.run(&["check", "--config", "hatchbell.toml"]))
}

#[test]
fn a_page_that_others_reach_needs_a_sign_in_and_a_sign_in_needs_https() {
    for (web, expected) in [
        (
            "listen = \"192.0.2.1:8417\"",
            "34:10: error: other machines reach the page there",
        ),
        (
            "listen = \"0.0.0.0:8417\"",
            "34:10: error: other machines reach the page there",
        ),
        (
            "address = \"https://turf.example/\"",
            "34:11: error: others reach the page at this address",
        ),
        (
            "listen = \"[::]:8417\"\nsign_in = true",
            "34:10: error: people sign in by a link to the page, and how they reach it is not known",
        ),
        (
            "sign_in = true\naddress = \"http://turf.example/\"",
            "35:11: error: keys would go over the network in clear",
        ),
        (
            "proxies = [\"127.0.0.1:80\"]",
            "34:12: error: proxies are IP addresses without a port",
        ),
    ] {
        let said = checked("", &format!("[web]\n{web}"));
        assert!(said.contains(expected), "{web}: {said}");
    }
    for web in [
        "listen = \"127.0.0.1:8417\"",
        "listen = \"127.0.0.1:8417\"\naddress = \"http://localhost:8417/\"",
        "sign_in = true",
        "listen = \"0.0.0.0:8417\"\nsign_in = true\naddress = \"https://turf.example/\"\nproxies = [\"::1\"]",
    ] {
        let said = checked("", &format!("[web]\n{web}"));
        assert!(!said.contains("error"), "{web}: {said}");
    }
}

#[test]
fn what_a_recipient_may_do_on_the_page_is_one_of_three_and_whom_they_manage_is_there() {
    let said = checked("page = \"all\"", "");
    assert!(
        said.contains("31:8: error: page = \"all\" must be one of \"write\", \"read\", \"none\""),
        "{said}"
    );
    let said = checked("manages = [\"neighbor\"]", "");
    assert!(
        said.contains("31:12: error: manages names \"neighbor\", which is no [[member]]; did you mean \"neighbour\"?"),
        "{said}"
    );
    let said = checked("page = \"read\"\nmanages = [\"neighbour\"]", "");
    assert!(!said.contains("error"), "{said}");
}
