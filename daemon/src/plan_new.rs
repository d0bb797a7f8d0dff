//! Its place in the frame; the part lands here.

use crate::Exit;

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct PlanNewArgs {}

/// Does it.
pub fn run(_: PlanNewArgs) -> anyhow::Result<Exit> {
    anyhow::bail!("not built into this program yet")
}
