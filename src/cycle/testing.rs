//! A test message to one recipient, past the outbox.

use super::browsers::{address, no_browser, page, web_pusher};
use super::lines::{mailer, push_target, pusher};
use crate::config::{Addresses, Config, DemoDelivery};
use crate::domain::place::site::{Channel, Member, Recipient};
use crate::notify::web_push::NoticeTerms;
use crate::notify::wording::{TestOf, test_message};
use crate::notify::{Enclosed, Parcel, local};
use crate::secret::Secret;
use crate::store::browsers::Browser;
use chrono::{DateTime, TimeDelta, Utc};
use std::io::Write;
use std::time::Duration;

/// Longest wait for a mail or push server.
const PATIENCE: Duration = Duration::from_secs(60);

/// A test that was sent, or not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TestSent {
    /// The way.
    pub channel: Channel,
    /// What the server answered, or what is wrong and what to do.
    pub answer: Result<String, String>,
}

/// Browsers that take notices, and the key that these are signed by.
#[derive(Debug, Default)]
pub struct KnownBrowsers {
    /// The recipient's.
    pub browsers: Vec<Browser>,
    /// The private part of the key, once there is one.
    pub private_key: Option<Secret>,
}

/// Sends a test to a recipient by each of their channels, as messages go: in a demonstration that prints
/// mail and push messages they are printed.
pub async fn send_test(
    config: &Config,
    (member, recipient): (&Member, &Recipient),
    known: &KnownBrowsers,
    now: DateTime<Utc>,
    output: &mut dyn Write,
) -> Vec<TestSent> {
    let sites: Vec<&str> = member
        .sites
        .iter()
        .filter(|site| recipient.sites.contains(&site.id))
        .map(|site| site.name.as_str())
        .collect();
    let of = TestOf {
        service: &config.service.name,
        name: &recipient.name,
        member: &member.name,
        sites: &sites,
        answer_to: config.answer_to(member),
    };
    let none = Addresses::default();
    let addresses = config.addresses.get(&recipient.id).unwrap_or(&none);
    let mut sent = Vec::new();
    for &channel in &recipient.channels {
        let message = test_message(channel, &of);
        let parcel = Parcel {
            id: format!("test-{}-{}", now.timestamp_micros(), channel.name()),
            title: message.title,
            text: message.body,
            created_at: now,
            enclosed: Enclosed::default(),
        };
        if channel == Channel::WebPush && !prints(config) {
            let answers = to_browsers(config, known, &parcel, now).await;
            sent.extend(
                answers
                    .into_iter()
                    .map(|answer| TestSent { channel, answer }),
            );
            continue;
        }
        let answer = send_by(config, addresses, channel, &parcel, output).await;
        sent.push(TestSent { channel, answer });
    }
    sent
}

async fn send_by(
    config: &Config,
    addresses: &Addresses,
    channel: Channel,
    parcel: &Parcel,
    output: &mut dyn Write,
) -> Result<String, String> {
    let prints = prints(config);
    match channel {
        Channel::Email if !prints => by_mail(config, addresses, parcel).await,
        Channel::Push if !prints => by_push(config, addresses, parcel).await,
        Channel::File => {
            let path = addresses.file.as_ref().ok_or("no file is configured")?;
            local::append(path, "a test", parcel).map_err(|error| error.to_string())?;
            Ok(format!("written to {}", path.display()))
        }
        Channel::Console | Channel::Email | Channel::Push | Channel::WebPush => {
            let to = format!("a test by {}", channel.name());
            local::print(output, &to, parcel).map_err(|error| error.to_string())?;
            Ok("printed".to_owned())
        }
    }
}

/// Whether mail and push messages are printed.
fn prints(config: &Config) -> bool {
    config
        .demo
        .is_some_and(|demo| demo.deliver == DemoDelivery::Console)
}

/// To each browser.
async fn to_browsers(
    config: &Config,
    known: &KnownBrowsers,
    parcel: &Parcel,
    now: DateTime<Utc>,
) -> Vec<Result<String, String>> {
    let (Some(key), false) = (&known.private_key, known.browsers.is_empty()) else {
        return vec![Err(no_browser().to_string())];
    };
    let pusher = match web_pusher(config, key, PATIENCE) {
        Ok(pusher) => pusher,
        Err(problem) => return vec![Err(problem)],
    };
    let terms = NoticeTerms {
        until: now + TimeDelta::hours(1),
        urgent: false,
        task: None,
        opens: page(config).map(ToString::to_string),
    };
    let mut answers = Vec::new();
    for browser in &known.browsers {
        let sent = match address(config, &browser.said) {
            Ok(to) => pusher.send(&to, parcel, &terms, now).await,
            Err(problem) => Err(problem),
        };
        answers.push(match sent {
            Ok(status) => Ok(format!("\"{}\": {status}", browser.label)),
            Err(problem) => Err(format!("\"{}\": {problem}", browser.label)),
        });
    }
    answers
}

async fn by_mail(
    config: &Config,
    addresses: &Addresses,
    parcel: &Parcel,
) -> Result<String, String> {
    let server = config
        .email
        .as_ref()
        .ok_or("no mail server is configured")?;
    let to = addresses
        .email
        .as_ref()
        .ok_or("no mail address is configured")?;
    let mut mailer = mailer(config, server, PATIENCE)?;
    let sent = Box::pin(mailer.send(to, parcel)).await;
    let answer = mailer.accepted().to_owned();
    mailer.close().await;
    sent.map_err(|error| error.to_string())?;
    Ok(format!("{} answered: {answer}", server.host))
}

async fn by_push(
    config: &Config,
    addresses: &Addresses,
    parcel: &Parcel,
) -> Result<String, String> {
    let address = addresses
        .push
        .as_ref()
        .ok_or("no push address is configured")?;
    let target = push_target(address)?;
    let pusher = pusher(config, PATIENCE)?;
    let status = pusher.send_and_hear(&target, parcel).await;
    let status = status.map_err(|error| error.to_string())?;
    let host = address.url.host_str().unwrap_or_default();
    Ok(format!("{host} answered: {status}"))
}
