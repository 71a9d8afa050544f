//! Commands: what a person at a terminal types and reads.

#[path = "../support/mod.rs"]
mod support;

mod configuration;
mod demo;
mod doctor;
mod few_words;
mod first_run;
mod hindcast;
mod log_refusals;
mod logging;
mod look_back;
mod many_members;
mod page_access;
mod screens;
mod servers;
mod station_finder;
mod status;
mod status_problems;
mod surroundings;
