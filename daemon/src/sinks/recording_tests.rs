//! Tests of the recording: what is written comes back, cut at any byte; a full disk is told and stops nothing.

use super::*;
use crate::recorded::{Recorded, is_recording};
use raisewatch_protocol::trace::TraceLine;

fn head() -> Head {
    Head {
        plan: Some(Kept { file: "plan.toml".into(), text: "title = \"Hall\"".into() }),
        kit: Some(Kept { file: "kit.toml".into(), text: "said = false".into() }),
        phrases: None,
        opened: "2031-05-14T13:56:00Z".parse().unwrap(),
        opened_at: Mono(1_000_000),
    }
}

/// The n-th line, 50 ms after the one before.
fn taken(n: u64) -> Told {
    let text = format!(r#"{{"t_ms":{},"node":"n1","senml":[{{"n":"head-load","u":"N","v":{}}}]}}"#, 1000 + n * 50, 900 + n % 7);
    Told::Taken(TraceLine::parse(&text).unwrap())
}

/// A recording of so many lines, a sync after every tenth; closed or as the power left it.
fn written(folder: &Path, lines: u64, closed: bool) -> (PathBuf, Vec<u8>) {
    let file = folder.join(if closed { "closed.mcap" } else { "cut.mcap" });
    let mut recording = Recording::create(&file, head()).unwrap();
    for n in 0..lines {
        recording.tell(&taken(n));
        if n % 10 == 9 {
            recording.sync();
        }
    }
    if closed {
        assert_eq!(recording.finish().state, "off");
        let bytes = std::fs::read(&file).unwrap();
        (file, bytes)
    } else {
        // What a killed program leaves: what was synced. (Dropping it would close the file.)
        let bytes = std::fs::read(&file).unwrap();
        std::mem::forget(recording);
        (file, bytes)
    }
}

/// The lines that come back, and whether all is said to be there.
fn read(file: &Path) -> (Vec<TraceLine>, bool) {
    let recorded = Recorded::open(file).unwrap();
    let mut entries = recorded.entries();
    let lines = entries.by_ref().filter(|e| e.channel == "input").map(|e| e.line().unwrap()).collect();
    (lines, entries.lost().is_none())
}

fn expected(lines: usize) -> Vec<TraceLine> {
    (0..lines as u64).map(|n| if let Told::Taken(line) = taken(n) { line } else { unreachable!() }).collect()
}

#[test]
fn what_is_written_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let (file, bytes) = written(folder.path(), 95, true);
    assert!(is_recording(&bytes));
    let recorded = Recorded::open(&file).unwrap();
    assert_eq!((recorded.plan, recorded.kit, recorded.phrases), (head().plan, head().kit, None));
    assert_eq!(recorded.head["opened"], "2031-05-14T13:56:00Z");
    assert_eq!(read(&file), (expected(95), true));
    let opened = u64::try_from(head().opened.as_second()).unwrap();
    let seconds: Vec<u64> = Recorded::open(&file).unwrap().entries().map(|e| e.log_time_ns / 1_000_000_000).collect();
    assert_eq!((seconds[0], *seconds.last().unwrap()), (opened, opened + 94 * 50 / 1000), "wall clock for other readers");
}

#[test]
fn a_killed_program_loses_what_was_not_synced() {
    let folder = tempfile::tempdir().unwrap();
    let (file, _) = written(folder.path(), 95, false);
    assert_eq!(read(&file), (expected(90), false));
}

/// Cut at every byte: a beginning comes back, it never shrinks as more is left, and the loss is said.
#[test]
fn cut_at_each_byte_a_beginning_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let (_, bytes) = written(folder.path(), 30, true);
    let (whole, file) = (expected(30), folder.path().join("part.mcap"));
    let (mut most, mut unreadable) = (0, 0);
    for cut in 0..bytes.len() {
        std::fs::write(&file, &bytes[..cut]).unwrap();
        let Ok(recorded) = Recorded::open(&file) else {
            unreadable += 1;
            assert_eq!(most, 0, "cut at {cut}: the head was readable before");
            continue;
        };
        let mut entries = recorded.entries();
        let lines: Vec<TraceLine> = entries.by_ref().filter(|e| e.channel == "input").map(|e| e.line().unwrap()).collect();
        assert_eq!(lines, whole[..lines.len()], "cut at {cut}");
        assert!(lines.len() >= most, "cut at {cut}");
        assert!(entries.lost().is_some() || lines.len() == 30, "cut at {cut}: a loss is not said");
        if let Some(lost) = entries.lost() {
            assert!(lost.to_string().contains("was not closed"), "{lost}");
        }
        most = lines.len();
    }
    assert_eq!(most, 30);
    assert!(unreadable < 600, "{unreadable} bytes before the head is whole");
}

