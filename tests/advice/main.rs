//! Advice: whether to count, whether to treat, with what, and by when.

#[path = "../support/mod.rs"]
mod support;

mod plan;
mod real_windows;
mod sampling_plan;
mod scouting;
mod treatment_alerts;
mod treatment_timing;
mod weather_ahead;
