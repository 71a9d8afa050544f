//! What is kept from one request to the next is never shown once it is old.

use super::support::journal::Site;
use super::support::served_page::Page;

#[test]
fn an_entry_made_elsewhere_is_on_the_sites_page_and_in_the_week_at_the_next_look() {
    let site = Site::of("area = \"450 m2\"");
    let page = Page::of_site(&site);
    let shown = || (page.get("/").text(), page.get("/sites/lawn").text());
    let before = shown();
    assert_eq!(shown(), before);
    site.logs("application --option imidacloprid --date 2026-06-10");
    let after = shown();
    let nothing = "Nothing was applied this season.";
    assert!(before.1.contains(nothing), "{}", before.1);
    assert!(!after.1.contains(nothing), "{}", after.1);
    assert_ne!(after.0, before.0);
}

#[test]
fn another_configuration_is_shown_at_the_next_look() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    assert!(page.get("/sites/lawn").text().contains("The lawn"));
    let text = std::fs::read_to_string(&site.config).unwrap();
    let renamed = text.replace("\"The lawn\"", "\"The big lawn\"");
    assert_ne!(renamed, text);
    std::fs::write(&site.config, renamed).unwrap();
    page.reload(&site.config);
    for path in ["/", "/sites/lawn"] {
        let shown = page.get(path).text();
        assert!(shown.contains("The big lawn"), "{path}: {shown}");
    }
}

#[test]
fn a_change_and_its_line_in_the_audit_are_written_together_or_not_at_all() {
    let site = Site::of("area = \"450 m2\"");
    site.logs("application --option imidacloprid --date 2026-06-10");
    let page = Page::of_site(&site);
    let entries = site.list().len();
    let database = rusqlite::Connection::open(&page.database).unwrap();
    let lines = || -> i64 {
        let count = "SELECT count(*) FROM audit";
        database.query_row(count, [], |row| row.get(0)).unwrap()
    };
    let key = page.hidden("/sites/lawn/enter/water", "key");
    let water = [
        ("key", key.as_str()),
        ("date", "2026-06-10"),
        ("depth", "2"),
        ("depth_unit", "mm"),
    ];
    let put_off = [
        ("from", "site"),
        ("task", "water"),
        ("site", "lawn"),
        ("days", "1"),
    ];
    let take_back = "/sites/lawn/journal/1/take-back";
    database
        .execute_batch(
            "CREATE TRIGGER full BEFORE INSERT ON audit BEGIN SELECT RAISE(ABORT, 'full'); END",
        )
        .unwrap();
    for (path, fields) in [
        ("/sites/lawn/enter/water", &water[..]),
        ("/not-now", &put_off[..]),
        (take_back, &[]),
    ] {
        assert_eq!(page.post(path, fields).status, 503, "{path}");
    }
    let put_off_ones = "SELECT count(*) FROM postponement";
    let count = |sql: &str| -> i64 { database.query_row(sql, [], |row| row.get(0)).unwrap() };
    assert_eq!((site.list().len(), count(put_off_ones)), (entries, 0));
    database.execute_batch("DROP TRIGGER full").unwrap();
    let before = lines();
    page.post("/sites/lawn/enter/water", &water).leads_to();
    page.post("/not-now", &put_off).leads_to();
    page.post(take_back, &[]).leads_to();
    assert_eq!(lines(), before + 3);
    assert_eq!((site.list().len(), count(put_off_ones)), (entries, 1));
}
