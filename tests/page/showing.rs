//! What the page shows, and what every answer says to the browser.

use super::support::journal::Site;
use super::support::served_page::Page;

#[test]
fn a_site_of_the_configuration_has_a_page_and_another_has_none() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    let lawn = page.get("/sites/lawn");
    assert_eq!(lawn.status, 200);
    assert!(lawn.text().contains("The lawn"), "{}", lawn.text());
    assert_eq!(page.get("/sites/meadow").status, 404);
}

#[test]
fn every_answer_forbids_scripts() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    for path in ["/", "/sites/lawn", "/sites/none", "/style.css"] {
        let policy = page.get(path);
        let policy = policy.header("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none'"), "{path}: {policy}");
        assert!(!policy.contains("script-src"), "{path}: {policy}");
    }
}