#[test]
fn a_damaged_chunk_ends_the_reading_and_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let (file, mut bytes) = written(folder.path(), 95, true);
    let middle = bytes.len() / 2;
    for byte in &mut bytes[middle..middle + 40] {
        *byte ^= 0x55;
    }
    std::fs::write(&file, &bytes).unwrap();
    let (lines, all) = read(&file);
    assert!(!all && !lines.is_empty() && lines.len() < 95, "{} lines", lines.len());
    assert_eq!(lines, expected(95)[..lines.len()]);
}

#[test]
fn files_that_are_none_of_ours() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("other.mcap");
    for (bytes, words) in [(&b""[..], "head of a lift"), (b"{\"t_ms\":1}", "head of a lift"), (b"\x89MCAP0\r\n", "head of a lift")] {
        std::fs::write(&file, bytes).unwrap();
        let told = Recorded::open(&file).unwrap_err().to_string();
        assert!(told.contains("other.mcap") && told.contains(words), "{told}");
    }
    std::fs::remove_file(&file).unwrap();
    let mut later = Writer::new(BufWriter::new(File::create(&file).unwrap())).unwrap();
    let metadata = BTreeMap::from([("format".to_owned(), "2".to_owned())]);
    later.write_metadata(&Metadata { name: HEAD.into(), metadata }).unwrap();
    later.finish().unwrap();
    let told = Recorded::open(&file).unwrap_err().to_string();
    assert!(told.contains("format 2") && told.contains("later version"), "{told}");
}

#[test]
fn a_recording_is_never_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let (file, before) = written(folder.path(), 20, true);
    let told = Recording::create(&file, head()).err().unwrap().to_string();
    assert!(told.contains("closed.mcap"), "{told}");
    assert_eq!(std::fs::read(&file).unwrap(), before);
}

/// A full disk: told, the file stays failed, nothing panics, and the thread goes on taking what it is told.
#[test]
fn a_full_disk_is_told_and_stops_nothing() {
    let full = File::options().write(true).open("/dev/full").unwrap();
    let mut recording = Recording::over(Path::new("full.mcap"), full, head()).unwrap();
    for n in 0..200 {
        recording.tell(&taken(n));
    }
    recording.sync();
    assert_eq!(recording.state().state, "failed");
    let why = recording.state().text.unwrap();
    assert!(why.contains("No space left"), "{why}");
    let (queue, outlet) = mpsc::channel(8);
    let (_frames, frame) = watch::channel(Arc::new(Frame::default()));
    let (thread, state) = spawn(recording, outlet, frame);
    for n in 0..50 {
        queue.blocking_send(Arc::new(taken(n))).unwrap();
    }
    drop(queue);
    assert_eq!(thread.join().unwrap().state, "failed");
    assert_eq!(state.borrow().text.as_deref(), Some(why.as_str()));
}

#[test]
fn the_thread_writes_all_that_it_was_told() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lift.mcap");
    let (queue, outlet) = mpsc::channel(8);
    let (_frames, frame) = watch::channel(Arc::new(Frame { t_ms: Mono(5), view: serde_json::json!({"t_ms": 0}) }));
    let (thread, _state) = spawn(Recording::create(&file, head()).unwrap(), outlet, frame);
    for n in 0..500 {
        queue.blocking_send(Arc::new(taken(n))).unwrap();
    }
    drop(queue);
    assert_eq!(thread.join().unwrap().state, "off");
    assert_eq!(read(&file), (expected(500), true));
}

#[test]
fn names_of_files() {
    assert_eq!(file_name("harbour-lane", head().opened), "harbour-lane-20310514T135600Z.mcap");
}
