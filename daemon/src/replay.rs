//! `raisewatch replay`: runs a trace or a recording through the watch, as fast as it goes.
//!
//! No network and no clock: only the lines and their times. The watch is stepped as it is live ([`crate::drive`]): at each
//! deadline that it names before a line, a line before a deadline of the same time. A trace ends with its last line, a
//! recording with the last thing that was said. So the same lines give the same findings and calls, to the byte.

use crate::drive::Driver;
use crate::load::{Loaded, load, loaded};
use crate::recorded::{Entries, Recorded, is_recording};
use crate::sinks::Told;
use crate::sinks::recording::Kept;
use crate::{Exit, Misuse};
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::trace::{Lines, TraceLine};
use raisewatch_watch::watch::Watch;
use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct ReplayArgs {
    /// A trace (JSON lines) or a recording; which of them is told by what it holds
    pub trace: PathBuf,
    /// The plan file; a recording holds its own
    #[arg(long)]
    pub plan: Option<PathBuf>,
    /// The kit file; a recording holds its own
    #[arg(long)]
    pub kit: Option<PathBuf>,
    /// Where findings and calls go, one line for each change; standard output if not given
    #[arg(long)]
    pub findings: Option<PathBuf>,
}

/// Runs the trace or recording through the watch.
///
/// Exit: done; 2 for a file that cannot be read or a line that is none; 3 for a recording that was cut, whose beginning
/// was replayed.
pub fn run(args: ReplayArgs) -> anyhow::Result<Exit> {
    let mut file = BufReader::with_capacity(1 << 18, opened(&args.trace)?);
    let first = file.fill_buf().map_err(|fault| misuse(&args.trace, &fault.to_string()))?;
    if is_recording(first) {
        drop(file);
        return recording(&args);
    }
    let (Some(plan), Some(kit)) = (&args.plan, &args.kit) else {
        return Err(misuse(&args.trace, "a trace holds no plan and no kit: expected --plan PLAN and --kit KIT"));
    };
    let mut replay = Replay::new(&load(plan, kit)?, args.findings.as_deref())?;
    for line in Lines::new(file) {
        match line {
            Ok(line) => replay.take(line)?,
            Err(fault) => {
                replay.end(&args.trace)?;
                return Err(misuse(&args.trace, &fault.to_string()));
            }
        }
    }
    replay.end(&args.trace)?;
    Ok(Exit::Done)
}

fn recording(args: &ReplayArgs) -> anyhow::Result<Exit> {
    let recorded = Recorded::open(&args.trace).map_err(|fault| Misuse(fault.to_string()))?;
    let mut replay = Replay::new(&lift_of(args, &recorded)?, args.findings.as_deref())?;
    let mut entries = recorded.entries();
    let last = take_inputs(&mut entries, &mut replay)?;
    replay.end(&args.trace)?;
    match (last, entries.lost()) {
        (Some(fault), _) => Err(misuse(&args.trace, &fault)),
        (None, Some(lost)) => {
            eprintln!("raisewatch: recording {}: {lost}", args.trace.display());
            Ok(Exit::Loss)
        }
        (None, None) => Ok(Exit::Done),
    }
}

/// Takes the inputs of a recording; gives the fault of a line that is none, which ends it.
///
/// After the last of them time goes on to the last thing that was said: a lift that ended in silence was told so by
/// deadlines alone, and must be told so again.
fn take_inputs(entries: &mut Entries<'_>, replay: &mut Replay) -> anyhow::Result<Option<String>> {
    #[derive(serde::Deserialize)]
    struct At {
        t_ms: Mono,
    }
    let mut said = Mono::default();
    for entry in entries.by_ref() {
        match entry.channel.as_str() {
            "input" => match entry.line() {
                Ok(line) => replay.take(line)?,
                Err(fault) => return Ok(Some(fault)),
            },
            "finding" | "call" | "reply" => {
                said = said.max(serde_json::from_slice::<At>(&entry.json).map_or(said, |at| at.t_ms));
            }
            _ => {}
        }
    }
    replay.catch_up(said)?;
    Ok(None)
}

