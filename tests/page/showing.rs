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
fn a_site_of_which_no_day_is_measured_is_unclear_and_not_idle() {
    let site = Site::of("");
    let page = Page::of_site(&site);
    let week = page.get("/");
    let said = week.text();
    assert!(
        said.contains("1 site is unclear; elsewhere nothing"),
        "{said}"
    );
    let (_, unclear) = week.body.split_once("layer-unclear").expect("a layer");
    assert!(
        unclear.contains("no day of the season measured"),
        "{unclear}"
    );
    assert!(!week.body.contains("layer-nothing"), "{}", week.body);
    let lawn = page.get("/sites/lawn").text();
    for (words, is_there) in [
        (
            "No day of the season is measured, so there is no line.",
            true,
        ),
        ("no dates yet", true),
        ("Japanese beetle: no day of the season is measured.", true),
        ("hatchbell log", false),
        ("The line is this season's sum", false),
        ("not this season", false),
        ("season is over", false),
        ("Soil at 10 cm", false),
        ("the dates below rest on", false),
    ] {
        assert_eq!(lawn.contains(words), is_there, "{words}: {lawn}");
    }
    // Long after the season's days, what came of it is not known either.
    let late = Site::on("2026-11-27", "");
    let lawn = Page::of_site(&late).get("/sites/lawn").text();
    assert!(lawn.contains("hatch not known"), "{lawn}");
    assert!(!lawn.contains("not this season"), "{lawn}");
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

#[test]
fn of_many_sites_one_is_found_by_its_name_or_its_members() {
    let site = Site::of("");
    let greens = (1..=30).map(|number| {
        format!(
            "{{ id = \"green-{number}\", name = \"Green {number}\", turf = \"ryegrass\", latitude = 27.4, \
             station = \"only\", species = [\"japanese-beetle\"] }}"
        )
    });
    let greens = greens.collect::<Vec<_>>().join(", ");
    let club = format!(
        "\n[[member]]\nid = \"club\"\nname = \"Mill Lane Club\"\nsite = [{greens}]\n\
         recipient = [{{ id = \"club-keeper\", name = \"the keeper\", console = true }}]\n"
    );
    let few = Page::of_site(&site);
    assert!(!few.get("/").body.contains("name=\"find\""));
    let text = std::fs::read_to_string(&site.config).unwrap();
    std::fs::write(&site.config, text + &club).unwrap();
    let page = Page::of_site(&site);
    assert!(page.get("/").body.contains("name=\"find\""));
    let found = page.get("/?find=mill+lane").text();
    assert!(found.contains("30 sites found."), "{found}");
    assert!(
        found.contains("Green 30") && !found.contains("The lawn"),
        "{found}"
    );
    let one = page.get("/?find=GREEN+17").text();
    assert!(
        one.contains("1 site found.") && !one.contains("Green 18"),
        "{one}"
    );
    let none = page.get("/?find=%3Cb%3E");
    assert!(none.text().contains("No site or member of that name."));
    assert!(!none.body.contains("<b>"));
}
