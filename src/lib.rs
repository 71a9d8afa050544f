//! hatchbell tells people who look after turf when white grubs fly, lay eggs and hatch at their
//! sites, so that a treatment gets into the root zone in time, or is left out.
//!
//! # The pipeline
//!
//! A *cycle* ([`cycle`]) runs at the times of the schedule:
//!
//! 1. **Take in.** Each station's feed ([`feed`]) is fetched once, parsed by its dialect, held
//!    against what is possible, and merged into the store ([`store`]). What is refused changes
//!    nothing.
//! 2. **Evaluate.** For each site and species the stored days become degree-days, the degree-days
//!    milestones ([`domain`]), and with what was counted and logged they become advice on
//!    treatments. What is new is recorded together with the messages it causes, in one
//!    transaction; messages are worded by [`notify::wording`].
//! 3. **Deliver.** The outbox is sent by mail and push, or printed ([`notify`]); each success is
//!    noted before the next message is tried.
//!
//! [`report`] builds what screens show of all this, [`cli`] holds the commands and prints it,
//! [`daemon`] runs cycles for years, [`config`] turns TOML into values with every problem at
//! file:line:col, [`surroundings`] looks at what they name on this machine, [`clock`] is the only place that reads the time, and [`secret`] keeps passwords
//! out of sight.
//!
//! # Three rules
//!
//! * The core decides, the edges do: [`domain`], [`feed::parse`], [`feed::vetting`] and
//!   [`notify::wording`] take values and return values. `tests/architecture.rs` reads the sources
//!   and holds them to it.
//! * The schedule is a hint, the database is the truth: every step asks what is still missing.
//! * Derive, never accumulate: sums are made anew from stored days each time.

#![forbid(unsafe_code)]
// A service that runs for years says what is wrong and goes on; its tests may stop at once.
#![cfg_attr(
    not(test),
    warn(
        clippy::panic,
        clippy::print_stdout,
        clippy::string_slice,
        clippy::unwrap_used
    )
)]

pub mod cli;
pub mod clock;
pub mod config;
pub mod cycle;
pub mod daemon;
pub mod domain;
pub mod drawing;
pub mod entries;
pub mod feed;
pub mod home_server;
pub mod illustration;
pub mod in_force;
pub mod key;
pub mod link;
pub mod notify;
pub mod reach;
pub mod report;
pub mod retry_after;
pub mod secret;
pub mod station_feed;
pub mod store;
pub mod surroundings;
pub mod tls;
pub mod web;
