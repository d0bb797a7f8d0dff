//! Its place in the frame; the part lands here.

use crate::Exit;

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct HearArgs {}

/// Does it.
pub fn run(_: HearArgs) -> anyhow::Result<Exit> {
    anyhow::bail!("not built into this program yet")
}
