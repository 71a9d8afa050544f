//! What is entered by forms is entered by the rules of the commands, once, and by whoever is here.

use super::support::journal::Site;
use super::support::served_page::Page;
use serde_json::json;

const WATER: &str = "/sites/lawn/enter/water";

fn water<'f>(key: &'f str, date: &'f str, depth: &'f str) -> [(&'f str, &'f str); 4] {
    [
        ("key", key),
        ("date", date),
        ("depth", depth),
        ("depth_unit", "mm"),
    ]
}

#[test]
fn a_form_is_of_today_and_what_it_sends_is_in_the_journal_that_commands_list() {
    let site = Site::of("area = \"450 m2\"");
    let page = Page::of_site(&site);
    let form = page.get(WATER);
    assert!(form.body.contains("value=\"2026-06-10\""), "{}", form.body);
    let key = form.hidden("key");
    let sent = page.post(WATER, &water(&key, "2026-06-09", "12.5"));
    let said = page.get(sent.leads_to()).text();
    assert!(
        said.contains("logged as number 1: 12.5 mm of water. The lawn, 2026-06-09."),
        "{said}"
    );
    let entries = site.list();
    assert_eq!(entries.len(), 1);
    assert_eq!(entries[0]["depth"], "12.5 mm");
}

#[test]
fn a_form_that_is_sent_twice_or_after_going_back_makes_one_entry() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    let key = page.hidden(WATER, "key");
    let first = page.post(WATER, &water(&key, "2026-06-10", "12"));
    let again = page.post(WATER, &water(&key, "2026-06-10", "12"));
    assert_eq!(first.leads_to(), again.leads_to());
    // Turf may be watered twice a day, by another form.
    let other = page.hidden(WATER, "key");
    assert_ne!(key, other);
    page.post(WATER, &water(&other, "2026-06-10", "12"))
        .leads_to();
    assert_eq!(site.list().len(), 2);
}

#[test]
fn what_is_wrong_stands_beside_its_field_and_what_was_typed_is_kept() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    let sent = page.post(WATER, &water("k", "2026-06-10", "900"));
    assert_eq!(sent.status, 422);
    assert!(sent.body.contains("value=\"900\""), "{}", sent.body);
    assert!(sent.body.contains("aria-invalid"), "{}", sent.body);
    assert!(
        sent.text().contains("it is above 0 and at most 200 mm"),
        "{}",
        sent.text()
    );
    assert_eq!(site.list(), [] as [serde_json::Value; 0]);
    // The same key is good for the corrected form.
    page.post(WATER, &water("k", "2026-06-10", "9")).leads_to();
    assert_eq!(site.list().len(), 1);
}

#[test]
fn the_rules_of_the_commands_hold_for_forms() {
    let site = Site::of("area = \"450 m2\"");
    let page = Page::of_site(&site);
    let spread = |key, date, option, more: &[(&'static str, &'static str)]| {
        let mut fields = vec![("key", key), ("date", date), ("option", option)];
        fields.extend(more);
        page.post("/sites/lawn/enter/application", &fields)
    };
    let refused = |answer: super::support::served_page::Answer, why: &str| {
        assert_eq!(answer.status, 422, "{}", answer.body);
        assert!(answer.text().contains(why), "{}", answer.text());
        assert!(!answer.text().contains("--"), "{}", answer.text());
    };
    refused(
        spread("a", "2026-06-11", "imidacloprid", &[]),
        "2026-06-11 lies in the future (today is 2026-06-10)",
    );
    refused(
        spread("b", "2025-06-09", "imidacloprid", &[]),
        "lies before this season, which began on 2026-01-01",
    );
    refused(
        spread("c", "2026-06-09", "imidacloprit", &[]),
        "did you mean \"imidacloprid\"?",
    );
    refused(
        spread(
            "g",
            "2026-06-09",
            "imidacloprid",
            &[("rate", "5"), ("rate_unit", "billion/ha")],
        ),
        "counts living things",
    );
    let logged = spread("d", "2026-06-09", "imidacloprid", &[]);
    let said = page.get(logged.leads_to()).text();
    assert!(said.contains("imidacloprid on 450 m²"), "{said}");
    assert!(said.contains("Water it in with"), "{said}");
    assert!(said.contains("The label is the law"), "{said}");
    refused(
        spread("e", "2026-06-09", "imidacloprid", &[]),
        "that is logged for 2026-06-09 already, as number 1",
    );
    let no_day = spread("k", "2026-06-31", "imidacloprid", &[]);
    refused(no_day, "there is no day 2026-06-31; check month and day");
    let again = spread(
        "h",
        "2026-06-09",
        "imidacloprid",
        &[("area", "100"), ("area_unit", "m²")],
    );
    refused(
        again,
        "if this was a second load on another part of the site, fill in \"Part of the site\"",
    );
    let part = [
        ("part", "by the gate"),
        ("area", "100"),
        ("area_unit", "m²"),
    ];
    spread("i", "2026-06-09", "imidacloprid", &part).leads_to();
    let earlier = [("earlier_season", "yes")];
    spread("f", "2025-06-09", "imidacloprid", &earlier).leads_to();
    assert_eq!(site.list().len(), 3);
}

