//! Signing in to the page, and what keeps others out.

use crate::support::command::both;
use crate::support::page::{CONFIG, RunningPage, co_op, cookie_of, get};
use reqwest::Method;
use std::time::{Duration, Instant};

const SIGN_IN: &str = "sign_in = true";
const OWNER: &str = "a-owner@three-brooks.example";

/// What a page answers to a key in a cookie.
async fn with_cookie(page: &RunningPage, cookie: &str) -> u16 {
    let request = page.browser(Method::GET, "/sites/a-lawn");
    get(request.header("Cookie", cookie)).await.0
}

async fn with_token(page: &RunningPage, token: &str) -> u16 {
    let request = page.browser(Method::GET, "/sites/a-lawn");
    let request = request.header("Authorization", format!("Bearer {token}"));
    get(request).await.0
}

#[tokio::test]
async fn a_link_signs_in_once_by_its_button_even_in_quiet_hours_and_no_key_is_stored() {
    let page = RunningPage::start(&co_op(SIGN_IN));
    // The clock of the demonstration stands in their quiet hours; a link that they wait for comes all the same.
    let link = page.link_for(OWNER).await;
    for method in [Method::GET, Method::HEAD, Method::GET] {
        let answer = page.browser(method, &link).send().await.unwrap();
        assert_eq!(answer.status(), 200);
        assert!(answer.headers().get("set-cookie").is_none());
        assert_eq!(answer.headers()["cache-control"], "no-store");
    }
    let (_, shown) = get(page.browser(Method::GET, &link)).await;
    assert!(shown.contains("Sign in as the a-owner"), "{shown}");

    let elsewhere = page.client.post(format!("{}{link}", page.base));
    let elsewhere = elsewhere.header("Origin", "https://other.example");
    assert_eq!(get(elsewhere).await.0, 403);

    let answer = page.browser(Method::POST, &link).send().await.unwrap();
    assert_eq!(answer.status(), 303);
    let cookie = answer.headers()["set-cookie"].to_str().unwrap().to_owned();
    assert!(
        cookie.starts_with("hatchbell=")
            && cookie.ends_with("; Path=/; HttpOnly; SameSite=Lax; Max-Age=2592000"),
        "{cookie}"
    );
    let cookie = cookie_of(&answer);
    assert_eq!(with_cookie(&page, &cookie).await, 200);

    let again = page.browser(Method::POST, &link).send().await.unwrap();
    assert!(again.headers().get("set-cookie").is_none());
    let (_, shown) = get(page.browser(Method::GET, &link)).await;
    assert!(shown.contains("no longer good"), "{shown}");

    let key = &cookie["hatchbell=".len()..];
    for file in ["hatchbell.db", "hatchbell.db-wal"] {
        let bytes = std::fs::read(page.workshop.path(file)).unwrap_or_default();
        let holds = bytes.windows(key.len()).any(|part| part == key.as_bytes());
        assert!(!holds, "{file}");
    }
    // The message that was sent has the link no more.
    let body = "SELECT body FROM outbox WHERE kinds = 'sign-in'";
    let body: String = page
        .database()
        .query_row(body, [], |row| row.get(0))
        .unwrap();
    assert_eq!(body, "");
    let audit = page.audit();
    assert!(
        audit.contains("a-owner (email): asked for a link page, from 127.0.0.1"),
        "{audit}"
    );
    assert!(
        audit.contains("a-owner (link): signed in page, from 127.0.0.1"),
        "{audit}"
    );
}

#[tokio::test]
async fn links_and_sessions_lapse_and_a_session_ends_by_its_button() {
    let page = RunningPage::start(&co_op(SIGN_IN));
    let (link, cookie) = (page.link_for(OWNER).await, page.sign_in(OWNER).await);
    let life = "SELECT (julianday(lapses_at) - julianday('now')) * 1440 FROM sign_in_link";
    let minutes: f64 = page
        .database()
        .query_row(life, [], |row| row.get(0))
        .unwrap();
    assert!(minutes > 5.0 && minutes <= 15.0, "{minutes}");
    for table in ["sign_in_link", "session"] {
        let past = format!("UPDATE {table} SET lapses_at = '2026-01-01 00:00:00+00:00'");
        assert_eq!(page.database().execute(&past, []).unwrap(), 1);
    }
    assert_eq!(with_cookie(&page, &cookie).await, 303);
    let answer = page.browser(Method::POST, &link).send().await.unwrap();
    assert!(answer.headers().get("set-cookie").is_none());

    let cookie = page.sign_in(OWNER).await;
    let form_key = page.form_key(&cookie).await;
    let out = page
        .browser(Method::POST, "/sign-out")
        .header("Cookie", &cookie);
    let out = out.header("Content-Type", "application/x-www-form-urlencoded");
    let answer = out
        .body(format!("form_key={form_key}"))
        .send()
        .await
        .unwrap();
    assert_eq!(answer.status(), 303);
    assert!(
        answer.headers()["set-cookie"]
            .to_str()
            .unwrap()
            .contains("Max-Age=0")
    );
    assert_eq!(with_cookie(&page, &cookie).await, 303);
    assert!(page.audit().contains("a-owner (session): POST /sign-out"));
}

