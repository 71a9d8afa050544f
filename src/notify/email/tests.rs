//! Settings, and servers that misbehave.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpListener;

use chrono::DateTime;

use super::*;
use crate::notify::Enclosed;

const PASSWORD: &str = "verdant-slope-41";

fn settings(port: u16) -> SmtpSettings {
    SmtpSettings {
        host: "127.0.0.1".into(),
        port,
        security: SmtpSecurity::Plain,
        username: None,
        password: None,
        from: "Alderbrook turf desk <desk@alderbrook.example>".into(),
        timeout: Duration::from_secs(20),
        extra_ca_pem: None,
    }
}

fn signed_in(port: u16) -> SmtpSettings {
    SmtpSettings {
        username: Some("desk".into()),
        password: Some(Secret::new(PASSWORD.into())),
        ..settings(port)
    }
}

fn parcel() -> Parcel {
    Parcel {
        id: "k7".into(),
        title: "Eggs hatch at the Lower Green".into(),
        text: "412 °C·d".into(),
        created_at: DateTime::from_timestamp(1_780_000_000, 0).expect("a date"),
        enclosed: Enclosed::default(),
    }
}

fn refusal(settings: &SmtpSettings) -> String {
    Mailer::new(settings).err().expect("a refused setting")
}

async fn failed(settings: &SmtpSettings) -> SendError {
    let mut mailer = Mailer::new(settings).expect("good settings");
    let sent = mailer.send("greens@alderbrook.example", &parcel()).await;
    sent.expect_err("a failure")
}

/// A server that says `answers` one by one: the first at once, each other after a line. In an
/// answer, `<line>` stands for the last word of that line.
fn scripted(answers: &'static [&'static str]) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a caller");
        let mut lines = BufReader::new(stream.try_clone().expect("a second handle")).lines();
        let mut line = String::new();
        for answer in answers {
            let word = line.split_whitespace().next_back().unwrap_or_default();
            let said = answer.replace("<line>", word);
            stream.write_all(said.as_bytes()).expect("a listener");
            match lines.next() {
                Some(Ok(next)) => line = next,
                _ => break,
            }
        }
    });
    port
}

#[test]
fn mail_in_the_clear_only_goes_to_this_machine() {
    for host in [
        "mail.alderbrook.example",
        "192.0.2.7",
        "localhost.example",
        "2001:db8::1",
    ] {
        let distant = SmtpSettings {
            host: host.into(),
            ..settings(25)
        };
        let complaint = refusal(&distant);
        assert!(
            complaint.contains("only goes to a server on this machine"),
            "{complaint}"
        );
    }
    for host in ["localhost", "LOCALHOST", "127.0.0.1", "127.8.0.1", "::1"] {
        let near = SmtpSettings {
            host: host.into(),
            ..settings(25)
        };
        assert!(Mailer::new(&near).is_ok(), "{host}");
    }
}

#[test]
fn settings_that_cannot_work_are_refused_with_what_is_wrong() {
    let good = signed_in(25);
    let cases = [
        (
            SmtpSettings {
                host: "mail server".into(),
                ..good.clone()
            },
            "not a host name",
        ),
        (
            SmtpSettings {
                host: String::new(),
                ..good.clone()
            },
            "not a host name",
        ),
        (
            SmtpSettings {
                port: 0,
                ..good.clone()
            },
            "port 0",
        ),
        (
            SmtpSettings {
                timeout: Duration::ZERO,
                ..good.clone()
            },
            "timeout is zero",
        ),
        (
            SmtpSettings {
                password: None,
                ..good.clone()
            },
            "user name without password",
        ),
        (
            SmtpSettings {
                username: None,
                ..good.clone()
            },
            "password without user name",
        ),
        (
            SmtpSettings {
                from: "desk".into(),
                ..good.clone()
            },
            "sender: \"desk\" is not",
        ),
    ];
    for (settings, expected) in cases {
        let complaint = refusal(&settings);
        assert!(complaint.contains(expected), "{complaint}");
    }
}

#[test]
fn extra_authorities_without_a_certificate_are_refused() {
    let broken = "-----BEGIN CERTIFICATE-----\n!\n-----END CERTIFICATE-----\n";
    for (pem, expected) in [
        ("", "no certificate in the text"),
        (broken, "not valid PEM"),
    ] {
        let encrypted = SmtpSettings {
            security: SmtpSecurity::Tls,
            extra_ca_pem: Some(pem.into()),
            ..settings(465)
        };
        let complaint = refusal(&encrypted);
        assert!(complaint.contains(expected), "{complaint}");
    }
}

