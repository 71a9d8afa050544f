//! Every address of the page, by every method, with the key of everybody else: nobody sees another
//! member's site, and nobody changes anything there. The router itself says which addresses there are.

use crate::support::page::{CONFIG, RunningPage, co_op, get};
use hatchbell::web::addresses;
use reqwest::Method;
use std::collections::BTreeMap;

const METHODS: [&str; 6] = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"];

/// What a page shows of a member, whom not everybody may see.
fn marks_of(member: &str) -> [String; 2] {
    [format!("Turf of {member}"), format!("Club {member}")]
}

/// Everything that is stored, but for keys and for who came: rows by table.
fn stored(page: &RunningPage) -> BTreeMap<String, Vec<String>> {
    let own = ["session", "sign_in_link", "audit"];
    let database = page.database();
    let sql = "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name";
    let mut statement = database.prepare(sql).unwrap();
    let tables = statement.query_map([], |row| row.get::<_, String>(0));
    let tables: Vec<String> = tables.unwrap().map(Result::unwrap).collect();
    let tables = tables
        .into_iter()
        .filter(|name| !own.contains(&name.as_str()));
    tables
        .map(|table| {
            let mut rows = database.prepare(&format!("SELECT * FROM {table}")).unwrap();
            let columns = rows.column_count();
            let rows = rows.query_map([], |row| {
                let values = (0..columns).map(|at| row.get_ref(at).map(|one| format!("{one:?}")));
                values
                    .collect::<Result<Vec<_>, _>>()
                    .map(|all| all.join(" "))
            });
            (table, rows.unwrap().map(Result::unwrap).collect())
        })
        .collect()
}

/// Every address for a site of somebody, and some that are none.
fn paths(site: &str) -> Vec<(String, bool)> {
    let mut all: Vec<(String, bool)> = addresses()
        .into_iter()
        .map(|address| {
            let parts = address.path.split('/').map(|part| match part {
                "{site}" => site,
                part if part.starts_with('{') => "1",
                part => part,
            });
            let path = parts.collect::<Vec<_>>().join("/");
            (path, address.admits_strangers)
        })
        .collect();
    all.extend(["/nothing", "/sites", "/sites/nowhere"].map(|path| (path.to_owned(), false)));
    all
}

#[tokio::test]
async fn with_the_key_of_another_member_no_address_and_no_method_shows_or_changes_a_site() {
    let config = co_op("sign_in = true").replace("email = \"", "web_push = true, email = \"");
    let page = RunningPage::start(&config);
    // Number 1, as everything in an address: a browser that is not theirs.
    let browser = "INSERT INTO web_push_browser (recipient, member, endpoint, public_key, auth, label, session, made_at)
                   VALUES ('b-owner', 'b', 'https://push.example.org/1', '', '', 'Club b', '', datetime())";
    page.database().execute(browser, []).unwrap();
    let cookie = page.sign_in("a-owner@three-brooks.example").await;
    let form_key = page.form_key(&cookie).await;
    let token = page.token(&["a-owner"]);
    let before = stored(&page);
    let forms = format!("form_key={form_key}&site=b-lawn&day=2026-02-19&kind=note&text=x");
    let mut asked = 0;
    let mut all: Vec<(&str, String)> = Vec::new();
    for site in ["b-lawn", "c-lawn"] {
        all.extend(paths(site).into_iter().map(|(path, _)| (site, path)));
    }
    // What ends the session comes last.
    all.sort_by_key(|(_, path)| path == "/sign-out");
    {
        for (site, path) in all {
            for method in METHODS {
                for key in ["token", "session", "none"] {
                    let method: Method = method.parse().unwrap();
                    let request = page.browser(method.clone(), &path);
                    let request = match key {
                        "session" => request.header("Cookie", &cookie),
                        "token" => request.header("Authorization", format!("Bearer {token}")),
                        _ => request,
                    };
                    let request = request
                        .header("Content-Type", "application/x-www-form-urlencoded")
                        .body(forms.clone());
                    let (status, body) = get(request).await;
                    let what = format!("{method} {path} with {key}: {status} {body}");
                    for mark in marks_of("b").into_iter().chain(marks_of("c")) {
                        assert!(!body.contains(&mark), "{what}");
                    }
                    // Before the first cycle the service is not ready.
                    let is_health = path == "/readyz" || path == "/healthz";
                    assert!(status < 500 || is_health, "{what}");
                    if key != "none" && method == Method::GET && path.contains(site) {
                        // Some addresses only take forms.
                        assert!(status == 404 || status == 405, "{what}");
                    }
                    asked += 1;
                }
            }
        }
    }
    assert!(asked > 300, "{asked}");
    assert_eq!(stored(&page), before);
    // Not because nothing is shown at all: the session has ended, the token has not.
    let own = page.browser(Method::GET, "/sites/a-lawn");
    let own = own.header("Authorization", format!("Bearer {token}"));
    let (status, body) = get(own).await;
    assert_eq!(status, 200);
    assert!(body.contains("Turf of a"), "{body}");
}

