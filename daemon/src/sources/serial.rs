//! Readings from serial ports: NMEA 0183 XDR sentences, one node or many on one port.
//!
//! A port that gives zero bytes or an error is gone: it is opened again by its stable name, with growing pauses; each
//! change is said once, not each try.

use super::pause::Pause;
use crate::inlet::{Closed, Inlet};
use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use raisewatch_protocol::kit::{Kit, Transport};
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::trace::{Arrival, LinkState, TraceLine};
use raisewatch_protocol::xdr::{Frame, Framer};
use tokio::io::AsyncReadExt;
use tokio_serial::SerialStream;

/// One port and who speaks on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SerialSource {
    /// Device, by a name that stays when it is plugged in again.
    pub port: String,
    /// Baud.
    pub baud: u32,
    /// The node, where only one speaks there; empty where sentences name theirs.
    pub node: String,
}

/// The serial ports of a kit: nodes on one port share it.
pub fn of_kit(kit: &Kit) -> Vec<SerialSource> {
    let mut all: Vec<SerialSource> = Vec::new();
    for node in &kit.nodes {
        let Transport::Xdr { port, baud } = &node.over else { continue };
        match all.iter_mut().find(|source| source.port == *port) {
            Some(shared) => shared.node.clear(),
            None => all.push(SerialSource { port: port.clone(), baud: *baud, node: node.id.clone() }),
        }
    }
    all
}

/// Opens a port: 8 data bits, no parity, 1 stop bit.
pub fn open(port: &str, baud: u32) -> tokio_serial::Result<SerialStream> {
    // Any read timeout does: the port is read without waiting.
    SerialStream::open(&tokio_serial::new(port, baud).timeout(std::time::Duration::from_millis(100)))
}

impl SerialSource {
    /// Listens until the watch is gone.
    pub async fn run(self, inlet: Inlet) -> Closed {
        let (mut pause, mut is_lost) = (Pause::default(), false);
        loop {
            let why = match open(&self.port, self.baud) {
                Ok(mut port) => match self.read(&mut port, &inlet, &mut is_lost, &mut pause).await {
                    Ok(why) => why,
                    Err(closed) => return closed,
                },
                Err(fault) => fault.to_string(),
            };
            if !std::mem::replace(&mut is_lost, true) {
                tracing::warn!("port {}: {why}; trying again", self.port);
                if self.link(&inlet, inlet.now(), LinkState::Lost).await.is_err() {
                    return Closed;
                }
            }
            pause.wait().await;
        }
    }

    async fn link(&self, inlet: &Inlet, t_ms: Mono, state: LinkState) -> Result<(), Closed> {
        let what = Arrival::Link { link: self.port.clone(), state };
        inlet.put(TraceLine { t_ms, what }).await
    }

    /// Reads until the port is gone; gives why. The port counts as back when bytes come: one that only opens is not.
    async fn read(&self, port: &mut SerialStream, inlet: &Inlet, is_lost: &mut bool, pause: &mut Pause) -> Result<String, Closed> {
        let mut framer = Framer::default();
        let mut bytes = [0; 1024];
        loop {
            let got = port.read(&mut bytes).await;
            let t_ms = inlet.now();
            let mut lines = Vec::new();
            let gone = match got {
                Ok(0) => Some("it gave no bytes: unplugged".to_owned()),
                Ok(n) => {
                    *pause = Pause::default();
                    if std::mem::replace(is_lost, false) {
                        tracing::warn!("port {}: back", self.port);
                        self.link(inlet, t_ms, LinkState::Back).await?;
                    }
                    framer.feed(&bytes[..n], |frame| lines.push(self.line(t_ms, frame)));
                    None
                }
                Err(fault) => Some(fault.to_string()),
            };
            if gone.is_some() {
                framer.broken(|frame| lines.push(self.line(t_ms, frame)));
            }
            for line in lines {
                inlet.put(line).await?;
            }
            if let Some(why) = gone {
                return Ok(why);
            }
        }
    }

    fn line(&self, t_ms: Mono, frame: Frame<'_>) -> TraceLine {
        let node = self.node.clone();
        let what = match frame {
            Frame::Sentence(text) => Arrival::Xdr { node, xdr: text.to_owned() },
            Frame::Noise(bytes) => Arrival::Raw { node, raw: BASE64_STANDARD.encode(bytes) },
        };
        TraceLine { t_ms, what }
    }
}

#[cfg(test)]
#[path = "serial_tests.rs"]
mod tests;
