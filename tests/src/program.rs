//! Programs under test: started with their output read line by line, waited for by what they say, never by time.
//!
//! Every wait has a bound far above what a healthy run needs, so that a failure is told and not waited for for ever.

use anyhow::{Context, bail};
use std::io::{BufRead, BufReader, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

/// The bound of each wait.
pub const LONGEST: Duration = Duration::from_secs(60);

/// One of our programs in the folder of this build, such as `raisewatch` or `raisewatch-sim`.
///
/// Errors: it is not there; `cargo build --workspace` makes it.
pub fn built(name: &str) -> anyhow::Result<PathBuf> {
    let test = std::env::current_exe()?;
    let folder = test.parent().and_then(|deps| deps.parent()).context("the folder of this build")?;
    let file = folder.join(name);
    if !file.exists() {
        bail!("{} is not there: run `cargo build --workspace` first", file.display());
    }
    Ok(file)
}

/// A file of the repository.
pub fn repository(path: &str) -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/..")).join(path)
}

/// A program that runs; killed when dropped.
pub struct Program {
    child: Child,
    input: Option<ChildStdin>,
    lines: Receiver<String>,
    /// All lines so far, `out ` or `err ` before each.
    pub said: Vec<String>,
}

impl Program {
    /// Starts `raisewatch` with these arguments, in `folder`.
    pub fn raisewatch(folder: &std::path::Path, args: &[&str]) -> anyhow::Result<Program> {
        let mut command = Command::new(built("raisewatch")?);
        command.args(args).current_dir(folder);
        Program::start(command)
    }

    /// Starts a program.
    pub fn start(mut command: Command) -> anyhow::Result<Program> {
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().with_context(|| format!("{:?}", command.get_program()))?;
        let (tell, lines) = channel();
        let (out, err) = (child.stdout.take().context("its output")?, child.stderr.take().context("its errors")?);
        let tell_err = tell.clone();
        std::thread::spawn(move || pass_on("out", out, &tell));
        std::thread::spawn(move || pass_on("err", err, &tell_err));
        let input = child.stdin.take();
        Ok(Program { child, input, lines, said: vec![] })
    }

    /// Its process id.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Types a line.
    pub fn types(&mut self, line: &str) -> anyhow::Result<()> {
        let input = self.input.as_mut().context("its input is closed")?;
        writeln!(input, "{line}")?;
        Ok(input.flush()?)
    }

    /// Waits for a line that holds all of `parts`, among those not yet looked at; the line.
    pub fn says(&mut self, parts: &[&str]) -> anyhow::Result<String> {
        loop {
            match self.lines.recv_timeout(LONGEST) {
                Ok(line) => {
                    self.said.push(line.clone());
                    if parts.iter().all(|part| line.contains(part)) {
                        return Ok(line);
                    }
                }
                Err(RecvTimeoutError::Timeout) => bail!("not said in {LONGEST:?}: {parts:?}; said:\n{}", self.said.join("\n")),
                Err(RecvTimeoutError::Disconnected) => bail!("ended without saying {parts:?}; said:\n{}", self.said.join("\n")),
            }
        }
    }

    /// A line that holds all of `parts`, among all that it has said so far; waits for it if there is none.
    pub fn has_or_says(&mut self, parts: &[&str]) -> anyhow::Result<String> {
        match self.has_said(parts).map(str::to_owned) {
            Some(line) => Ok(line),
            None => self.says(parts),
        }
    }

    /// What it has said since it was last looked at, without waiting.
    pub fn drain(&mut self) -> Vec<String> {
        let new: Vec<String> = self.lines.try_iter().collect();
        self.said.extend(new.iter().cloned());
        new
    }

    /// Sends a signal, such as `INT`, `TERM`, `KILL`, `STOP`.
    pub fn signal(&self, name: &str) -> anyhow::Result<()> {
        let sent = Command::new("kill").args([&format!("-{name}"), &self.id().to_string()]).status()?;
        if sent.success() { Ok(()) } else { bail!("kill -{name}: {sent}") }
    }

