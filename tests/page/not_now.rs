//! A task is done by a form that knows it, or put off for some days, and comes back by itself.

use super::support::journal::Site;
use super::support::served_page::Page;
use hatchbell::store::Store;
use hatchbell::store::postponements::Postponement;

/// The lawn, on which something was spread that has to be watered in: a task from then on.
fn to_water() -> (Site, Page) {
    let site = Site::of("area = \"450 m2\"");
    site.logs("application --option imidacloprid --date 2026-06-10");
    let page = Page::of_site(&site);
    (site, page)
}

fn postponements(page: &Page, day: &str) -> Vec<Postponement> {
    let store = Store::open_to_read(&page.database).unwrap();
    store.put_off_on(day.parse().unwrap()).unwrap()
}

#[test]
fn done_opens_the_form_that_fits_filled_in() {
    let (site, page) = to_water();
    let form = "/sites/lawn/enter/water?option=imidacloprid";
    for path in ["/", "/sites/lawn"] {
        let shown = page.get(path);
        assert!(shown.body.contains(form), "{path}: {}", shown.body);
    }
    let filled = page.get(form);
    assert!(
        filled.body.contains("name=\"depth\" value=\"13\""),
        "{}",
        filled.body
    );
    let key = filled.hidden("key");
    let fields = [
        ("key", key.as_str()),
        ("date", "2026-06-10"),
        ("depth", "13"),
        ("depth_unit", "mm"),
    ];
    page.post("/sites/lawn/enter/water", &fields).leads_to();
    assert_eq!(site.list().len(), 2);
    assert!(!page.get("/sites/lawn").body.contains(form), "it is done");
}

#[test]
fn a_task_whose_last_day_comes_first_is_not_put_off_beyond_it() {
    let (_site, page) = to_water();
    let put_off = |days| {
        let fields = [("site", "lawn"), ("task", "water"), ("days", days)];
        page.post("/not-now", &fields)
    };
    for days in ["0", "31", "many", "9"] {
        let refused = put_off(days);
        assert_eq!(refused.status, 422, "{days}: {}", refused.text());
    }
    assert!(
        put_off("9").text().contains("last day for it"),
        "{}",
        put_off("9").text()
    );
    assert_eq!(postponements(&page, "2026-06-10"), []);
}

#[test]
fn only_days_that_are_left_are_offered_and_on_the_last_day_the_page_says_why_there_are_none() {
    // To be watered in by 11 June.
    let offered = |day: &str| {
        let site = Site::on(day, "area = \"450 m2\"");
        site.logs("application --option imidacloprid --date 2026-06-10");
        let page = Page::of_site(&site);
        ["/", "/sites/lawn"].map(|path| page.get(path).body)
    };
    let last_day = "Today is the last day for it: it cannot be put off.";
    for (day, offer) in [
        ("2026-06-10", Some("max=\"1\" value=\"1\"")),
        ("2026-06-11", None),
        ("2026-06-12", Some("max=\"30\" value=\"3\"")),
    ] {
        for shown in offered(day) {
            assert_eq!(shown.contains("/not-now"), offer.is_some(), "{shown}");
            assert!(offer.is_none_or(|offer| shown.contains(offer)), "{shown}");
            assert_eq!(shown.contains(last_day), offer.is_none(), "{shown}");
        }
    }
}

#[test]
fn a_task_that_is_put_off_is_shown_as_such_until_its_day() {
    let site = Site::on("2026-06-20", "area = \"450 m2\"");
    site.logs("application --option imidacloprid --date 2026-06-10");
    let page = Page::of_site(&site);
    assert!(page.get("/").text().contains("1 site cannot wait."));
    let fields = [
        ("site", "lawn"),
        ("task", "water-overdue"),
        ("days", "3"),
        ("from", "site"),
    ];
    let sent = page.post("/not-now", &fields);
    assert_eq!(sent.leads_to(), "/sites/lawn");
    page.post("/not-now", &fields).leads_to();
    let week = page.get("/").text();
    assert!(week.contains("put off until 23 Jun: water in"), "{week}");
    assert!(week.contains("alerts still go out"), "{week}");
    assert!(
        week.contains("Nothing has to be done this week. 1 is put off."),
        "{week}"
    );
    let lawn = page.get("/sites/lawn").text();
    assert!(
        lawn.contains("Put off here until 23 Jun; alerts still go out."),
        "{lawn}"
    );
    assert_eq!(postponements(&page, "2026-06-22").len(), 1);
    assert_eq!(postponements(&page, "2026-06-23"), []);
    let again = [("task", "water-overdue"), ("from", "week")];
    assert_eq!(page.post("/sites/lawn/show-again", &again).leads_to(), "/");
    assert!(page.get("/").text().contains("1 site cannot wait."));
}

#[test]
fn a_postponement_is_over_on_its_day_without_anybody_doing_anything() {
    let site = Site::on("2026-06-20", "area = \"450 m2\"");
    site.logs("application --option imidacloprid --date 2026-06-10");
    let page = Page::of_site(&site);
    let fields = [("site", "lawn"), ("task", "water-overdue"), ("days", "2")];
    page.post("/not-now", &fields).leads_to();
    let on = |day: &str| {
        let text = std::fs::read_to_string(&site.config).unwrap();
        let start = text.find("starts = \"").unwrap() + "starts = \"".len();
        let text = format!("{}{day}{}", &text[..start], &text[start + 10..]);
        std::fs::write(&site.config, text).unwrap();
        page.reload(&site.config);
        page.get("/").text()
    };
    assert!(on("2026-06-21").contains("put off until 22 Jun"));
    let over = on("2026-06-22");
    assert!(!over.contains("put off"), "{over}");
    assert!(over.contains("1 site cannot wait."), "{over}");
}
