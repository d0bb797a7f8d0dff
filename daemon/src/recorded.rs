//! Reading a recording back: whole, or cut wherever the power went. What comes back is always a beginning of what was
//! written, chunk by whole chunk, and what is missing is said.

use crate::sinks::recording::{FORMAT, HEAD, Kept};
use mcap::read::{ChunkReader, LinearReader, Options};
use mcap::records::Record;
use raisewatch_protocol::trace::TraceLine;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The bytes with which every MCAP file begins.
const MAGIC: &[u8] = &[0x89, b'M', b'C', b'A', b'P', b'0', b'\r', b'\n'];

/// Whether these first bytes are those of a recording rather than of a trace.
pub fn is_recording(first: &[u8]) -> bool {
    first.starts_with(MAGIC)
}

/// Why a file is no recording that can be read.
#[derive(Debug, thiserror::Error)]
pub enum RecordedFault {
    /// It cannot be read.
    #[error("recording {file}: {fault}", file = .file.display())]
    Unreadable {
        /// Which file.
        file: PathBuf,
        /// Why.
        fault: std::io::Error,
    },
    /// It was written by a later version.
    #[error("recording {file}: format {found}, expected at most {FORMAT}: written by a later version", file = .file.display())]
    Later {
        /// Which file.
        file: PathBuf,
        /// Its format.
        found: String,
    },
    /// It is no recording of this program.
    #[error("recording {file}: expected the head of a lift, found {found}", file = .file.display())]
    NoHead {
        /// Which file.
        file: PathBuf,
        /// What was there.
        found: String,
    },
}

/// One line of a recording, in the order it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its channel: `input`, `finding`, `call`, `hand-over`, `view`, `reply`, `refused`, `not-watching`, `plan`, `kit`, `phrases`.
    pub channel: String,
    /// Wall clock, ns since 1970.
    pub log_time_ns: u64,
    /// JSON.
    pub json: Vec<u8>,
}

impl Entry {
    /// The line of a trace that an entry of the channel `input` holds.
    pub fn line(&self) -> Result<TraceLine, String> {
        let text = std::str::from_utf8(&self.json).map_err(|fault| fault.to_string())?;
        TraceLine::parse(text).map_err(|fault| fault.to_string())
    }
}

/// A recording, opened.
#[derive(Debug)]
pub struct Recorded {
    bytes: Vec<u8>,
    /// The head's own entries (`format`, `build`, `opened`, `opened_at_ms`).
    pub head: BTreeMap<String, String>,
    /// The plan.
    pub plan: Option<Kept>,
    /// The kit.
    pub kit: Option<Kept>,
    /// The phrases.
    pub phrases: Option<Kept>,
}

/// What is missing at the end of a recording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lost {
    /// Lines that came back.
    pub lines: u64,
    /// The wall clock at the last of them.
    pub until: Option<jiff::Timestamp>,
    /// What stands after them.
    pub why: String,
}

impl std::fmt::Display for Lost {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let until = self.until.map_or("nowhere".to_owned(), |until| until.to_string());
        write!(f, "was not closed: {} lines came back, up to {until}; what came after is lost ({})", self.lines, self.why)
    }
}

impl Recorded {
    /// Opens a recording and reads its head.
    ///
    /// Errors: [`RecordedFault`].
    pub fn open(file: &Path) -> Result<Recorded, RecordedFault> {
        let bytes = std::fs::read(file).map_err(|fault| RecordedFault::Unreadable { file: file.to_owned(), fault })?;
        Recorded::of(file, bytes)
    }

