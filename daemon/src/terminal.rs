//! What the person at the terminal is shown beside findings and calls: addresses of the pages, codes, the recording.

use crate::clock::Clock;
use crate::web::addresses::{self, Door};
use crate::web::doors::Doors;
use crate::web::roles::Role;
use crate::web::tls::Seal;
use std::io::{IsTerminal, Write};
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::sync::mpsc;

/// The terminal of a live lift. In a rehearsal for people it prints on standard output, else on standard error: there,
/// standard output is for findings and calls alone.
pub struct Terminal {
    doors: Arc<Doors>,
    towers: Vec<String>,
    reach: Vec<SocketAddr>,
    /// Codes run out by life's clock, however fast the rehearsal's runs.
    clock: Clock,
    on_output: bool,
    scheme: &'static str,
    fingerprint: Option<String>,
}

impl Terminal {
    /// For pages that listen at `at`.
    pub fn new(doors: Arc<Doors>, towers: Vec<String>, at: SocketAddr, seal: Option<&Seal>, on_output: bool) -> Self {
        let scheme = if seal.is_some() { "https" } else { "http" };
        let fingerprint = seal.map(|seal| seal.fingerprint.clone());
        Terminal { doors, towers, reach: addresses::reachable(at), clock: Clock::real(), on_output, scheme, fingerprint }
    }

    /// Ids of the plan's towers.
    pub fn towers(&self) -> &[String] {
        &self.towers
    }

    /// The clock by which codes run out.
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// Shows the address of each page with a fresh code.
    pub fn show(&self) {
        match addresses::doors(&self.doors, &self.towers, self.scheme, &self.reach, self.clock.now()) {
            Ok(doors) => {
                for door in &doors {
                    self.print(&self.door(door, true));
                }
                if let Some(fingerprint) = &self.fingerprint {
                    self.print(&format!("certificate SHA-256 {fingerprint}\nThe phone asks once whether to trust it: compare this."));
                }
                self.print("Each code is good once, for ten minutes. Press Enter for new ones.");
            }
            Err(fault) => tracing::error!(%fault, "no codes can be made; pages cannot be paired"),
        }
    }

    /// Shows a new code for each role whose code was used, until the lift ends.
    pub async fn show_next(self: Arc<Self>, mut paired: mpsc::Receiver<Role>) {
        while let Some(role) = paired.recv().await {
            match addresses::door(&self.doors, role, self.scheme, &self.reach, self.clock.now()) {
                Ok(door) => self.print(&format!("A page was paired. The next one:\n{}", self.door(&door, false))),
                Err(fault) => tracing::error!(%fault, "no new code could be made"),
            }
        }
    }

    fn door(&self, door: &Door, with_qr: bool) -> String {
        let mut text = String::new();
        for url in &door.urls {
            text.push_str(&format!("page {} {url}\n", door.name));
        }
        if let Some(qr) = door.urls.first().filter(|_| with_qr).and_then(|url| addresses::qr(url)) {
            text.push_str(&if self.is_terminal() { coloured(&qr.dark_on_light) } else { qr.light_on_dark });
            text.push('\n');
        }
        text.trim_end().to_owned()
    }

    fn is_terminal(&self) -> bool {
        if self.on_output { std::io::stdout().is_terminal() } else { std::io::stderr().is_terminal() }
    }

    /// Prints; a stream that is closed is no reason to stop a lift.
    pub fn print(&self, text: &str) {
        let _ = if self.on_output { writeln!(std::io::stdout(), "{text}") } else { writeln!(std::io::stderr(), "{text}") };
    }
}

/// Black on white, whatever the terminal's colours are.
fn coloured(qr: &str) -> String {
    qr.lines().map(|line| format!("\x1b[30;107m{line}\x1b[0m\n")).collect()
}