#[tokio::test]
async fn an_unknown_address_is_answered_as_a_known_one_and_who_asks_too_often_waits() {
    let page = RunningPage::start(&co_op(SIGN_IN));
    let ask = async |who: &str| {
        let request = page.browser(Method::POST, "/sign-in");
        let request = request.header("Content-Type", "application/x-www-form-urlencoded");
        let answer = request.body(format!("who={who}")).send().await.unwrap();
        let mut headers = answer.headers().clone();
        headers.remove("date");
        let wait = headers.remove("retry-after");
        let status = answer.status().as_u16();
        (status, wait, headers, answer.text().await.unwrap())
    };
    let unknown = "nobody@three-brooks.example";
    for _ in 0..3 {
        let known = ask(OWNER).await;
        assert_eq!(known.0, 303);
        assert_eq!(known, ask(unknown).await);
        assert_eq!(ask("a-mute").await.0, 303);
    }
    for who in [OWNER, unknown, "A-OWNER@three-brooks.example"] {
        let (status, wait, ..) = ask(who).await;
        let wait: u64 = wait.unwrap().to_str().unwrap().parse().unwrap();
        assert_eq!(status, 429);
        assert!((120..=301).contains(&wait), "{wait}");
    }
    // By now a dozen tries of this client; after twenty it waits, whoever it asks for.
    let mut refused = 0;
    for number in 0..16 {
        refused += usize::from(ask(&format!("n{number}@three-brooks.example")).await.0 == 429);
    }
    assert!(refused > 0);
    let told = "SELECT group_concat(DISTINCT recipient) FROM outbox";
    // Links are written after the answer, which tells nothing of them.
    let begun = Instant::now();
    let told = loop {
        let told: Option<String> = page
            .database()
            .query_row(told, [], |row| row.get(0))
            .unwrap();
        if let Some(told) = told {
            break told;
        }
        assert!(begun.elapsed() < Duration::from_secs(30), "no link");
        tokio::time::sleep(Duration::from_millis(20)).await;
    };
    assert_eq!(told, "a-owner");
}

#[tokio::test]
async fn what_another_site_sends_in_somebodys_name_changes_nothing() {
    let page = RunningPage::start(&co_op(SIGN_IN));
    let cookie = page.sign_in(OWNER).await;
    let form_key = page.form_key(&cookie).await;
    let other = page.sign_in("b-owner@three-brooks.example").await;
    let of_other = page.form_key(&other).await;
    let post = |origin: Option<&str>, site: Option<&str>, body: String| {
        let mut request = page.client.post(format!("{}/sign-out", page.base));
        for (name, value) in [("Origin", origin), ("Sec-Fetch-Site", site)] {
            request = value.map_or(request.try_clone().unwrap(), |value| {
                request.header(name, value)
            });
        }
        let request = request.header("Cookie", &cookie);
        let form = "application/x-www-form-urlencoded";
        get(request.header("Content-Type", form).body(body))
    };
    let own = Some(page.base.as_str());
    let good = format!("form_key={form_key}");
    for (origin, site, body) in [
        (Some("https://other.example"), None, good.clone()),
        (own, Some("cross-site"), good.clone()),
        (None, None, good.clone()),
        (own, Some("same-origin"), String::new()),
        (own, Some("same-origin"), format!("form_key={of_other}")),
        (own, Some("same-origin"), "form_key=".to_owned()),
    ] {
        let (status, _) = post(origin, site, body.clone()).await;
        assert_eq!(status, 403, "{origin:?} {site:?} {body}");
        assert_eq!(with_cookie(&page, &cookie).await, 200);
    }
    assert_eq!(post(own, Some("same-origin"), good).await.0, 303);
    assert_eq!(with_cookie(&page, &cookie).await, 303);
}