    fn of(file: &Path, bytes: Vec<u8>) -> Result<Recorded, RecordedFault> {
        let mut recorded = Recorded { bytes, head: BTreeMap::new(), plan: None, kit: None, phrases: None };
        let mut entries = recorded.entries();
        // The head is one chunk, before anything was taken or said.
        let mut first = Vec::new();
        for entry in entries.by_ref() {
            if !matches!(entry.channel.as_str(), "plan" | "kit" | "phrases") {
                break;
            }
            first.push(entry);
        }
        let (head, lost) = (entries.head.clone(), entries.lost.take());
        match head.get("format").map(|text| (text, text.parse::<u32>())) {
            Some((_, Ok(format))) if format <= FORMAT => {}
            Some((found, _)) => return Err(RecordedFault::Later { file: file.to_owned(), found: found.clone() }),
            None => {
                let found = lost.map_or("none".to_owned(), |lost| lost.why);
                return Err(RecordedFault::NoHead { file: file.to_owned(), found });
            }
        }
        recorded.head = head;
        for entry in first {
            let kept = serde_json::from_slice(&entry.json).ok();
            match entry.channel.as_str() {
                "plan" => recorded.plan = kept,
                "kit" => recorded.kit = kept,
                _ => recorded.phrases = kept,
            }
        }
        Ok(recorded)
    }

    /// All lines, in the order they were written; ask [`Entries::lost`] at the end.
    pub fn entries(&self) -> Entries<'_> {
        let lax = Options::IgnoreEndMagic.into();
        let (records, lost) = match LinearReader::new_with_options(&self.bytes, lax) {
            Ok(records) => (Some(records), None),
            Err(fault) => (None, Some(fault.to_string())),
        };
        let lost = lost.map(|why| Lost { lines: 0, until: None, why });
        Entries { records, channels: BTreeMap::new(), chunk: Vec::new().into_iter(), head: BTreeMap::new(), lines: 0, until_ns: 0, lost }
    }
}

/// The lines of a recording.
pub struct Entries<'a> {
    records: Option<LinearReader<'a>>,
    channels: BTreeMap<u16, String>,
    chunk: std::vec::IntoIter<Entry>,
    head: BTreeMap<String, String>,
    lines: u64,
    until_ns: u64,
    lost: Option<Lost>,
}

impl Entries<'_> {
    /// What is missing, once the lines have ended; nothing if the recording was closed.
    pub fn lost(&self) -> Option<&Lost> {
        self.lost.as_ref()
    }

    fn end(&mut self, why: &str) {
        self.records = None;
        let until = jiff::Timestamp::from_nanosecond(self.until_ns.into()).ok().filter(|_| self.lines > 0);
        self.lost = Some(Lost { lines: self.lines, until, why: why.to_owned() });
    }

    /// The lines of one chunk, all or none: a chunk that is damaged anywhere is not believed in part.
    fn open_chunk(&mut self, header: mcap::records::ChunkHeader, data: &[u8]) -> Result<Vec<Entry>, mcap::McapError> {
        let mut entries = Vec::new();
        for record in ChunkReader::new(header, data)? {
            self.record(record?, &mut entries);
        }
        Ok(entries)
    }

    fn record(&mut self, record: Record<'_>, entries: &mut Vec<Entry>) {
        match record {
            Record::Channel(channel) => {
                self.channels.insert(channel.id, channel.topic);
            }
            Record::Message { header, data } => {
                if let Some(channel) = self.channels.get(&header.channel_id) {
                    entries.push(Entry { channel: channel.clone(), log_time_ns: header.log_time, json: data.into_owned() });
                }
            }
            Record::Metadata(metadata) if metadata.name == HEAD => self.head = metadata.metadata,
            _ => {}
        }
    }
}

impl Iterator for Entries<'_> {
    type Item = Entry;

    fn next(&mut self) -> Option<Entry> {
        loop {
            if let Some(entry) = self.chunk.next() {
                self.lines += 1;
                self.until_ns = entry.log_time_ns;
                return Some(entry);
            }
            match self.records.as_mut()?.next() {
                None => self.end("the file ends between two chunks"),
                Some(Err(fault)) => self.end(&fault.to_string()),
                // Whatever follows repeats what was read.
                Some(Ok(Record::DataEnd(_))) => self.records = None,
                Some(Ok(Record::Chunk { header, data })) => match self.open_chunk(header, &data) {
                    Ok(entries) => self.chunk = entries.into_iter(),
                    Err(fault) => self.end(&fault.to_string()),
                },
                Some(Ok(record)) => {
                    let mut entries = Vec::new();
                    self.record(record, &mut entries);
                    self.chunk = entries.into_iter();
                }
            }
        }
    }
}
