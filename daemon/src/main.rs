//! raisewatch: watches a truss that is raised on crank-up towers, tells the right person the right word, records.
//!
//! This crate carries, it does not judge: readings come in by `sources`, go through `raisewatch_watch`, and what it says
//! goes out by `sinks` and `web`. It advises only; it is no safety function.

mod broker;
mod check;
mod cli;
mod clock;
mod drive;
mod hear;
mod inlet;
mod judge;
mod live;
mod load;
mod no_plan;
mod plan_new;
mod recorded;
mod rehearse;
mod replay;
mod run;
mod sinks;
mod sources;
mod terminal;
mod typed;
mod watch_cmd;
mod web;

use clap::Parser;
use std::io::IsTerminal;
use std::process::ExitCode;

/// How the program ends; the numbers are part of docs/forms.md, "Commands".
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done = 0,
    /// Failed (`check`: must not be lifted).
    Failed = 1,
    /// Misused, or a file that cannot be read.
    Misused = 2,
    /// Done, but something was lost.
    Loss = 3,
}

/// An error that is the caller's: exit status 2. Wrap it in `anyhow::Error`; anything else is a failure, 1.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct Misuse(pub String);

fn main() -> ExitCode {
    let args = cli::Args::parse();
    log_to_stderr();
    let exit = match cli::run(args) {
        Ok(exit) => exit,
        Err(fault) => {
            eprintln!("raisewatch: {fault:#}");
            if fault.downcast_ref::<Misuse>().is_some() { Exit::Misused } else { Exit::Failed }
        }
    };
    ExitCode::from(exit as u8)
}

/// Logs go to standard error; how much is set by `RAISEWATCH_LOG` (such as `debug`), what a crew should know if not set.
fn log_to_stderr() {
    let level = tracing_subscriber::EnvFilter::try_from_env("RAISEWATCH_LOG");
    let filter = level.unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info,rumqttd=off,rumqttc=off,raisewatch_simulator=error"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(std::io::stderr().is_terminal())
        .with_writer(std::io::stderr)
        .with_target(false)
        .init();
}