#[test]
fn settings_do_not_show_the_password() {
    let shown = format!("{:?}", signed_in(25));
    assert!(
        shown.contains("desk") && !shown.contains(PASSWORD),
        "{shown}"
    );
}

#[tokio::test]
async fn an_address_that_is_none_is_permanent_and_nobody_is_called() {
    let mut mailer = Mailer::new(&settings(1)).expect("good settings");
    let error = mailer
        .send("greens", &parcel())
        .await
        .expect_err("a failure");
    assert!(
        matches!(&error, SendError::Permanent(text) if text.contains("\"greens\"")),
        "{error}"
    );
}

#[tokio::test]
async fn a_server_that_is_not_there_is_unreachable_and_named() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    drop(listener);
    let error = failed(&settings(port)).await;
    let place = format!("127.0.0.1:{port}: connecting failed");
    assert!(
        matches!(&error, SendError::Unreachable(text) if text.contains(&place)),
        "{error}"
    );
}

#[tokio::test]
async fn a_server_that_never_answers_takes_nothing_once_the_time_is_up() {
    let silent = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = silent.local_addr().expect("an address").port();
    let error = failed(&SmtpSettings {
        timeout: Duration::from_millis(50),
        ..settings(port)
    })
    .await;
    assert!(
        matches!(&error, SendError::Unreachable(text) if text.contains("within 0.05 s")),
        "{error}"
    );
}

#[tokio::test]
async fn an_answer_without_end_is_not_taken_to_its_end() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    let server = std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a caller");
        let some = [b'x'; 64 * 1024];
        // Until the caller hangs up, or far beyond what lies in buffers on the way.
        (0..1_600)
            .take_while(|_| stream.write_all(&some).is_ok())
            .count()
            * some.len()
    });
    let error = failed(&settings(port)).await;
    assert!(
        matches!(&error, SendError::Unreachable(text) if text.contains("has no end")),
        "{error}"
    );
    let said = server.join().expect("a server that ends");
    assert!(said < 50_000_000, "{said} bytes");
}

/// A TLS server's end of one connection, and the authority that signed for it.
fn tls_server(
    speak: impl FnOnce(TlsPeer) + Send + 'static,
    greet: &'static [&'static str],
) -> (u16, Vec<u8>, std::thread::JoinHandle<()>) {
    crate::tls::install_tls_provider();
    let signed = rcgen::generate_simple_self_signed(["localhost".to_owned()]).expect("a key");
    let authority = signed.cert.pem().into_bytes();
    let key = rustls::pki_types::PrivatePkcs8KeyDer::from(signed.signing_key.serialize_der());
    let config = rustls::ServerConfig::builder()
        .with_no_client_auth()
        .with_single_cert(vec![signed.cert.der().clone()], key.into())
        .expect("a good certificate");
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    let server = std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a caller");
        let mut lines = BufReader::new(stream.try_clone().expect("a second handle"));
        for said in greet {
            stream.write_all(said.as_bytes()).expect("a listener");
            lines.read_line(&mut String::new()).expect("a line");
        }
        if !greet.is_empty() {
            stream.write_all(b"220 go on\r\n").expect("a listener");
        }
        let session = rustls::ServerConnection::new(std::sync::Arc::new(config));
        speak(rustls::StreamOwned::new(
            session.expect("a session"),
            stream,
        ));
    });
    (port, authority, server)
}

type TlsPeer = rustls::StreamOwned<rustls::ServerConnection, std::net::TcpStream>;

fn under_tls(port: u16, security: SmtpSecurity, authority: Vec<u8>) -> SmtpSettings {
    SmtpSettings {
        host: "localhost".into(),
        security,
        extra_ca_pem: Some(authority),
        ..settings(port)
    }
}

#[tokio::test]
async fn an_answer_without_end_under_tls_is_not_taken_to_its_end() {
    for (security, greet) in [
        (SmtpSecurity::Tls, &[][..]),
        (
            SmtpSecurity::StartTls,
            &["220 x\r\n", "250-x\r\n250 STARTTLS\r\n"],
        ),
    ] {
        let (count, counted) = std::sync::mpsc::channel();
        let endless = move |mut stream: TlsPeer| {
            let some = [b'x'; 64 * 1024];
            let said = (0..1_600)
                .take_while(|_| stream.write_all(&some).is_ok())
                .count();
            count.send(said * some.len()).expect("a listener");
        };
        let (port, authority, server) = tls_server(endless, greet);
        let error = failed(&under_tls(port, security, authority)).await;
        assert!(
            matches!(&error, SendError::Unreachable(text) if text.contains("has no end")),
            "{security:?}: {error}"
        );
        let said = counted.recv().expect("a number");
        assert!(said < 50_000_000, "{security:?}: {said} bytes");
        server.join().expect("a server that ends");
    }
}

