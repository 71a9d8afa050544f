//! Mail to a real server: encryption, signing in, refusals, and what arrives.

use std::time::Duration;

use chrono::DateTime;
use hatchbell::notify::email::{Mailer, SmtpSecurity, SmtpSettings, message_id};
use hatchbell::notify::{Enclosed, Parcel, SendError};
use hatchbell::secret::Secret;

use crate::support::certificates::Certificates;
use crate::support::smtp_peer::{Received, SmtpPeer};

const TO: &str = "greens@alderbrook.example";
const FROM: &str = "Alderbrook turf desk <desk@alderbrook.example>";
const USER: &str = "desk";
const PASSWORD: &str = "verdant: slope ✓ 41";
const TEXT: &str = "The sum at the Lower Green stands at 412 °C·d.\n.a line that starts with a dot\n.\n\
                    Last line, which is long enough that it has to be broken on its way through the \
                    mail and put together again at the other end.\n";
const WAIT: Duration = Duration::from_secs(20);

fn auth_option() -> String {
    format!("{USER}:{PASSWORD}")
}

fn settings(peer: &SmtpPeer, security: SmtpSecurity, authority: &str) -> SmtpSettings {
    SmtpSettings {
        host: "127.0.0.1".into(),
        port: peer.port(),
        security,
        username: None,
        password: None,
        from: FROM.into(),
        timeout: WAIT,
        extra_ca_pem: Some(authority.into()),
    }
}

fn signed_in(settings: SmtpSettings, password: &str) -> SmtpSettings {
    SmtpSettings {
        username: Some(USER.into()),
        password: Some(Secret::new(password.into())),
        ..settings
    }
}

fn parcel() -> Parcel {
    Parcel {
        id: "lower-green-2026-k7".into(),
        title: "Grüne Wiese: eggs hatch, 412 °C·d".into(),
        text: TEXT.into(),
        created_at: DateTime::from_timestamp(1_780_000_000, 0).expect("a date"),
        enclosed: Enclosed::default(),
    }
}

async fn send(settings: &SmtpSettings) -> Result<(), SendError> {
    let mut mailer = Mailer::new(settings).expect("good settings");
    let sent = mailer.send(TO, &parcel()).await;
    mailer.close().await;
    sent
}

/// The text of a failure of this message that may pass, which names the server and not the password.
async fn transient(settings: &SmtpSettings) -> String {
    match send(settings).await {
        Err(SendError::Transient(text)) => checked(text, settings),
        other => panic!("not transient: {other:?}"),
    }
}

/// The text of a failure that would meet every message.
async fn unreachable(settings: &SmtpSettings) -> String {
    match send(settings).await {
        Err(SendError::Unreachable(text)) => checked(text, settings),
        other => panic!("not unreachable: {other:?}"),
    }
}

async fn permanent(settings: &SmtpSettings) -> String {
    match send(settings).await {
        Err(SendError::Permanent(text)) => checked(text, settings),
        other => panic!("not permanent: {other:?}"),
    }
}

fn checked(text: String, settings: &SmtpSettings) -> String {
    let place = format!("127.0.0.1:{}", settings.port);
    assert!(text.contains(&place), "{text}");
    if let Some(password) = &settings.password {
        assert!(!text.contains(password.expose()), "{text}");
    }
    text
}

