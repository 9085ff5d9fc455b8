//! The command-line client: turns the command line into a request, and the reply into lines for a person or JSON for a
//! program. It decides nothing itself: the server checks everything again.

pub mod args;
mod client;
mod cmd;
mod commands;
mod day;
mod draft;
mod error;
mod harmless;
mod home;
mod names;
mod output;
mod pager;
mod paper;
mod places;
mod prompt;
mod settings;
mod table;
mod terminal;

use std::process::ExitCode;

use clap::Parser as _;
use scionary_show::words;

pub use error::Failure;
pub use output::Output;

/// Parses the command line, runs the command and returns its exit code.
pub fn main() -> ExitCode {
    let arguments = args::Arguments::parse();
    let output = Output::new(arguments.json, arguments.imperial);
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => {
            output.failure(&Failure::bug(format!("the runtime could not be started: {error}")));
            return ExitCode::from(70);
        }
    };
    match runtime.block_on(cmd::run(arguments, &output)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output.failure(&failure);
            ExitCode::from(failure.exit_code())
        }
    }
}