#[tokio::test]
async fn a_site_of_somebody_else_and_one_that_is_not_there_are_answered_alike() {
    let page = RunningPage::start(&co_op("sign_in = true"));
    let cookie = page.sign_in("a-owner@three-brooks.example").await;
    let ask = |path: &str| get(page.browser(Method::GET, path).header("Cookie", &cookie));
    let foreign = ask("/sites/b-lawn").await;
    assert_eq!(foreign, ask("/sites/nowhere").await);
    assert_eq!(foreign.0, 404);
}

#[tokio::test]
async fn without_a_key_every_address_that_is_not_open_leads_to_the_sign_in_and_says_nothing() {
    let page = RunningPage::start(&co_op("sign_in = true"));
    let open: Vec<String> = addresses()
        .into_iter()
        .filter(|address| address.admits_strangers)
        .map(|address| address.path.into_owned())
        .collect();
    let expected = [
        "/sign-in",
        "/sign-in/sent",
        "/sign-in/{link}",
        "/notices.js",
        "/notices-worker.js",
        "/style.css",
        "/icon.svg",
        "/task/{message}/{site}/{key}",
        "/tasks/{message}/{key}",
        "/calendar/{recipient}/{key}",
        "/stop-mail/{recipient}/{key}",
        "/stop-mail/{recipient}/{key}/undo",
        "/livez",
        "/readyz",
        "/healthz",
    ];
    assert_eq!(open, expected);
    for (path, admits_strangers) in paths("a-lawn") {
        for method in METHODS {
            let method: Method = method.parse().unwrap();
            let looks = method == Method::GET || method == Method::HEAD;
            let answer = page.browser(method.clone(), &path).send().await.unwrap();
            let (status, location) = (answer.status(), answer.headers().get("location").cloned());
            let body = answer.text().await.unwrap();
            let what = format!("{method} {path}: {status} {body}");
            for member in ["a", "b", "c"] {
                for mark in marks_of(member) {
                    assert!(!body.contains(&mark), "{what}");
                }
            }
            if admits_strangers {
                continue;
            }
            if looks {
                assert_eq!(
                    (status.as_u16(), location.unwrap()),
                    (303, "/sign-in".parse().unwrap()),
                    "{what}"
                );
            } else {
                assert_eq!(status, 401, "{what}");
            }
            let program = page.client.request(method, format!("{}{path}", page.base));
            assert_eq!(program.send().await.unwrap().status(), 401, "{what}");
        }
    }
}

#[tokio::test]
async fn a_manager_sees_the_members_they_manage_and_the_operator_all_and_what_is_wrong() {
    let page = RunningPage::start(&co_op("sign_in = true"));
    // A message that does not arrive is the service's trouble.
    let lost = "INSERT INTO outbox (message_id, recipient, channel, title, body, created_at, next_try_at, state, last_error)
                VALUES ('x', 'b-owner', 'email', 'lost', '', datetime(), datetime(), 'given-up', 'no such mailbox')";
    page.database().execute(lost, []).unwrap();
    let sees = async |who: &str| {
        let token = page.token(&[who]);
        let request = page.browser(Method::GET, "/");
        let request = request.header("Authorization", format!("Bearer {token}"));
        let (status, week) = get(request).await;
        assert_eq!(status, 200);
        let members = ["a", "b", "c"].into_iter();
        let seen: String = members
            .filter(|one| week.contains(&marks_of(one)[0]))
            .collect();
        (seen, week.contains("no such mailbox"))
    };
    // Twice: the second time by what was kept.
    for _ in 0..2 {
        assert_eq!(sees("a-owner").await, ("a".to_owned(), false));
        assert_eq!(sees("a-reader").await, ("a".to_owned(), false));
        assert_eq!(sees("b-owner").await, ("b".to_owned(), false));
        assert_eq!(sees("b-manager").await, ("ab".to_owned(), false));
        assert_eq!(sees("desk").await, ("abc".to_owned(), true));
    }
    let refused = page
        .workshop
        .run(&[&["member", "token", "a-mute"], &CONFIG[..]].concat());
    assert!(!refused.status.success());
}
