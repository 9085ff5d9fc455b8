//! The handlers, a file for each noun: conversion, use case, conversion. Each is named in [`crate::methods`].

pub(crate) mod account;
pub(crate) mod alert;
pub(crate) mod claim;
pub(crate) mod club;
pub(crate) mod crop;
pub(crate) mod cultivar;
pub(crate) mod curation;
pub(crate) mod day;
pub(crate) mod evidence;
pub(crate) mod export;
pub(crate) mod grafts;
pub(crate) mod lot;
pub(crate) mod movement;
pub(crate) mod notice;
pub(crate) mod offer;
pub(crate) mod plan;
pub(crate) mod profile;
pub(crate) mod round;
pub(crate) mod server;
pub(crate) mod want;
