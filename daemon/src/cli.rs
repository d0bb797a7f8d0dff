//! The command line: what can be asked of the program, and who does it.

use crate::{Exit, check, hear, plan_new, rehearse, replay, watch_cmd};
use clap::{Parser, Subcommand};

/// Watches a truss that is raised on hand-cranked towers. Advises only: no safety function, no control of any winch.
#[derive(Debug, Parser)]
#[command(name = "raisewatch", version)]
pub struct Args {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Weigh a plan: shares, margins, tolerance, load sheet
    Check(check::CheckArgs),
    /// Watch a raise from real readings
    Watch(watch_cmd::WatchArgs),
    /// Rehearse a raise with the simulator
    Rehearse(rehearse::RehearseArgs),
    /// Run a trace or a recording through the watch, as fast as it goes
    Replay(replay::ReplayArgs),
    /// Print all that arrives on a broker or a port, and the kit lines that would accept it
    Hear(hear::HearArgs),
    /// Plans
    #[command(subcommand)]
    Plan(PlanCommand),
}

#[derive(Debug, Subcommand)]
enum PlanCommand {
    /// Write a new, commented plan
    New(plan_new::PlanNewArgs),
}

/// Does what was asked.
pub fn run(args: Args) -> anyhow::Result<Exit> {
    match args.command {
        Command::Check(args) => check::run(args),
        Command::Watch(args) => watch_cmd::run(args),
        Command::Rehearse(args) => rehearse::run(args),
        Command::Replay(args) => replay::run(args),
        Command::Hear(args) => hear::run(args),
        Command::Plan(PlanCommand::New(args)) => plan_new::run(args),
    }
}
