//! `raisewatch rehearse`: the same watch over the same wire, with the simulator in place of the towers.

use crate::Exit;

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct RehearseArgs {
    /// How many times as fast as life
    #[arg(long, default_value_t = 1.0)]
    pub speed: f64,
}

/// Rehearses.
pub fn run(args: RehearseArgs) -> anyhow::Result<Exit> {
    let clock = crate::clock::Clock::scaled(args.speed);
    anyhow::bail!("{:?}: not built into this program yet", clock.now())
}
