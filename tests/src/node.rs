//! Nodes that stand where real ones stand: on a pseudo-terminal or at a broker; and a lift in a folder of its own.

use crate::program::{LONGEST, Program, built, repository};
use anyhow::{Context, bail};
use std::io::Write;
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// The plan of the lifts in these tests.
pub const PLAN: &str = "docs/examples/harbour-lane.toml";
/// How often a node speaks: twenty times a second, as the kits of these tests say.
const PERIOD: Duration = Duration::from_millis(50);

/// The n-th XDR sentence of a node that stands still; `prefix` is empty or `NODE.`.
pub fn sentence(prefix: &str, n: u64) -> Vec<u8> {
    // The last digits move as those of a real instrument do: a channel that repeats one value is frozen.
    let body = format!("YXXDR,A,0.{:03},D,{prefix}TA,N,{},N,{prefix}HL", 120 + n * 7 % 11, 950 + n * 5 % 7);
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}\r\n").into_bytes()
}

/// The n-th SenML pack of a node that stands still.
pub fn pack(n: u64) -> String {
    let (tilt, load) = (2.1e-3 + (n * 7 % 11) as f64 * 1e-5, 950 + n * 5 % 7);
    format!(r#"[{{"n":"truss-along","u":"rad","v":{tilt}}},{{"n":"head-load","u":"N","v":{load}}},{{"n":"seq","u":"count","v":{n}}}]"#)
}

/// A node's end of a pseudo-terminal; the program's end is there under a name that stays. Dropped, it is unplugged.
///
/// The terminal is held by `socat`, not by this process: a program under test would inherit it from here, and a terminal
/// that is still held by anybody is not hung up.
pub struct Plugged {
    /// What is written here comes out of the port.
    pub node: ChildStdin,
    held: Child,
}

/// Plugs a node in under `name`.
///
/// Errors: `socat` is not installed (`tests/setup` does that).
pub fn plug(name: &str) -> anyhow::Result<Plugged> {
    let _ = std::fs::remove_file(name);
    let mut command = Command::new("socat");
    command.args(["-u", "-", &format!("pty,raw,echo=0,link={name}")]).stdin(Stdio::piped()).stderr(Stdio::null());
    let mut held = command.spawn().context("socat (tests/setup)")?;
    let node = held.stdin.take().context("socat's input")?;
    for _ in 0..LONGEST.as_millis() / 10 {
        if Path::new(name).exists() {
            return Ok(Plugged { node, held });
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    bail!("socat makes no terminal at {name}")
}

impl Plugged {
    /// Sends these bytes; false once it is unplugged.
    pub fn says(&mut self, bytes: &[u8]) -> bool {
        self.node.write_all(bytes).and_then(|()| self.node.flush()).is_ok()
    }
}

impl Drop for Plugged {
    fn drop(&mut self) {
        let _ = self.held.kill();
        let _ = self.held.wait();
    }
}

/// A node that speaks until it is dropped.
pub struct Feeder {
    going: Arc<AtomicBool>,
    sent: Receiver<u64>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Feeder {
    /// A node on a pseudo-terminal under `name`; `says` gives the bytes of its n-th turn. Dropped, it is unplugged.
    pub fn port(name: &str, says: impl Fn(u64) -> Vec<u8> + Send + 'static) -> anyhow::Result<Feeder> {
        let mut plugged = plug(name)?;
        Feeder::start(move |n| plugged.says(&says(n)))
    }

    /// A node that does `speak` every turn, until it gives false.
    pub fn start(mut speak: impl FnMut(u64) -> bool + Send + 'static) -> anyhow::Result<Feeder> {
        let going = Arc::new(AtomicBool::new(true));
        let (tell, sent) = channel();
        let go_on = going.clone();
        let thread = std::thread::spawn(move || {
            for n in 0.. {
                // The node's own pace, which is what is tested; nothing waits here for anybody.
                std::thread::sleep(PERIOD);
                if !go_on.load(Ordering::Relaxed) || !speak(n) || tell.send(n).is_err() {
                    return;
                }
            }
        });
        Ok(Feeder { going, sent, thread: Some(thread) })
    }

    /// Waits until it has spoken so many times more.
    pub fn has_sent(&mut self, times: usize) -> anyhow::Result<()> {
        for _ in self.sent.try_iter() {}
        for _ in 0..times {
            self.sent.recv_timeout(LONGEST).context("the node has stopped speaking")?;
        }
        Ok(())
    }
}

impl Drop for Feeder {
    fn drop(&mut self) {
        self.going.store(false, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// A lift in a folder of its own.
pub struct Lift {
    folder: tempfile::TempDir,
}

impl Lift {
    /// An empty folder.
    pub fn new() -> anyhow::Result<Lift> {
        Ok(Lift { folder: tempfile::tempdir()? })
    }
    /// The folder.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }
    /// A path in it.
    pub fn path(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }
    /// Starts `raisewatch watch` with this plan of the repository and this kit, findings and calls as JSON lines; ready
    /// when this returns.
    pub fn watch(&self, plan: &str, kit: &str, variables: &[(&str, &str)]) -> anyhow::Result<Program> {
        std::fs::write(self.path("kit.toml"), kit)?;
        let mut command = Command::new(built("raisewatch")?);
        command.arg("watch").arg(repository(plan)).args(["--kit", &self.path("kit.toml"), "--record", &self.path("recordings")]);
        command.args(["--listen", "127.0.0.1:0", "--lines", "json"]).current_dir(self.folder());
        command.env_remove("RAISEWATCH_MQTT_USER").env_remove("RAISEWATCH_MQTT_PASSWORD").envs(variables.iter().copied());
        let mut watch = Program::start(command)?;
        watch.says(&["page lead"])?;
        Ok(watch)
    }
    /// The recording of the lift.
    pub fn recording(&self) -> anyhow::Result<std::path::PathBuf> {
        let mut files = std::fs::read_dir(self.path("recordings"))?.map(|file| file.map(|file| file.path()));
        match (files.next(), files.next()) {
            (Some(file), None) => Ok(file?),
            (one, two) => bail!("expected one recording, found {one:?} {two:?}"),
        }
    }
    /// Replays the recording; what that said.
    pub fn replayed(&self) -> anyhow::Result<Vec<String>> {
        let file = self.recording()?.display().to_string();
        let mut replay = Program::raisewatch(self.folder(), &["replay", &file])?;
        let ended = replay.ended()?;
        if !ended.success() {
            bail!("replay: {ended}; said:\n{}", replay.said.join("\n"));
        }
        Ok(replay.said.clone())
    }
    /// Whether the recording replays to the findings and calls that were said live, to the byte.
    pub fn replays_to(&self, live: &[String]) -> anyhow::Result<()> {
        let spoken = |lines: &[String]| -> Vec<String> { lines.iter().filter(|line| line.starts_with("out {")).cloned().collect() };
        let (live, again) = (spoken(live), spoken(&self.replayed()?));
        match live.iter().zip(&again).position(|(live, again)| live != again) {
            Some(at) => bail!("line {} was said live\n{}\nand replayed\n{}", at + 1, live[at], again[at]),
            None if live.is_empty() => bail!("nothing was said live"),
            None if live.len() != again.len() => bail!("{} lines were said live, {} replayed", live.len(), again.len()),
            None => Ok(()),
        }
    }
}
