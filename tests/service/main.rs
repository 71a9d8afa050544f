//! The service: it starts, goes on, stops, and tells what it promised, whatever interrupts it.

#[path = "../support/mod.rs"]
mod support;

mod backups;
mod browsers;
mod clocks;
mod daemon;
mod database_faults;
mod delivery;
mod home_server;
mod hours;
mod kills;
mod links;
mod notices;
mod page_access;
mod page_walk;
mod programs;
mod promise;
mod reload;
mod watching;
mod whole_way;
mod year;