/// Plan, kit and phrases: those given, else those that the recording holds.
fn lift_of(args: &ReplayArgs, recorded: &Recorded) -> anyhow::Result<Loaded> {
    let (plan, plan_file) = text(args.plan.as_deref(), recorded.plan.as_ref(), &args.trace, "plan")?;
    let (kit, kit_file) = text(args.kit.as_deref(), recorded.kit.as_ref(), &args.trace, "kit")?;
    let beside = |name: &str| match (&args.plan, &recorded.phrases) {
        // The phrases of the recording belong to its own plan.
        (None, Some(kept)) => Ok((kept.text.clone(), PathBuf::from(&kept.file))),
        _ => {
            let file = plan_file.parent().unwrap_or(Path::new("")).join(name);
            let text = std::fs::read_to_string(&file).map_err(|fault| misuse(&file, &fault.to_string()))?;
            Ok((text, file))
        }
    };
    loaded(plan, &plan_file, kit, &kit_file, beside)
}

fn text(given: Option<&Path>, kept: Option<&Kept>, recording: &Path, what: &str) -> anyhow::Result<(String, PathBuf)> {
    match (given, kept) {
        (Some(file), _) => {
            let text = std::fs::read_to_string(file).map_err(|fault| misuse(file, &fault.to_string()))?;
            Ok((text, file.to_owned()))
        }
        (None, Some(kept)) => Ok((kept.text.clone(), PathBuf::from(&kept.file))),
        (None, None) => Err(misuse(recording, &format!("the recording holds no {what}: expected --{what} FILE"))),
    }
}

fn opened(file: &Path) -> anyhow::Result<File> {
    File::open(file).map_err(|fault| misuse(file, &fault.to_string()))
}

fn misuse(file: &Path, fault: &str) -> anyhow::Error {
    Misuse(format!("{}: {fault}", file.display())).into()
}

/// A watch that is given lines, and where its findings go.
struct Replay {
    driver: Driver<Watch>,
    out: Out,
    lines: u64,
    last: Mono,
}

/// Findings and calls, one line each.
struct Out {
    to: Box<dyn Write>,
    findings: u64,
    calls: u64,
    /// The first fault in writing; nothing is written after it.
    fault: Option<std::io::Error>,
}

impl Replay {
    fn new(lift: &Loaded, findings: Option<&Path>) -> anyhow::Result<Replay> {
        let watch = Watch::new(&lift.plan, &lift.kit, lift.phrases.clone()).map_err(|fault| Misuse(fault.to_string()))?;
        let to: Box<dyn Write> = match findings {
            Some(file) => Box::new(BufWriter::new(File::create(file).map_err(|fault| misuse(file, &fault.to_string()))?)),
            None => Box::new(BufWriter::new(std::io::stdout())),
        };
        let out = Out { to, findings: 0, calls: 0, fault: None };
        Ok(Replay { driver: Driver::new(watch, Intake::new(&lift.kit)), out, lines: 0, last: Mono::default() })
    }

    fn take(&mut self, line: TraceLine) -> std::io::Result<()> {
        self.lines += 1;
        self.last = line.t_ms;
        let out = &mut self.out;
        self.driver.take(line, &mut |told| out.tell(&told));
        self.out.fault.take().map_or(Ok(()), Err)
    }

    /// Steps every deadline up to this moment, itself included.
    fn catch_up(&mut self, moment: Mono) -> std::io::Result<()> {
        let out = &mut self.out;
        self.driver.catch_up(moment + Span(1), &mut |told| out.tell(&told));
        self.out.fault.take().map_or(Ok(()), Err)
    }

    /// Writes what the last line brought and what is still held, and says on standard error what was done.
    fn end(&mut self, trace: &Path) -> std::io::Result<()> {
        self.catch_up(self.last)?;
        self.out.to.flush()?;
        eprintln!("{}: {} lines, {} lines of findings, {} of calls", trace.display(), self.lines, self.out.findings, self.out.calls);
        for (node, reasons) in self.driver.intake().counts() {
            let reasons: Vec<String> = reasons.iter().map(|(reason, count)| format!("{} {count}", reason.word())).collect();
            eprintln!("  refused of {}: {}", if node.is_empty() { "a node without a name" } else { node }, reasons.join(", "));
        }
        Ok(())
    }
}

impl Out {
    fn tell(&mut self, told: &Told) {
        let written = match told {
            Told::Finding(finding) => {
                self.findings += 1;
                write_line(&mut self.to, finding)
            }
            Told::Call(call) => {
                self.calls += 1;
                write_line(&mut self.to, call)
            }
            _ => Ok(()),
        };
        if let Err(fault) = written {
            self.fault.get_or_insert(fault);
        }
    }
}

fn write_line(to: &mut impl Write, line: &impl serde::Serialize) -> std::io::Result<()> {
    serde_json::to_writer(&mut *to, line)?;
    to.write_all(b"\n")
}

#[cfg(test)]
#[path = "replay_tests.rs"]
mod tests;
