//! The recording: one file per lift, in the open container MCAP, so that any reader of that format opens it.
//!
//! It holds what the watch was given, in that order and with its time, and what it said: a replay is a second reading of
//! the channel `input`. Power may go at any moment: a chunk is closed, handed to the system and synced to the disk every
//! [`SYNC`], and a file that was cut reads back up to its last whole chunk ([`crate::recorded`]). After a failed write it
//! stays failed, and that is told; the watch never waits for it and never stops for it.

use super::{RecordingState, Told};
use crate::run::Frame;
use jiff::Timestamp;
use mcap::records::MessageHeader;
use mcap::write::{Metadata, NoSeek, WriteOptions, Writer};
use raisewatch_protocol::mono::Mono;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, watch};

/// Format of the recording; a reader refuses a higher one. **format**
pub const FORMAT: u32 = 1;
/// Name of the metadata record at the head.
pub const HEAD: &str = "raisewatch";
/// How much may be lost when the power goes: less than the second that docs/forms.md promises.
const SYNC: Duration = Duration::from_millis(400);
/// A view is kept at every so many syncs: once in 1.2 s, for the review.
const VIEW_EVERY: u32 = 3;
/// Lines written between two looks at the timer.
const IN_ONE_GO: usize = 1024;

/// A file of the lift, as it was read.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, serde::Deserialize)]
pub struct Kept {
    /// Its name.
    pub file: String,
    /// Its text.
    pub text: String,
}

/// What stands at the head of a recording.
#[derive(Clone, Debug)]
pub struct Head {
    /// Plan; none where a lift is recorded without one.
    pub plan: Option<Kept>,
    /// Kit.
    pub kit: Option<Kept>,
    /// Phrases, where the plan names a file.
    pub phrases: Option<Kept>,
    /// Wall clock at `opened_at`: what `log_time` is counted from, for people and other readers.
    pub opened: Timestamp,
    /// The moment of `opened` on the watch's clock.
    pub opened_at: Mono,
}

/// Why a recording cannot be written.
#[derive(Debug, thiserror::Error)]
#[error("recording {file}: {fault}", file = .file.display())]
pub struct RecordingFault {
    /// Which file.
    pub file: PathBuf,
    /// Why.
    #[source]
    pub fault: mcap::McapError,
}

/// The name of the file of a lift that begins now, such as `harbour-lane-20310514T135600Z.mcap`.
pub fn file_name(site: &str, opened: Timestamp) -> String {
    format!("{site}-{}.mcap", opened.strftime("%Y%m%dT%H%M%SZ"))
}

/// A file that is being written.
pub struct Recording {
    file: PathBuf,
    disk: File,
    writer: Writer<NoSeek<Counted<BufWriter<File>>>>,
    channels: BTreeMap<&'static str, u16>,
    sequence: u32,
    head: Head,
    bytes: Arc<std::sync::atomic::AtomicU64>,
    failed: Option<String>,
}

impl Recording {
    /// Creates the file, which must not exist, and writes the head.
    ///
    /// Errors: [`RecordingFault`].
    pub fn create(file: &Path, head: Head) -> Result<Recording, RecordingFault> {
        let fault = |fault| RecordingFault { file: file.to_owned(), fault };
        let disk = File::options().write(true).create_new(true).open(file).map_err(|e| fault(e.into()))?;
        let mut recording = Recording::over(file, disk, head).map_err(fault)?;
        recording.write_head().and_then(|()| recording.synced()).map_err(fault)?;
        // The name of the file must be on the disk as well as what is in it.
        if let Some(folder) = file.parent().filter(|p| !p.as_os_str().is_empty()).and_then(|p| File::open(p).ok()) {
            folder.sync_all().map_err(|e| fault(e.into()))?;
        }
        Ok(recording)
    }