/// A TLS server waits for us, so the greeting never comes.
#[tokio::test]
async fn starttls_spoken_to_a_port_for_tls_is_known_within_seconds_and_says_what_to_set() {
    let silent = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = silent.local_addr().expect("an address").port();
    let server = std::thread::spawn(move || {
        let first = silent.accept().expect("a caller");
        let (mut second, _) = silent.accept().expect("a second one");
        let mut hello = [0; 5];
        second.read_exact(&mut hello).expect("a greeting of TLS");
        assert_eq!(hello[0], 22, "a handshake record (RFC 8446, 5.1)");
        // An alert: this handshake is not wanted.
        second
            .write_all(&[21, 3, 3, 0, 2, 2, 40])
            .expect("a listener");
        first
    });
    let started = std::time::Instant::now();
    let error = failed(&SmtpSettings {
        security: SmtpSecurity::StartTls,
        ..settings(port)
    })
    .await;
    assert!(
        matches!(&error, SendError::Unreachable(text) if text.contains("set security = \"tls\"")),
        "{error}"
    );
    assert!(started.elapsed() < 3 * GREETING, "{:?}", started.elapsed());
    server.join().expect("a server that ends");
}

#[tokio::test]
async fn tls_spoken_to_a_port_for_starttls_is_known_at_once_and_says_what_to_set() {
    let error = failed(&SmtpSettings {
        security: SmtpSecurity::Tls,
        ..settings(scripted(&["220 mail.alderbrook.example ESMTP\r\n"]))
    })
    .await;
    assert!(
        matches!(&error, SendError::Unreachable(text) if text.contains("security = \"starttls\"")),
        "{error}"
    );
}

#[tokio::test]
async fn a_server_that_greets_late_and_speaks_no_tls_is_waited_for() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a caller");
        // The second caller finds out that nobody speaks TLS here; only then comes the greeting.
        drop(listener.accept().expect("a second one"));
        stream
            .write_all(b"554 closed for repairs\r\n")
            .expect("a listener");
        BufReader::new(stream).lines().next()
    });
    let error = failed(&SmtpSettings {
        security: SmtpSecurity::StartTls,
        ..settings(port)
    })
    .await;
    assert!(
        error.to_string().ends_with("554 closed for repairs"),
        "{error}"
    );
}

#[tokio::test]
async fn a_server_that_turns_everybody_away_takes_nothing() {
    let error = failed(&settings(scripted(&["554 5.3.2 closed for repairs\r\n"]))).await;
    let said = "554 5.3.2 closed for repairs";
    assert!(
        matches!(&error, SendError::Unreachable(text) if text.ends_with(said)),
        "{error}"
    );
}

#[tokio::test]
async fn a_server_that_wants_a_sign_in_first_takes_nothing() {
    let wants = &[
        "220 x\r\n",
        "250 x\r\n",
        "530 5.7.0 sign in first\r\n",
        "221 x\r\n",
    ];
    let error = failed(&settings(scripted(wants))).await;
    assert!(
        matches!(&error, SendError::Unreachable(text) if text.contains("user name")),
        "{error}"
    );
}

#[tokio::test]
async fn a_refused_sender_is_permanent_and_every_line_of_the_answer_is_told() {
    let refuses = &[
        "220 x\r\n",
        "250 x\r\n",
        "550-not from\r\n550 you\x07\r\n",
        "221 x\r\n",
    ];
    let error = failed(&settings(scripted(refuses))).await;
    assert!(
        matches!(&error, SendError::Permanent(text) if text.contains("550 not from you")),
        "{error}"
    );
    assert!(!error.to_string().contains(char::is_control), "{error}");
}

#[tokio::test]
async fn a_server_that_repeats_the_sign_in_does_not_get_it_into_the_error() {
    for (hello, answer) in [
        (
            "250-x\r\n250 AUTH PLAIN\r\n",
            "535 no: <line> verdant-slope-41\r\n",
        ),
        ("250-x\r\n250 AUTH LOGIN\r\n", "334 UGFzc3dvcmQ6\r\n"),
    ] {
        let answers: &'static [&'static str] = Vec::leak(vec![
            "220 x\r\n",
            hello,
            answer,
            "535 no: <line>\r\n",
            "221 x\r\n",
        ]);
        let error = failed(&signed_in(scripted(answers))).await;
        let SendError::Unreachable(text) = &error else {
            panic!("not unreachable: {error}");
        };
        assert!(text.contains("signing in failed"), "{text}");
        assert!(text.contains("535 no: [secret]"), "{text}");
        assert!(!text.contains(PASSWORD), "{text}");
    }
}