#[test]
fn a_count_plug_by_plug_says_its_sum_its_mean_and_its_verdict_at_once() {
    let site = Site::of("samples = \"plugs\"");
    let page = Page::of_site(&site);
    let form = page.get("/sites/lawn/enter/count");
    assert!(form.body.matches("name=\"each\"").count() >= 10);
    assert!(
        form.text().contains("Larvae in each plug"),
        "{}",
        form.text()
    );
    let mut fields = vec![
        ("key", "k"),
        ("date", "2026-06-10"),
        ("species", "japanese-beetle"),
        ("area", "92"),
        ("area_unit", "cm²"),
    ];
    fields.extend(["0", "3", "", "1", "4", ""].map(|larvae| ("each", larvae)));
    let sent = page.post("/sites/lawn/enter/count", &fields);
    let said = page.get(sent.leads_to()).text();
    assert!(
        said.contains("8 larvae of japanese-beetle in 4 samples of 92 cm²: 217 per m²"),
        "{said}"
    );
    assert!(said.contains("Mean 217 per m²; in 9 of 10 cases"), "{said}");
    let entry = &site.list()[0];
    assert_eq!(entry["each"], json!([0, 3, 1, 4]));
    // The command says the same of it.
    let told = site.edits(&format!("{} --remark dew", entry["number"]));
    let mean = said
        .split("Mean ")
        .nth(1)
        .unwrap()
        .split(';')
        .next()
        .unwrap();
    assert!(told.contains(mean), "{told}");
}

#[test]
fn an_entry_is_corrected_and_taken_back_by_forms() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    page.post(WATER, &water("k", "2026-06-10", "12")).leads_to();
    let form = page.get("/sites/lawn/journal/1");
    assert!(form.body.contains("value=\"12\""), "{}", form.body);
    let key = form.hidden("key");
    let fields = water(&key, "2026-06-09", "15");
    let corrected = page.post("/sites/lawn/journal/1", &fields);
    let again = page.post("/sites/lawn/journal/1", &fields);
    assert_eq!(corrected.leads_to(), again.leads_to());
    let entries = site.list();
    assert_eq!(entries.len(), 1);
    assert_eq!(entries[0]["depth"], "15 mm");
    assert_eq!(entries[0]["number"], 2);
    let taken = page.post("/sites/lawn/journal/2/take-back", &[]);
    assert!(
        page.get(taken.leads_to())
            .text()
            .contains("Number 2 no longer counts.")
    );
    assert!(site.list().is_empty());
}

#[test]
fn an_entry_is_of_its_own_site_alone() {
    let site = Site::with_neighbour();
    let page = Page::of_site(&site);
    page.post(WATER, &water("k", "2026-06-10", "12")).leads_to();
    for path in ["/sites/rink/journal/1", "/sites/rink/journal/9"] {
        assert_eq!(page.get(path).status, 404);
        assert_eq!(page.post(path, &water("x", "2026-06-10", "1")).status, 404);
    }
    page.post("/sites/rink/journal/1/take-back", &[]);
    assert!(
        !page
            .get("/sites/rink/journal?said=1")
            .text()
            .contains("12 mm")
    );
    // A key of one site is no key of another.
    let other = page.post("/sites/rink/enter/water", &water("k", "2026-06-10", "5"));
    assert_eq!(other.leads_to(), "/sites/rink/journal?said=2");
    assert_eq!(site.list()[0]["depth"], "12 mm");
}