    fn over(file: &Path, disk: File, head: Head) -> mcap::McapResult<Recording> {
        let bytes = Arc::<std::sync::atomic::AtomicU64>::default();
        let counted = Counted { to: BufWriter::new(disk.try_clone()?), bytes: bytes.clone() };
        let options = WriteOptions::new()
            .library(concat!("raisewatch ", env!("CARGO_PKG_VERSION")))
            .profile("")
            .compression(Some(mcap::Compression::Zstd))
            // Chunks end at every sync; this only bounds one in a flood.
            .chunk_size(Some(4 * 1024 * 1024))
            // One thread, in this thread: the recording must not take cores from the watch.
            .compression_threads(0)
            .disable_seeking(true)
            .emit_message_indexes(false);
        let writer = options.create(NoSeek::new(counted))?;
        Ok(Recording { file: file.to_owned(), disk, writer, channels: BTreeMap::new(), sequence: 0, head, bytes, failed: None })
    }

    fn write_head(&mut self) -> mcap::McapResult<()> {
        let metadata = BTreeMap::from([
            ("format".to_owned(), FORMAT.to_string()),
            ("build".to_owned(), env!("CARGO_PKG_VERSION").to_owned()),
            ("opened".to_owned(), self.head.opened.to_string()),
            ("opened_at_ms".to_owned(), self.head.opened_at.ms().to_string()),
        ]);
        self.writer.write_metadata(&Metadata { name: HEAD.to_owned(), metadata })?;
        let kept = [("plan", self.head.plan.clone()), ("kit", self.head.kit.clone()), ("phrases", self.head.phrases.clone())];
        for (channel, kept) in kept {
            if let Some(kept) = kept {
                self.write(channel, self.head.opened_at, &kept)?;
            }
        }
        Ok(())
    }