#[tokio::test]
async fn a_token_is_good_until_it_is_revoked_or_lapses_and_only_its_hash_is_stored() {
    let page = RunningPage::start(&co_op(SIGN_IN));
    let (token, reading) = (
        page.token(&["a-owner"]),
        page.token(&["a-owner", "--read-only"]),
    );
    let lapsing = page.token(&["a-owner", "--days", "1"]);
    for token in [&token, &reading, &lapsing] {
        assert_eq!(with_token(&page, token).await, 200);
        for file in ["hatchbell.db", "hatchbell.db-wal"] {
            let bytes = std::fs::read(page.workshop.path(file)).unwrap_or_default();
            assert!(
                !bytes.windows(64).any(|part| part == token.as_bytes()),
                "{file}"
            );
        }
    }
    // Nothing takes a POST there, but who may only look is told so before.
    let post = async |token: &str| {
        let request = page.client.post(format!("{}/sites/a-lawn", page.base));
        get(request.header("Authorization", format!("bearer {token}")))
            .await
            .0
    };
    assert_eq!((post(&token).await, post(&reading).await), (405, 403));
    assert_eq!(post(&page.token(&["a-reader"])).await, 403);

    let past = "UPDATE page_token SET lapses_at = '2026-01-01 00:00:00+00:00' WHERE id = 3";
    page.database().execute(past, []).unwrap();
    let revoke = |id: &str| {
        page.workshop
            .run(&[&["member", "revoke", id], &CONFIG[..]].concat())
    };
    assert!(revoke("1").status.success());
    assert!(!revoke("1").status.success());
    assert_eq!(with_token(&page, &token).await, 401);
    assert_eq!(with_token(&page, &lapsing).await, 401);
    assert_eq!(with_token(&page, &reading).await, 200);
    assert_eq!(with_token(&page, "nonsense").await, 401);
    let listed = page
        .workshop
        .succeeds(&[&["member", "tokens"], &CONFIG[..]].concat());
    assert!(
        listed.contains("1  a-owner: may do what they may, revoked 20"),
        "{listed}"
    );
    assert!(
        listed.contains("2  a-owner: read only, good until 20"),
        "{listed}"
    );
    assert!(
        listed.contains("3  a-owner: may do what they may, lapsed 2026-01-01"),
        "{listed}"
    );
    let audit = page.audit();
    assert!(audit.contains("(command): made a token token 1"), "{audit}");
    assert!(audit.contains("(command): revoked token 1"), "{audit}");
}

#[tokio::test]
async fn whoever_leaves_the_configuration_loses_their_keys_for_good() {
    let config = co_op(SIGN_IN);
    let page = RunningPage::start(&config);
    let (cookie, token) = (page.sign_in(OWNER).await, page.token(&["a-owner"]));
    let stays = page.token(&["a-reader"]);
    let reload = |text: &str| {
        page.workshop.write("hatchbell.toml", text);
        let output = page.workshop.run(&[&["reload"], &CONFIG[..]].concat());
        assert!(output.status.success(), "{}", both(&output));
    };
    reload(&config.replace("\"a-owner\"", "\"a-successor\""));
    assert_eq!(with_cookie(&page, &cookie).await, 303);
    assert_eq!(with_token(&page, &token).await, 401);
    // Somebody of the same id comes later.
    reload(&config);
    assert_eq!(with_cookie(&page, &cookie).await, 303);
    assert_eq!(with_token(&page, &token).await, 401);
    assert_eq!(with_token(&page, &stays).await, 200);
    assert!(
        page.audit()
            .contains("(configuration): revoked keys a-owner")
    );

    let cookie = page.sign_in(OWNER).await;
    let ended = page
        .workshop
        .succeeds(&[&["member", "sign-out", "a-owner"], &CONFIG[..]].concat());
    assert_eq!(ended, "1 session of a-owner ended\n");
    assert_eq!(with_cookie(&page, &cookie).await, 303);
}

#[tokio::test]
async fn a_page_that_is_reached_by_https_answers_to_that_name_and_gives_cookies_to_it_alone() {
    let web = "sign_in = true\naddress = \"https://turf.three-brooks.example/\"";
    let page = RunningPage::start(&co_op(web));
    let origin = "https://turf.three-brooks.example";
    let host = "turf.three-brooks.example";
    let link = page.link_for_origin(OWNER, origin, host).await;
    let request = page.client.post(format!("{}{link}", page.base));
    let request = request.header("Host", host).header("Origin", origin);
    let answer = request.send().await.unwrap();
    let cookie = answer.headers()["set-cookie"].to_str().unwrap();
    assert!(
        cookie.starts_with("__Host-hatchbell=") && cookie.ends_with("; Secure"),
        "{cookie}"
    );
    assert!(cookie.contains("; Path=/; HttpOnly; SameSite=Lax;") && !cookie.contains("Domain"));
    // The plain name is not taken: another page of this machine could have set it.
    let plain = cookie_of(&answer).replace("__Host-", "");
    assert_eq!(with_cookie(&page, &plain).await, 303);
    assert_eq!(with_cookie(&page, &cookie_of(&answer)).await, 200);
    let printed = page.workshop.read("stdout");
    assert!(printed.contains(&format!("{origin}/sign-in/")), "{printed}");
    for host in [
        "rebound.example",
        "turf.three-brooks.example.rebound.example",
    ] {
        let request = page
            .client
            .get(format!("{}/sign-in", page.base))
            .header("Host", host);
        assert_eq!(get(request).await.0, 421, "{host}");
    }
}

