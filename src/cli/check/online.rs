//! `hatchbell check --online`: a line for each server, what was asked of it and what came of it.

use super::super::width::hanging;
use super::super::{print, runtime, say, say_wrapped};
use crate::cli::terminal::printable;
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::{Asked, ask_everybody};
use crate::home_server::ask_broker;

/// Asks and prints; whether everybody answered as they should.
pub(super) fn say_who_answers(config: &Config) -> anyhow::Result<bool> {
    let today = Clock::Machine.now().date_naive();
    let asked = runtime()?.block_on(ask_everybody(config, today));
    let mut asked = asked.map_err(anyhow::Error::msg)?;
    if let Some(mqtt) = &config.mqtt {
        let answer = runtime()?.block_on(ask_broker(config, mqtt));
        let whom = "MQTT broker".to_owned();
        asked.push(Asked { whom, answer });
    }
    let mut knocked = false;
    for one in &asked {
        let (verdict, words) = match &one.answer {
            Ok(words) => ("ok    ", words),
            Err(words) => ("fails ", words),
        };
        knocked |= one.whom == "push";
        print(format_args!(
            "{}",
            hanging("", &printable(&format!("{verdict} {}: {words}", one.whom)))
        ));
    }
    if asked.is_empty() {
        say!("there is nobody to ask");
    }
    if knocked {
        say_wrapped(
            "Push addresses and tokens were not tried, since that would send a message: hatchbell send-test RECIPIENT does.",
        );
    }
    Ok(asked.iter().all(|one| one.answer.is_ok()))
}