    /// Closes its input, waits for its end and reads what it said until then.
    pub fn ended(&mut self) -> anyhow::Result<ExitStatus> {
        self.input = None;
        loop {
            match self.lines.recv_timeout(LONGEST) {
                Ok(line) => self.said.push(line),
                Err(RecvTimeoutError::Timeout) => bail!("did not end in {LONGEST:?}; said:\n{}", self.said.join("\n")),
                // Both its streams are closed: it has ended, or is about to.
                Err(RecvTimeoutError::Disconnected) => return Ok(self.child.wait()?),
            }
        }
    }

    /// The first line said so far that holds all of `parts`.
    pub fn has_said(&self, parts: &[&str]) -> Option<&str> {
        self.said.iter().map(String::as_str).find(|line| parts.iter().all(|part| line.contains(part)))
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // A stopped process takes the kill as well.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn pass_on(name: &str, from: impl std::io::Read, to: &std::sync::mpsc::Sender<String>) {
    for line in BufReader::new(from).lines().map_while(Result::ok) {
        if to.send(format!("{name} {line}")).is_err() {
            return;
        }
    }
}

/// A port of this machine that is free now.
pub fn free_port() -> anyhow::Result<u16> {
    Ok(TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?.local_addr()?.port())
}

/// A real mosquitto on a port of its own; killed when dropped.
pub struct Mosquitto {
    /// Its port, on this machine alone.
    pub port: u16,
    program: Program,
    _folder: tempfile::TempDir,
}

impl Mosquitto {
    /// Starts it with these lines of configuration besides its port, and waits until it answers.
    ///
    /// Errors: it is not installed (`tests/setup` does that), or does not answer.
    pub fn start(more: &str) -> anyhow::Result<Mosquitto> {
        Mosquitto::start_at(free_port()?, more)
    }

    /// As [`Mosquitto::start`], on this port: a broker that comes back.
    pub fn start_at(port: u16, more: &str) -> anyhow::Result<Mosquitto> {
        let folder = tempfile::tempdir()?;
        let file = folder.path().join("mosquitto.conf");
        let anybody = if more.contains("allow_anonymous") { "" } else { "allow_anonymous true\n" };
        std::fs::write(&file, format!("listener {port} 127.0.0.1\npersistence false\n{anybody}{more}\n"))?;
        let found = ["/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"].into_iter().find(|path| std::path::Path::new(path).exists());
        let mut command = Command::new(found.unwrap_or("mosquitto"));
        command.arg("-c").arg(&file);
        let program = Program::start(command)?;
        for _ in 0..LONGEST.as_millis() / 20 {
            if TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_ok() {
                return Ok(Mosquitto { port, program, _folder: folder });
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        bail!("mosquitto does not answer on port {port}")
    }

    /// Where it is reached.
    pub fn url(&self) -> String {
        format!("mqtt://127.0.0.1:{}", self.port)
    }

    /// Ends it, as a broker that fails.
    pub fn kill(self) -> anyhow::Result<()> {
        self.program.signal("KILL")
    }

    /// Publishes by `mosquitto_pub`.
    pub fn publish(&self, topic: &str, text: &str, more: &[&str]) -> anyhow::Result<()> {
        let port = self.port.to_string();
        let sent = Command::new("mosquitto_pub").args(["-p", &port, "-t", topic, "-m", text]).args(more).status()?;
        if sent.success() { Ok(()) } else { bail!("mosquitto_pub: {sent}") }
    }

    /// Listens by `mosquitto_sub`, one line `topic payload` for each packet; ready when this returns.
    pub fn listen(&self, filter: &str) -> anyhow::Result<Program> {
        let mut command = Command::new("mosquitto_sub");
        command.args(["-p", &self.port.to_string(), "-t", filter, "-t", "tests/ready", "-v"]);
        let mut program = Program::start(command)?;
        for _ in 0..LONGEST.as_millis() / 50 {
            // Repeated until the subscription stands; then the line comes back.
            self.publish("tests/ready", "?", &[])?;
            if let Ok(line) = program.lines.recv_timeout(Duration::from_millis(50)) {
                if line.starts_with("out tests/ready") {
                    return Ok(program);
                }
                program.said.push(line);
            }
        }
        bail!("mosquitto_sub does not listen")
    }
}