#[tokio::test]
async fn without_sign_in_whoever_is_on_this_machine_is_the_operator_and_another_site_is_not() {
    let page = RunningPage::start(&co_op(""));
    let (status, week) = get(page.browser(Method::GET, "/")).await;
    assert_eq!(status, 200);
    assert!(
        ["a", "b", "c"]
            .iter()
            .all(|one| week.contains(&format!("Turf of {one}"))),
        "{week}"
    );
    // A forged form is refused here too, and a token narrows what is seen.
    let forged = page.client.post(format!("{}/sign-out", page.base));
    assert_eq!(
        get(forged.header("Origin", "https://other.example"))
            .await
            .0,
        403
    );
    let token = page.token(&["b-owner"]);
    assert_eq!(with_token(&page, &token).await, 404);
    // Once the page is taken away there is none, with the door open to nobody.
    let config = co_op("").replace("[web]\nlisten = \"127.0.0.1:0\"", "");
    page.workshop.write("hatchbell.toml", &config);
    let output = page.workshop.run(&[&["reload"], &CONFIG[..]].concat());
    assert!(output.status.success(), "{}", both(&output));
    assert_eq!(get(page.browser(Method::GET, "/")).await.0, 503);
}

#[tokio::test]
async fn a_proxy_is_believed_only_if_it_is_configured() {
    for (web, client) in [
        (SIGN_IN, "127.0.0.1"),
        ("sign_in = true\nproxies = [\"127.0.0.1\"]", "203.0.113.9"),
    ] {
        let page = RunningPage::start(&co_op(web));
        let link = page.link_for(OWNER).await;
        let request = page.browser(Method::POST, &link);
        let request = request.header("X-Forwarded-For", "198.51.100.1, 203.0.113.9");
        assert_eq!(get(request).await.0, 303);
        let expected = format!("signed in page, from {client}\n");
        assert!(page.audit().contains(&expected), "{}", page.audit());
    }
}

#[tokio::test]
async fn below_a_path_links_to_sign_in_and_cookies_are_for_that_path() {
    let below = "sign_in = true\naddress = \"http://localhost/turf\"";
    let page = RunningPage::start(&co_op(below));
    let request = page.browser(Method::POST, "/turf/sign-in");
    let request = request.header("Content-Type", "application/x-www-form-urlencoded");
    let answer = request.body(format!("who={OWNER}")).send().await.unwrap();
    assert_eq!(answer.headers()["location"], "/turf/sign-in/sent");
    let link = page.link_for(OWNER).await;
    assert!(
        page.workshop
            .read("stdout")
            .contains("http://localhost/turf/sign-in/")
    );
    let below = format!("/turf{link}");
    let answer = page.browser(Method::POST, &below).send().await.unwrap();
    assert_eq!(answer.headers()["location"], "/turf/");
    let cookie = answer.headers()["set-cookie"].to_str().unwrap();
    assert!(cookie.contains("; Path=/turf/; "), "{cookie}");
    assert_eq!(with_cookie(&page, &cookie_of(&answer)).await, 200);
}

#[tokio::test]
async fn everybody_reads_the_page_in_their_own_units_and_dates_and_programs_in_those_of_the_service()
 {
    let own = "id = \"a-owner\", units = \"us\", dates = \"%B %-d\"";
    let text = co_op(SIGN_IN).replace("id = \"a-owner\"", own);
    let page = RunningPage::start(&text);
    let read = async |cookie: &str| {
        let request = page.browser(Method::GET, "/sites/a-lawn");
        get(request.header("Cookie", cookie)).await.1
    };
    let owner = page.sign_in(OWNER).await;
    let reader = page.sign_in("a-reader@three-brooks.example").await;
    for _ in 0..2 {
        let (theirs, usual) = (read(&owner).await, read(&reader).await);
        assert!(
            theirs.contains("°F·d") && !theirs.contains("°C"),
            "{theirs}"
        );
        assert!(theirs.contains("February 20"), "{theirs}");
        assert!(usual.contains("°C·d") && !usual.contains("°F"), "{usual}");
        assert!(usual.contains("20 February"), "{usual}");
    }
    let token = page.token(&["a-owner"]);
    let request = page.browser(Method::GET, "/api/v1/week");
    let request = request.header("Authorization", format!("Bearer {token}"));
    assert!(!get(request).await.1.contains("°F"));
}
