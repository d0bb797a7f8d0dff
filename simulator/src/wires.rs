//! Carries what is played to all its wires, at the pace of life or a multiple of it, and brings the calls back.

use crate::mqtt::Mqtt;
use crate::play::Play;
use crate::pty::Ports;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::told::Call;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::{Instant, MissedTickBehavior};

/// What is open.
#[derive(Debug)]
pub struct Wires {
    /// MQTT clients.
    pub mqtt: Option<Mqtt>,
    /// Pseudo-terminals.
    pub ports: Option<Ports>,
}

/// Why a wire cannot be opened.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WiresError {
    /// Not a broker's URL.
    #[error("broker \"{found}\": expected mqtt://host or mqtt://host:port, without user and password")]
    Url {
        /// What was found.
        found: String,
    },
    /// No pseudo-terminal.
    #[error("pseudo-terminal for node \"{node}\": {text}")]
    Port {
        /// The node.
        node: String,
        /// The system's words.
        text: String,
    },
    /// A speed that is none.
    #[error("speed: expected a number over 0 and up to 1000, found {found}")]
    Speed {
        /// What was found.
        found: f64,
    },
}

/// Two milliseconds are well under a packet's way, and forty times life still gives a packet its own moment.
const BEAT: Duration = Duration::from_millis(2);

/// Plays until it is over and gives back what was played.
///
/// Errors: [`WiresError::Speed`].
pub async fn run<P: Play>(mut play: P, mut wires: Wires, mut calls: mpsc::Receiver<Call>, speed: f64) -> Result<P, WiresError> {
    if !(speed > 0.0 && speed <= 1000.0) {
        return Err(WiresError::Speed { found: speed });
    }
    let start = Instant::now();
    let mut beat = tokio::time::interval(BEAT);
    beat.set_missed_tick_behavior(MissedTickBehavior::Skip);
    let mut dropped = 0_u64;
    let mut listening = true;
    while !play.over() {
        tokio::select! {
            biased;
            call = calls.recv(), if listening => match call {
                Some(call) => play.hear(&call),
                None => listening = false,
            },
            _ = beat.tick() => {
                let now = Mono(0) + Span::from_s(start.elapsed().as_secs_f64() * speed);
                for line in play.advance(now) {
                    let by_mqtt = wires.mqtt.as_ref().is_some_and(|m| m.send(&line));
                    let by_port = wires.ports.as_mut().is_some_and(|p| p.send(&line));
                    dropped += u64::from(!by_mqtt && !by_port);
                }
            }
        }
    }
    if let Some(mqtt) = &wires.mqtt {
        mqtt.close().await;
    }
    if dropped > 0 {
        tracing::info!("{dropped} lines had no wire to go over");
    }
    Ok(play)
}
