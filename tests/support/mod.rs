//! What tests share: the program in a folder of its own, servers to talk to, small inputs.
#![allow(dead_code, reason = "each test program uses a part of it")]

pub mod broker;
pub mod certificates;
pub mod chance;
pub mod command;
pub mod engine;
pub mod feeds;
pub mod http_server;
pub mod journal;
pub mod manager;
pub mod page;
pub mod real_data;
pub mod reference;
pub mod served_page;
pub mod smtp_peer;
pub mod species;
