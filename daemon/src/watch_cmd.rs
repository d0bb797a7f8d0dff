//! `raisewatch watch`: watches a raise from real readings.

use crate::Exit;
use std::path::PathBuf;

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct WatchArgs {
    /// The plan file
    pub plan: PathBuf,
    /// The kit file
    #[arg(long)]
    pub kit: PathBuf,
}

/// Watches until it is stopped.
pub fn run(args: WatchArgs) -> anyhow::Result<Exit> {
    anyhow::bail!("{} with {}: not built into this program yet", args.plan.display(), args.kit.display())
}
