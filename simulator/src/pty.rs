//! The lift over pseudo-terminals: one for each port of the kit, at the pace of its real line.
//!
//! Lines carry the time at which their last character has crossed the line at its baud; here they are written then.

use crate::play::Play;
use crate::wires::{self, Wires, WiresError};
use raisewatch_protocol::kit::{Kit, Transport};
use raisewatch_protocol::trace::{Arrival, TraceLine};
use serialport::{ClearBuffer, SerialPort, TTYPort};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::sync::mpsc;

/// One pseudo-terminal in place of a serial port.
#[derive(Debug)]
pub struct Port {
    /// The kit's name of the port.
    pub kit_name: String,
    /// The device that the other end opens.
    pub device: String,
    nodes: Vec<String>,
    ours: TTYPort,
    // Kept open, so that the device stays while nobody else has it open.
    theirs: TTYPort,
    link: Option<PathBuf>,
}

/// All ports of a kit.
#[derive(Debug)]
pub struct Ports(pub Vec<Port>);

impl Ports {
    /// Opens a pseudo-terminal for each serial port that the kit names; with `links`, a link of a steady name to each,
    /// `DIR/NODE`, after the first node on it.
    ///
    /// Errors: [`WiresError`] where none can be had or no link be made.
    pub fn open(kit: &Kit, links: Option<&Path>) -> Result<Self, WiresError> {
        let mut ports: Vec<Port> = Vec::new();
        for node in &kit.nodes {
            let Transport::Xdr { port, .. } = &node.over else { continue };
            if let Some(open) = ports.iter_mut().find(|p| p.kit_name == *port) {
                open.nodes.push(node.id.clone());
                continue;
            }
            let failed = |text: String| WiresError::Port { node: node.id.clone(), text };
            let (mut ours, theirs) = TTYPort::pair().map_err(|e| failed(e.to_string()))?;
            ours.set_timeout(Duration::from_millis(5)).map_err(|e| failed(e.to_string()))?;
            let device = theirs.name().ok_or_else(|| failed("the terminal has no name".to_owned()))?;
            let link = links.map(|dir| dir.join(&node.id));
            if let Some(link) = &link {
                make_link(&device, link).map_err(|e| failed(format!("{}: {e}", link.display())))?;
            }
            ports.push(Port { kit_name: port.clone(), device, nodes: vec![node.id.clone()], ours, theirs, link });
        }
        Ok(Ports(ports))
    }

    /// Writes a sentence to its port; false where it is none, or nobody reads.
    pub fn send(&mut self, line: &TraceLine) -> bool {
        let Arrival::Xdr { node, xdr } = &line.what else { return false };
        // Without a node the sentence names it: `NODE.CODE`.
        let mine = |port: &&mut Port| {
            if node.is_empty() { port.nodes.iter().any(|n| xdr.contains(&format!(",{n}."))) } else { port.nodes.contains(node) }
        };
        let Some(port) = self.0.iter_mut().find(mine) else { return false };
        let written = port.ours.write_all(format!("{xdr}\r\n").as_bytes());
        if written.is_err() {
            // Nobody reads: a real line would keep nothing of it for whoever comes later.
            let _ = port.theirs.clear(ClearBuffer::All);
        }
        written.is_ok()
    }
}

fn make_link(device: &str, link: &Path) -> std::io::Result<()> {
    if link.is_symlink() {
        std::fs::remove_file(link)?;
    }
    std::os::unix::fs::symlink(device, link)
}

impl Drop for Port {
    fn drop(&mut self) {
        if let Some(link) = &self.link {
            // A link that somebody else has taken away is gone as we wished.
            let _ = std::fs::remove_file(link);
        }
    }
}

/// Plays over pseudo-terminals alone, `speed` times as fast as life, until it is over; gives back what was played.
pub async fn run<P: Play>(play: P, ports: Ports, speed: f64) -> Result<P, WiresError> {
    let (_nobody, calls) = mpsc::channel(1);
    wires::run(play, Wires { mqtt: None, ports: Some(ports) }, calls, speed).await
}