fn only_message(mut peer: SmtpPeer) -> Received {
    let received = peer.messages_at_least(1, WAIT);
    assert_eq!(received.len(), 1);
    assert_eq!(peer.finish().messages.len(), 1, "a second message came");
    received.into_iter().next().expect("one message")
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_message_arrives_whole_over_starttls_with_our_own_authority_and_a_sign_in() {
    let certificates = Certificates::new();
    let peer = certificates.server(&["--auth", &auth_option()]);
    let open = settings(&peer, SmtpSecurity::StartTls, &certificates.authority);
    send(&signed_in(open, PASSWORD)).await.expect("a delivery");

    let received = only_message(peer);
    assert!(received.tls);
    assert_eq!(received.user.as_deref(), Some(USER));
    assert_eq!(received.mail_from, "desk@alderbrook.example");
    assert_eq!(received.rcpt_to, [TO]);
    assert_eq!(received.header("From"), FROM);
    assert_eq!(received.header("To"), TO);
    assert_eq!(received.header("Subject"), parcel().title);
    assert_eq!(received.header("Date"), "Thu, 28 May 2026 20:26:40 +0000");
    assert_eq!(
        received.header("Message-ID"),
        "<lower-green-2026-k7@alderbrook.example>"
    );
    assert_eq!(received.header("Auto-Submitted"), "auto-generated");
    assert_eq!(received.header("MIME-Version"), "1.0");
    let kind = received.header("Content-Type");
    assert!(kind.starts_with("multipart/alternative; "), "{kind}");
    let parts = received.content.replace('"', "");
    assert!(
        parts.contains("Content-Type: text/plain; charset=utf-8"),
        "{parts}"
    );
    assert!(
        parts.contains("Content-Type: text/html; charset=utf-8"),
        "{parts}"
    );
    // The last line end is the boundary's (RFC 2046, 5.1.1).
    assert_eq!(received.text.replace("\r\n", "\n") + "\n", TEXT);
    assert!(received.content.is_ascii(), "{}", received.content);
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_message_arrives_over_tls_from_the_first_byte() {
    let certificates = Certificates::new();
    let peer = certificates.server(&["--implicit-tls", "--auth", &auth_option()]);
    let open = settings(&peer, SmtpSecurity::Tls, &certificates.authority);
    send(&signed_in(open, PASSWORD)).await.expect("a delivery");

    let received = only_message(peer);
    assert!(received.tls);
    assert_eq!(received.user.as_deref(), Some(USER));
    assert_eq!(
        received.header("Message-ID"),
        message_id(&parcel().id, FROM)
    );
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_message_arrives_in_the_clear_on_this_machine() {
    let peer = SmtpPeer::start(&[]);
    send(&settings(&peer, SmtpSecurity::Plain, ""))
        .await
        .expect("a delivery");

    let received = only_message(peer);
    assert!(!received.tls);
    assert_eq!(received.header("Subject"), parcel().title);
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_certificate_of_an_unknown_authority_is_nobody_s_server_and_nothing_is_said() {
    let certificates = Certificates::new();
    let stranger = Certificates::of("A stranger").authority;
    for (options, security) in [
        (vec!["--auth"], SmtpSecurity::StartTls),
        (vec!["--implicit-tls", "--auth"], SmtpSecurity::Tls),
    ] {
        let auth = auth_option();
        let peer = certificates.server(&[options, vec![auth.as_str()]].concat());
        let text = unreachable(&signed_in(settings(&peer, security, &stranger), PASSWORD)).await;
        assert!(text.contains("certificate"), "{text}");
        assert!(text.contains("UnknownIssuer"), "{text}");

        let seen = peer.finish();
        assert!(
            seen.messages.is_empty() && seen.sign_ins.is_empty(),
            "{seen:?}"
        );
    }
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_certificate_for_another_host_is_nobody_s_server_and_nothing_is_said() {
    let certificates = Certificates::new();
    let peer = certificates.server(&["--auth", &auth_option()]);
    let elsewhere = SmtpSettings {
        host: "localhost".into(),
        ..settings(&peer, SmtpSecurity::StartTls, &certificates.authority)
    };
    let error = send(&signed_in(elsewhere, PASSWORD))
        .await
        .expect_err("a failure");
    assert!(
        matches!(&error, SendError::Unreachable(text) if text.contains("not valid for name")),
        "{error}"
    );

    let seen = peer.finish();
    assert!(
        seen.messages.is_empty() && seen.sign_ins.is_empty(),
        "{seen:?}"
    );
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_server_without_starttls_gets_neither_the_message_nor_the_password() {
    let peer = SmtpPeer::start(&["--auth", &auth_option()]);
    let authority = Certificates::new().authority;
    let open = settings(&peer, SmtpSecurity::StartTls, &authority);
    let text = unreachable(&signed_in(open, PASSWORD)).await;
    assert!(text.contains("STARTTLS"), "{text}");

    let seen = peer.finish();
    assert!(
        seen.messages.is_empty() && seen.sign_ins.is_empty(),
        "{seen:?}"
    );
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_wrong_password_is_no_fault_of_the_message_since_it_can_be_put_right() {
    let certificates = Certificates::new();
    let peer = certificates.server(&["--auth", &auth_option()]);
    let open = settings(&peer, SmtpSecurity::StartTls, &certificates.authority);
    let text = unreachable(&signed_in(open.clone(), "last year's")).await;
    assert!(text.contains("signing in failed"), "{text}");
    assert!(text.contains("535"), "{text}");
    send(&signed_in(open, PASSWORD)).await.expect("a delivery");

    let seen = peer.finish();
    let user = USER.to_owned();
    assert_eq!(seen.sign_ins, [(user.clone(), false), (user, true)]);
    assert_eq!(seen.messages.len(), 1);
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_server_that_wants_a_sign_in_takes_nothing_without_one() {
    let certificates = Certificates::new();
    let peer = certificates.server(&["--auth", &auth_option()]);
    let text = unreachable(&settings(
        &peer,
        SmtpSecurity::StartTls,
        &certificates.authority,
    ))
    .await;
    assert!(text.contains("530"), "{text}");
    assert!(text.contains("user name and password"), "{text}");
    assert!(peer.finish().messages.is_empty());
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_recipient_refused_with_550_is_permanent() {
    let certificates = Certificates::new();
    let peer = certificates.server(&["--reject-rcpt", "550"]);
    let text = permanent(&settings(
        &peer,
        SmtpSecurity::StartTls,
        &certificates.authority,
    ))
    .await;
    assert!(text.contains("550 5.1.1 no such mailbox"), "{text}");
    assert!(peer.finish().messages.is_empty());
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_recipient_put_off_with_451_is_transient() {
    let certificates = Certificates::new();
    let peer = certificates.server(&["--defer-rcpt", "451"]);
    let text = transient(&settings(
        &peer,
        SmtpSecurity::StartTls,
        &certificates.authority,
    ))
    .await;
    assert!(text.contains("451 4.2.1 mailbox busy, try later"), "{text}");
    assert!(peer.finish().messages.is_empty());
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_message_sent_again_is_the_same_message() {
    let certificates = Certificates::new();
    let mut peer = certificates.server(&[]);
    let settings = settings(&peer, SmtpSecurity::StartTls, &certificates.authority);
    send(&settings).await.expect("a delivery");
    send(&settings).await.expect("a second delivery");

    let received = peer.messages_at_least(2, WAIT);
    let ids: Vec<_> = received.iter().map(|m| m.header("Message-ID")).collect();
    assert_eq!(ids[0], ids[1]);
    assert_eq!(received[0].content, received[1].content);
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn many_messages_go_over_one_connection_and_a_refused_one_does_not_hold_up_the_next() {
    let certificates = Certificates::new();
    let mut peer = certificates.server(&["--auth", &auth_option()]);
    let open = settings(&peer, SmtpSecurity::StartTls, &certificates.authority);
    let mut mailer = Mailer::new(&signed_in(open, PASSWORD)).expect("good settings");
    for _ in 0..3 {
        mailer.send(TO, &parcel()).await.expect("a delivery");
    }
    let refused = mailer.send("not an address", &parcel()).await;
    assert!(
        matches!(refused, Err(SendError::Permanent(_))),
        "{refused:?}"
    );
    mailer.send(TO, &parcel()).await.expect("a delivery");
    mailer.close().await;
    assert_eq!(peer.messages_at_least(4, WAIT).len(), 4);
    let sign_ins = peer.finish().sign_ins;
    assert_eq!(sign_ins, [(USER.to_owned(), true)], "one connection");
}

#[tokio::test]
#[ignore = "talks to aiosmtpd; run through tests/run"]
async fn a_connection_that_the_server_closes_is_replaced_and_the_message_is_sent_once() {
    let mut peer = SmtpPeer::start(&["--close-after", "2"]);
    let settings = settings(&peer, SmtpSecurity::Plain, "");
    let mut mailer = Mailer::new(&settings).expect("good settings");
    for _ in 0..5 {
        mailer.send(TO, &parcel()).await.expect("a delivery");
    }
    mailer.close().await;
    peer.messages_at_least(5, WAIT);
    assert_eq!(peer.finish().messages.len(), 5);
}
