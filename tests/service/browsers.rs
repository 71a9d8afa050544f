//! Messages to browsers: each browser has its own, none is lost, and one that is gone is told of once.

use super::delivery::{Post, noon};
use crate::support::http_server::{Reply, ScriptedServer};
use chrono::TimeDelta;
use hatchbell::domain::place::site::Channel;
use hatchbell::key::Key;
use hatchbell::secret::Secret;
use hatchbell::store::browsers::{BrowserSaid, NewBrowser};
use hatchbell::store::page_keys::KeyOwner;

const PAGE: &str = "[web]\nsign_in = true\nown_push_services = [\"127.0.0.1\"]\n";

fn answering(statuses: &[u16]) -> ScriptedServer {
    let replies = statuses.iter().map(|status| Reply::of(*status, &[], ""));
    ScriptedServer::start(replies.collect())
}

/// Turns the keeper's notices on in a browser.
fn turn_on(post: &mut Post, url: &str, label: &str) {
    let owner = KeyOwner {
        recipient: "keeper".to_owned(),
        member: "member".to_owned(),
    };
    // The key is that of RFC 8291, appendix A.
    let said = BrowserSaid {
        endpoint: Secret::new(url.to_owned()),
        key: "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4".to_owned(),
        auth: Secret::new("BTBZMqHH6r4Tts7J_aSIgg".to_owned()),
    };
    let new = NewBrowser {
        owner: &owner,
        session: &Key::random().unwrap().hash(),
        said: &said,
        label,
        now: post.engine.clock.now(),
    };
    assert!(post.engine.store.keep_browser(&new).unwrap());
}

fn write(post: &mut Post) {
    post.write_for("keeper", "member", Channel::WebPush);
}

fn ids(post: &Post) -> Vec<String> {
    post.column("SELECT message_id FROM outbox ORDER BY id")
}

#[tokio::test]
async fn each_browser_has_a_message_of_its_own_and_only_what_failed_is_sent_again() {
    let (works, fails) = (answering(&[201]), answering(&[503, 201]));
    let mut post = Post::new("web_push = true", PAGE);
    turn_on(&mut post, &works.url("/a"), "the desk");
    turn_on(&mut post, &fails.url("/b"), "the phone");
    write(&mut post);
    let before = ids(&post);
    assert_eq!(before.len(), 2);
    assert_ne!(before[0], before[1]);
    assert_eq!(post.deliver().await.sent, 1);
    assert_eq!(post.states(), ["keeper sent 1", "keeper waiting 1"]);
    post.later(TimeDelta::hours(1));
    assert_eq!(post.deliver().await.sent, 1);
    assert_eq!((works.exchanges().len(), fails.exchanges().len()), (1, 2));
    assert_eq!(ids(&post), before);
}

#[tokio::test]
async fn a_browser_that_is_gone_is_forgotten_and_its_owner_told_once() {
    let gone = answering(&[410]);
    let mut post = Post::new("web_push = true\nfile = \"said\"", PAGE);
    turn_on(&mut post, &gone.url("/a"), "the phone");
    write(&mut post);
    write(&mut post);
    post.deliver().await;
    post.deliver().await;
    assert_eq!(post.engine.store.browsers().unwrap().len(), 0);
    assert_eq!(gone.exchanges().len(), 1);
    let said = post.workshop.read("said");
    assert_eq!(
        said.matches("\"the phone\" takes notices no more").count(),
        1,
        "{said}"
    );
    // What waited for it comes by the other way as well, so nothing is left.
    assert_eq!(post.states(), ["keeper sent 1"]);
}

#[tokio::test]
async fn what_waited_for_a_browser_that_is_gone_goes_to_another_under_the_same_id() {
    let (gone, other) = (answering(&[404]), answering(&[201]));
    let mut post = Post::new("web_push = true", PAGE);
    turn_on(&mut post, &gone.url("/a"), "the old phone");
    write(&mut post);
    let before = ids(&post);
    turn_on(&mut post, &other.url("/b"), "the new phone");
    // Of one instant and text it would be a copy of the first.
    post.later(TimeDelta::minutes(1));
    write(&mut post);
    post.deliver().await;
    post.deliver().await;
    // The second had a copy for each browser, so the new one got it once.
    assert_eq!(other.exchanges().len(), 2);
    assert_eq!(post.states(), ["keeper sent 2", "keeper sent 1"]);
    assert_eq!(ids(&post)[0], before[0]);
}

#[tokio::test]
async fn whoever_has_no_other_way_gets_what_waited_once_they_turn_notices_on() {
    let mut post = Post::new("web_push = true", PAGE);
    write(&mut post);
    let before = ids(&post);
    assert_eq!(post.deliver().await.unsent, 1);
    assert_eq!(post.states(), ["keeper waiting 1"]);
    let problem = post.column("SELECT last_error FROM outbox");
    assert!(
        problem[0].contains("no browser takes this recipient's notices"),
        "{problem:?}"
    );
    let works = answering(&[201]);
    turn_on(&mut post, &works.url("/a"), "the phone");
    assert_eq!(post.deliver().await.sent, 1);
    assert_eq!(ids(&post), before);
}

#[tokio::test]
async fn whoever_has_another_way_and_no_browser_leaves_nothing_waiting() {
    let mut post = Post::new("web_push = true\nfile = \"said\"", PAGE);
    write(&mut post);
    let report = post.deliver().await;
    assert_eq!((report.sent, report.unsent), (0, 0));
    assert_eq!(post.states(), [] as [&str; 0]);
}

#[tokio::test]
async fn an_address_of_the_own_network_that_nobody_named_is_not_asked() {
    let inside = answering(&[201]);
    let page = "[web]\nsign_in = true\n";
    let mut post = Post::new("web_push = true", page);
    turn_on(&mut post, &inside.url("/a"), "the phone");
    write(&mut post);
    assert_eq!(post.deliver().await.unsent, 1);
    assert_eq!(inside.exchanges(), []);
}

#[tokio::test]
async fn the_end_of_somebodys_keys_ends_their_notices() {
    let mut post = Post::new("web_push = true", PAGE);
    turn_on(&mut post, "https://push.example.org/a", "the phone");
    let now = noon();
    post.engine
        .store
        .revoke_keys_of_others(|_| true, now)
        .unwrap();
    assert_eq!(post.engine.store.browsers().unwrap().len(), 1);
    let is_there = |owner: &KeyOwner| owner.member != "member";
    post.engine
        .store
        .revoke_keys_of_others(is_there, now)
        .unwrap();
    assert_eq!(post.engine.store.browsers().unwrap().len(), 0);
}
