//! One binary of tests: each module is a topic.
#![allow(missing_docs, reason = "tests say what they show in their names")]

mod abuse;
mod accounts;
mod authorization;
mod bare;
mod binaries;
mod claims;
mod clubs;
mod curation;
mod dated;
mod deploy;
mod evidence;
mod faults;
mod growers;
mod house;
mod lots;
mod mail;
mod movement;
mod movement_model;
mod names;
mod offers;
mod paper;
mod pictures;
mod plans;
mod privacy;
mod recordings;
mod reference;
mod releases;
mod robustness;
mod round_changes;
mod round_cli;
mod round_faults;
mod rounds;
mod storage;
mod wants;
mod wire;
