//! The page on which people turn on notices in a browser.

use crate::support::page::{CONFIG, RunningPage, co_op, get};
use reqwest::Method;

const OWNER: &str = "a-owner@three-brooks.example";
const READER: &str = "a-reader@three-brooks.example";

fn config() -> String {
    let text = co_op("sign_in = true");
    text.replace("email = \"a-", "web_push = true, email = \"a-")
}

/// A browser's key and authentication secret: those of RFC 8291, appendix A.
const BROWSER: &str = "key=BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4&auth=BTBZMqHH6r4Tts7J_aSIgg";

/// Somebody who is signed in.
struct Person<'p> {
    page: &'p RunningPage,
    cookie: String,
    form_key: String,
}

impl<'p> Person<'p> {
    async fn sign_in(page: &'p RunningPage, who: &str) -> Self {
        let cookie = page.sign_in(who).await;
        let form_key = page.form_key(&cookie).await;
        Self {
            page,
            cookie,
            form_key,
        }
    }

    async fn post(&self, path: &str, fields: &str) -> (u16, String) {
        let request = self.page.browser(Method::POST, path);
        let request = request
            .header("Cookie", &self.cookie)
            .header("Content-Type", "application/x-www-form-urlencoded");
        get(request.body(format!("form_key={}&{fields}", self.form_key))).await
    }

    async fn turn_on(&self, endpoint: &str, label: &str) -> (u16, String) {
        let fields = format!("endpoint={endpoint}&label={label}&{BROWSER}");
        self.post("/notices", &fields).await
    }

    async fn notices(&self) -> String {
        let request = self.page.browser(Method::GET, "/notices");
        get(request.header("Cookie", &self.cookie)).await.1
    }
}

fn labels(page: &RunningPage) -> Vec<String> {
    let database = page.database();
    let sql = "SELECT recipient || ' ' || label FROM web_push_browser ORDER BY id";
    let mut statement = database.prepare(sql).unwrap();
    let rows = statement.query_map([], |row| row.get(0)).unwrap();
    rows.map(Result::unwrap).collect()
}

#[tokio::test]
async fn a_viewer_turns_notices_on_and_off_in_their_own_browsers_alone() {
    let page = RunningPage::start(&config());
    let owner = Person::sign_in(&page, OWNER).await;
    let reader = Person::sign_in(&page, READER).await;
    let shown = owner.notices().await;
    assert!(shown.contains("data-key=\"B"), "{shown}");
    let (status, said) = owner
        .turn_on("https://push.example.org/1", "the+phone")
        .await;
    assert_eq!(status, 303, "{said}");
    // What a reader changes here is their own.
    assert_eq!(
        reader
            .turn_on("https://push.example.org/2", "a+desk")
            .await
            .0,
        303
    );
    assert_eq!(labels(&page), ["a-owner the phone", "a-reader a desk"]);
    let shown = owner.notices().await;
    assert!(
        shown.contains("the phone, since") && !shown.contains("a desk"),
        "{shown}"
    );
    assert!(!shown.contains("push.example.org"), "{shown}");
    assert_eq!(owner.post("/notices/2/end", "").await.0, 404);
    assert_eq!(reader.post("/notices/2/end", "").await.0, 303);
    assert_eq!(labels(&page), ["a-owner the phone"]);
    // Whoever has no such notices has no form and cannot send one.
    let other = Person::sign_in(&page, "b-owner@three-brooks.example").await;
    assert!(!other.notices().await.contains("data-key"));
    assert_eq!(
        other.turn_on("https://push.example.org/3", "x").await.0,
        404
    );
    // A program has no browser.
    let token = page.token(&["a-owner"]);
    let request = page.browser(Method::POST, "/notices/1/end");
    let request = request.header("Authorization", format!("Bearer {token}"));
    assert_eq!(get(request).await.0, 404);
    assert_eq!(labels(&page), ["a-owner the phone"]);
}

#[tokio::test]
async fn a_browser_that_leads_into_the_own_network_or_has_no_name_is_refused() {
    let page = RunningPage::start(&config());
    let owner = Person::sign_in(&page, OWNER).await;
    for (endpoint, label) in [
        ("http://push.example.org/1", "x"),
        ("https://127.0.0.1/1", "x"),
        ("https://192.168.1.1/1", "x"),
        ("https://push.example.org/1", "+"),
        ("https://push.example.org/1", "a%0Ab"),
    ] {
        let (status, said) = owner.turn_on(endpoint, label).await;
        assert_eq!(status, 422, "{endpoint} {label:?}: {said}");
    }
    assert_eq!(labels(&page), [] as [&str; 0]);
}

#[tokio::test]
async fn signing_out_where_they_were_turned_on_or_by_the_operator_ends_them() {
    let page = RunningPage::start(&config());
    let first = Person::sign_in(&page, OWNER).await;
    let second = Person::sign_in(&page, OWNER).await;
    first.turn_on("https://push.example.org/1", "one").await;
    second.turn_on("https://push.example.org/2", "two").await;
    assert_eq!(first.post("/sign-out", "").await.0, 303);
    assert_eq!(labels(&page), ["a-owner two"]);
    let out = [&["member", "sign-out", "a-owner"], &CONFIG[..]].concat();
    page.workshop.succeeds(&out);
    assert_eq!(labels(&page), [] as [&str; 0]);
}

#[tokio::test]
async fn this_page_alone_may_run_a_script_and_only_its_own() {
    let page = RunningPage::start(&config());
    let owner = Person::sign_in(&page, OWNER).await;
    for path in [
        "/notices",
        "/",
        "/sites/a-lawn",
        "/sign-in",
        "/notices-worker.js",
        "/nothing",
    ] {
        let request = page
            .browser(Method::GET, path)
            .header("Cookie", &owner.cookie);
        let answer = request.send().await.unwrap();
        let policies: Vec<_> = answer
            .headers()
            .get_all("content-security-policy")
            .iter()
            .collect();
        assert_eq!(policies.len(), 1, "{path}");
        let policy = policies[0].to_str().unwrap();
        assert!(
            policy.starts_with("default-src 'none'; "),
            "{path}: {policy}"
        );
        let allows = policy.contains("script-src 'self'; worker-src 'self';");
        assert_eq!(allows, path == "/notices", "{path}: {policy}");
        assert_eq!(
            policy.contains("script"),
            path == "/notices",
            "{path}: {policy}"
        );
    }
}

#[tokio::test]
async fn the_private_part_of_the_key_is_shown_to_nobody_and_made_once() {
    let page = RunningPage::start(&config());
    let note = |name: &str| {
        let sql = "SELECT value FROM note WHERE name = ?1";
        let value = page
            .database()
            .query_row(sql, [name], |row| row.get::<_, String>(0));
        value.unwrap()
    };
    let private = note("web-push-private-key");
    let owner = Person::sign_in(&page, OWNER).await;
    let shown = owner.notices().await;
    assert!(shown.contains(&note("web-push-public-key")));
    assert!(!shown.contains(&private));
    let written = page.workshop.read("stderr") + &page.workshop.read("stdout");
    assert!(!written.contains(&private));
    assert_eq!(note("web-push-private-key"), private);
}