#[test]
fn a_form_from_elsewhere_changes_nothing() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    let own = format!("http://{}", page.address);
    let fields = water("k", "2026-06-10", "12");
    let from: [&[(&str, &str)]; 4] = [
        &[],
        &[("Origin", "http://elsewhere.example")],
        &[("Origin", "null")],
        &[("Origin", &own), ("Sec-Fetch-Site", "cross-site")],
    ];
    for headers in from {
        for path in [WATER, "/not-now", "/sites/lawn/show-again"] {
            let mut all = fields.to_vec();
            all.extend([("site", "lawn"), ("task", "water"), ("days", "3")]);
            let sent = page.post_with(path, &all, headers);
            assert_eq!(sent.status, 403, "{path} {headers:?}");
        }
    }
    // A name that a stranger made to lead here.
    let borrowed = [
        ("Host", "borrowed.example"),
        ("Origin", "http://borrowed.example"),
    ];
    assert_eq!(page.post_with(WATER, &fields, &borrowed).status, 421);
    assert!(site.list().is_empty());
    page.post(WATER, &fields).leads_to();
    for headers in from {
        let path = "/sites/lawn/journal/1";
        assert_eq!(page.post_with(path, &fields, headers).status, 403);
        let path = "/sites/lawn/journal/1/take-back";
        assert_eq!(page.post_with(path, &[], headers).status, 403);
    }
    assert_eq!(site.list()[0]["depth"], "12 mm");
}

#[test]
fn a_catch_says_how_many_or_that_they_were_not_counted() {
    const CATCH: &str = "/sites/lawn/enter/catch";
    let site = Site::of("");
    let page = Page::of_site(&site);
    let day = |key| {
        vec![
            ("key", key),
            ("date", "2026-06-10"),
            ("species", "japanese-beetle"),
        ]
    };
    let empty = page.post(CATCH, &day("a"));
    assert_eq!(empty.status, 422);
    let said = empty.text();
    assert!(
        said.contains("say how many, 0 where there were none"),
        "{said}"
    );
    let both = [day("b"), vec![("beetles", "3"), ("uncounted", "yes")]].concat();
    assert_eq!(page.post(CATCH, &both).status, 422);
    assert!(site.list().is_empty());
    let seen = [day("c"), vec![("uncounted", "yes")]].concat();
    page.post(CATCH, &seen).leads_to();
    assert_eq!(site.list()[0]["beetles"], json!(null));
    // The form of the entry says what was said.
    let again = page.get("/sites/lawn/journal/1").body;
    let tick = again.split("id=\"uncounted\"").nth(1).unwrap();
    assert!(
        tick.split('>').next().unwrap().contains("checked"),
        "{again}"
    );
    let none = [day("d"), vec![("beetles", "0")]].concat();
    page.post("/sites/lawn/journal/1", &none).leads_to();
    assert_eq!(site.list()[0]["beetles"], 0);
}

#[test]
fn whether_grubs_did_damage_is_asked_and_never_taken_for_granted() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    let form = page.get("/sites/lawn/enter/damage").body;
    let first = form.split("name=\"damage\"").nth(1).unwrap();
    let first = first.split("<option").nth(1).unwrap();
    assert!(first.contains("value=\"\""), "{first}");
    let unsaid = [("key", "a"), ("date", "2026-06-10"), ("damage", "")];
    let sent = page.post("/sites/lawn/enter/damage", &unsaid);
    assert_eq!(sent.status, 422);
    assert!(sent.text().contains("say yes or no"), "{}", sent.text());
    assert!(site.list().is_empty());
}

#[test]
fn damage_and_notes_are_logged_and_an_empty_note_is_not() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    let damage = [("key", "a"), ("date", "2026-06-10"), ("damage", "yes")];
    let sent = page.post("/sites/lawn/enter/damage", &damage);
    let said = page.get(sent.leads_to()).text();
    assert!(said.contains("damage by grubs"), "{said}");
    let empty = [("key", "b"), ("date", "2026-06-10"), ("remark", "  ")];
    let sent = page.post("/sites/lawn/enter/note", &empty);
    assert_eq!(sent.status, 422);
    let odd = "<b>\u{1b}[2J \"starlings\"";
    let note = [("key", "b"), ("date", "2026-06-10"), ("remark", odd)];
    let sent = page.post("/sites/lawn/enter/note", &note);
    let shown = page.get(sent.leads_to());
    assert!(!shown.body.contains("<b>"), "{}", shown.body);
    assert!(
        shown.text().contains("<b> [2J \"starlings\""),
        "{}",
        shown.text()
    );
}

#[test]
fn units_come_in_the_order_of_the_notation() {
    let site = Site::of("");
    let us = std::fs::read_to_string(&site.config).unwrap();
    let us = us.replacen("[service]", "[service]\nunits = \"us\"", 1);
    let page = Page::of_site(&site);
    let first_unit = |body: &str| {
        let units = body.split("name=\"depth_unit\"").nth(1).unwrap();
        units.split("<option").nth(1).unwrap().to_owned()
    };
    assert!(first_unit(&page.get(WATER).body).contains(">mm<"));
    std::fs::write(&site.config, us).unwrap();
    page.reload(&site.config);
    assert!(first_unit(&page.get(WATER).body).contains(">in<"));
}