    fn write(&mut self, channel: &'static str, t_ms: Mono, line: &impl Serialize) -> mcap::McapResult<()> {
        let json = serde_json::to_vec(line).map_err(std::io::Error::other)?;
        let channel_id = match self.channels.get(channel) {
            Some(&id) => id,
            None => {
                let schema = self.writer.add_schema(&format!("raisewatch.{channel}"), "jsonschema", br#"{"type":"object"}"#)?;
                let id = self.writer.add_channel(schema, channel, "json", &BTreeMap::new())?;
                self.channels.insert(channel, id);
                id
            }
        };
        let since_opened_ns = (t_ms.0 as i128 - self.head.opened_at.0 as i128) * 1000;
        let log_time = u64::try_from(self.head.opened.as_nanosecond() + since_opened_ns).unwrap_or(0);
        self.sequence = self.sequence.wrapping_add(1);
        let header = MessageHeader { channel_id, sequence: self.sequence, log_time, publish_time: log_time };
        self.writer.write_to_known_channel(&header, &json)
    }

    /// Writes what was told, unless a write has failed before.
    pub fn tell(&mut self, told: &Told) {
        let written = |recording: &mut Self| match told {
            Told::Taken(line) => recording.write("input", line.t_ms, line),
            Told::Refused { t_ms, refusal } => recording.write("refused", *t_ms, &Refused { t_ms: *t_ms, refusal }),
            Told::Finding(finding) => recording.write("finding", finding.t_ms, finding),
            Told::HandOver(state) => recording.write("hand-over", state.t_ms, state),
            Told::Call(call) => recording.write("call", call.t_ms, call),
            Told::Reply { t_ms, to, text, refused } => {
                recording.write("reply", *t_ms, &Reply { t_ms: *t_ms, to: to.as_deref(), text, refused: *refused })
            }
            Told::NotWatching { t_ms, why } => recording.write("not-watching", *t_ms, &NotWatching { t_ms: *t_ms, why }),
            Told::Pulse { .. } => Ok(()),
        };
        self.unless_failed(written);
    }

    /// Keeps a view.
    pub fn view(&mut self, frame: &Frame) {
        self.unless_failed(|recording| recording.write("view", frame.t_ms, &frame.view));
    }

    /// Closes the chunk and has it on the disk before it returns.
    pub fn sync(&mut self) {
        self.unless_failed(Self::synced);
    }

    fn synced(&mut self) -> mcap::McapResult<()> {
        self.writer.flush()?;
        Ok(self.disk.sync_data()?)
    }

    /// Writes the end of the file. Gives how the recording ended.
    pub fn finish(mut self) -> RecordingState {
        self.unless_failed(|recording| {
            recording.writer.finish()?;
            Ok(recording.disk.sync_all()?)
        });
        RecordingState { state: if self.failed.is_some() { "failed" } else { "off" }, ..self.state() }
    }

    fn unless_failed(&mut self, act: impl FnOnce(&mut Self) -> mcap::McapResult<()>) {
        if self.failed.is_some() {
            return;
        }
        if let Err(fault) = act(self) {
            // With what lies beneath: the disk's own words say what to do.
            let why = format!("{:#}", anyhow::Error::from(fault));
            tracing::error!("recording {}: {why}; nothing more is recorded", self.file.display());
            self.failed = Some(why);
        }
    }

    /// How it stands.
    pub fn state(&self) -> RecordingState {
        let disk = rustix::fs::fstatvfs(&self.disk).ok();
        RecordingState {
            state: if self.failed.is_some() { "failed" } else { "recording" },
            file: Some(self.file.display().to_string()),
            bytes: Some(self.bytes.load(std::sync::atomic::Ordering::Relaxed)),
            free_bytes: disk.map(|disk| disk.f_bavail.saturating_mul(disk.f_frsize)),
            text: self.failed.clone(),
        }
    }
}

/// Writes until the queue ends, on a thread of its own: a slow disk stops only this. The thread gives how it ended.
pub fn spawn(
    mut recording: Recording,
    mut queue: mpsc::Receiver<Arc<Told>>,
    frames: watch::Receiver<Arc<Frame>>,
) -> (std::thread::JoinHandle<RecordingState>, watch::Receiver<RecordingState>) {
    let (tell, state) = watch::channel(recording.state());
    let thread = std::thread::spawn(move || {
        // A runtime of one thread, for its timer.
        match tokio::runtime::Builder::new_current_thread().enable_time().build() {
            Ok(runtime) => runtime.block_on(write_all(&mut recording, &mut queue, &frames, &tell)),
            Err(fault) => recording.failed = Some(fault.to_string()),
        }
        let ended = recording.finish();
        tell.send_replace(ended.clone());
        ended
    });
    (thread, state)
}

async fn write_all(
    recording: &mut Recording,
    queue: &mut mpsc::Receiver<Arc<Told>>,
    frames: &watch::Receiver<Arc<Frame>>,
    tell: &watch::Sender<RecordingState>,
) {
    let mut timer = tokio::time::interval(SYNC);
    timer.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let (mut some, mut syncs, mut shown) = (Vec::with_capacity(IN_ONE_GO), 0u32, Mono::default());
    loop {
        tokio::select! {
            got = queue.recv_many(&mut some, IN_ONE_GO) => match got {
                0 => return,
                _ => some.drain(..).for_each(|told| recording.tell(&told)),
            },
            _ = timer.tick() => {
                syncs = syncs.wrapping_add(1);
                if syncs.is_multiple_of(VIEW_EVERY) {
                    let frame = frames.borrow().clone();
                    if frame.t_ms > shown {
                        shown = frame.t_ms;
                        recording.view(&frame);
                    }
                }
                recording.sync();
                tell.send_replace(recording.state());
            }
        }
    }
}

#[derive(Serialize)]
struct Refused<'a> {
    t_ms: Mono,
    #[serde(flatten)]
    refusal: &'a raisewatch_protocol::intake::Refusal,
}

#[derive(Serialize)]
struct Reply<'a> {
    t_ms: Mono,
    to: Option<&'a str>,
    text: &'a str,
    refused: bool,
}

#[derive(Serialize)]
struct NotWatching<'a> {
    t_ms: Mono,
    why: &'a str,
}

/// Counts what goes to the disk.
struct Counted<W> {
    to: W,
    bytes: Arc<std::sync::atomic::AtomicU64>,
}

impl<W: Write> Write for Counted<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let written = self.to.write(bytes)?;
        self.bytes.fetch_add(written as u64, std::sync::atomic::Ordering::Relaxed);
        Ok(written)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        self.to.flush()
    }
}

#[cfg(test)]
#[path = "recording_tests.rs"]
mod tests;
