//! Tests of replay: the same lines give the same bytes, from a trace, again, and from a recording; and what it refuses.

use super::*;
use crate::sinks::recording::{Head, Recording};
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use raisewatch_simulator::{Lift, Script};

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/examples/rehearsal");

fn example(name: &str) -> (PathBuf, String) {
    let file = Path::new(FOLDER).join(name);
    let text = std::fs::read_to_string(&file).unwrap();
    (file, text)
}

/// The lines of the rehearsal's lift, crank by crank, until `seconds`.
fn lift_lines(seconds: u64) -> Vec<TraceLine> {
    let plan = Plan::read(&example("plan.toml").1, "plan.toml").unwrap();
    let kit = Kit::read(&example("kit.toml").1, "kit.toml").unwrap();
    let script = Script::read(&example("script.toml").1, "script.toml").unwrap();
    Lift::new(&plan, &kit, &script, 1).unwrap().advance(Mono(seconds * 1_000_000))
}

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        Bench { folder: tempfile::tempdir().unwrap() }
    }
    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
    fn trace(&self, lines: &[TraceLine]) -> PathBuf {
        let text: String = lines.iter().map(|line| line.to_json() + "\n").collect();
        std::fs::write(self.file("trace.jsonl"), text).unwrap();
        self.file("trace.jsonl")
    }
    /// Replays with the rehearsal's plan and kit; the findings' file as text.
    fn replayed(&self, trace: PathBuf) -> (anyhow::Result<Exit>, String) {
        self.run(trace, Some(example("plan.toml").0), Some(example("kit.toml").0))
    }
    fn run(&self, trace: PathBuf, plan: Option<PathBuf>, kit: Option<PathBuf>) -> (anyhow::Result<Exit>, String) {
        let findings = self.file("findings.jsonl");
        let _ = std::fs::remove_file(&findings);
        let exit = run(ReplayArgs { trace, plan, kit, findings: Some(findings.clone()) });
        (exit, std::fs::read_to_string(findings).unwrap_or_default())
    }
    /// Records the lines as live does, each with what the watch said to it; the file, and what was said as text.
    fn recorded(&self, lines: &[TraceLine], closed: bool) -> (PathBuf, String) {
        self.recorded_until(lines, Mono::default(), closed)
    }
    /// The same; after the last line time goes on to `until`.
    fn recorded_until(&self, lines: &[TraceLine], until: Mono, closed: bool) -> (PathBuf, String) {
        let lift = load(&example("plan.toml").0, &example("kit.toml").0).unwrap();
        let watch = Watch::new(&lift.plan, &lift.kit, lift.phrases.clone()).unwrap();
        let mut driver = Driver::new(watch, Intake::new(&lift.kit));
        let kept = |text: &str, file: &str| Some(Kept { file: file.into(), text: text.to_owned() });
        let opened = "2031-09-20T15:10:00Z".parse().unwrap();
        let (plan, kit) = (kept(&lift.plan_text, "plan.toml"), kept(&lift.kit_text, "kit.toml"));
        let file = self.file(if closed { "lift.mcap" } else { "cut.mcap" });
        let mut recording = Recording::create(&file, Head { plan, kit, phrases: None, opened, opened_at: Mono(0) }).unwrap();
        let mut said = String::new();
        let tell = |told: Told, recording: &mut Recording, said: &mut String| {
            recording.tell(&told);
            match &told {
                Told::Finding(finding) => *said += &(serde_json::to_string(finding).unwrap() + "\n"),
                Told::Call(call) => *said += &(serde_json::to_string(call).unwrap() + "\n"),
                _ => {}
            }
        };
        for (n, line) in lines.iter().enumerate() {
            driver.take(line.clone(), &mut |told| tell(told, &mut recording, &mut said));
            if n % 500 == 499 {
                recording.sync();
            }
        }
        driver.catch_up(until, &mut |told| tell(told, &mut recording, &mut said));
        if closed {
            drop(recording.finish())
        } else {
            std::mem::forget(recording)
        }
        (file, said)
    }
}

fn told(exit: anyhow::Result<Exit>) -> String {
    exit.unwrap_err().downcast_ref::<Misuse>().expect("a misuse, exit status 2").0.clone()
}

#[test]
fn the_same_lines_give_the_same_bytes() {
    let bench = Bench::new();
    let lines = lift_lines(120);
    let (exit, first) = bench.replayed(bench.trace(&lines));
    assert_eq!(exit.unwrap(), Exit::Done);
    assert!(first.contains(r#""kind":"uneven""#) && first.contains(r#""call":"hold""#), "the rehearsal holds a head:\n{first}");
    assert_eq!(bench.replayed(bench.trace(&lines)).1, first);
    let (file, live) = bench.recorded(&lines, true);
    assert_eq!(live, first, "what was said live");
    let (exit, again) = bench.run(file, None, None);
    assert_eq!(exit.unwrap(), Exit::Done);
    assert_eq!(again, first, "from the recording, with the plan and kit that it holds");
}

#[test]
fn a_cut_recording_gives_a_beginning_and_exit_status_3() {
    let bench = Bench::new();
    let lines = lift_lines(100);
    let (_, whole) = bench.replayed(bench.trace(&lines));
    let (file, _) = bench.recorded(&lines, false);
    let (exit, part) = bench.run(file.clone(), None, None);
    assert_eq!(exit.unwrap(), Exit::Loss);
    assert!(!part.is_empty() && whole.starts_with(&part));
    let bytes = std::fs::read(&file).unwrap();
    std::fs::write(&file, &bytes[..bytes.len() * 2 / 3]).unwrap();
    let (exit, less) = bench.run(file.clone(), None, None);
    assert_eq!(exit.unwrap(), Exit::Loss);
    assert!(part.starts_with(&less) && less.len() < part.len());
    std::fs::write(&file, &bytes[..20]).unwrap();
    assert!(told(bench.run(file, None, None).0).contains("cut.mcap"));
}

/// Silence is told at the watch's own deadlines between lines, never after the last line.
#[test]
fn time_runs_between_lines_and_stops_with_the_last() {
    let bench = Bench::new();
    let mut lines = lift_lines(90);
    let (_, alone) = bench.replayed(bench.trace(&lines));
    assert!(!alone.contains(r#""kind":"silent""#), "{alone}");
    let last = lines.last().unwrap().t_ms;
    lines.push(TraceLine::parse(&format!(r#"{{"t_ms":{},"said":"note","value":"later"}}"#, last.ms() + 60_000.0)).unwrap());
    let (_, later) = bench.replayed(bench.trace(&lines));
    assert!(later.starts_with(&alone));
    let silent: Vec<f64> = later[alone.len()..]
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap())
        .filter(|line| line["kind"] == "silent" && line["state"] == "raised")
        .map(|line| line["t_ms"].as_f64().unwrap())
        .collect();
    assert_eq!(silent.len(), 2, "both nodes: {later}");
    assert!(silent.iter().all(|at| (last.ms() + 800.0..=last.ms() + 1000.5).contains(at)), "{silent:?} after {}", last.ms());
}

/// A lift that ended in silence: what was said by deadlines alone is said again from the recording, and no more.
#[test]
fn a_recording_that_ends_in_silence_says_it_again() {
    let bench = Bench::new();
    let lines = lift_lines(90);
    let (_, trace) = bench.replayed(bench.trace(&lines));
    let until = lines.last().unwrap().t_ms + Span::ms(3500);
    let (file, live) = bench.recorded_until(&lines, until, true);
    assert!(live.starts_with(&trace) && live[trace.len()..].contains(r#""kind":"silent""#), "{live}");
    let (exit, again) = bench.run(file, None, None);
    assert_eq!((exit.unwrap(), again), (Exit::Done, live));
}

#[test]
fn what_is_refused_is_named() {
    let bench = Bench::new();
    let trace = bench.file("bad.jsonl");
    let with = |text: &str| {
        std::fs::write(&trace, text).unwrap();
        told(bench.replayed(trace.clone()).0)
    };
    let good = "{\"t_ms\":5,\"step\":\"rig\"}\n";
    for (text, words) in [
        (format!("{good}{{\"t_ms\":6,\"step\":\"fly\"}}\n"), "bad.jsonl: line 2: `step`: expected one of rig"),
        (format!("{good}\n{{\"t_ms\":4,\"step\":\"rig\"}}\n"), "line 3: `t_ms`: expected no less than 5"),
        (format!("{good}\x01\x02\n"), "line 2"),
    ] {
        let told = with(&text);
        assert!(told.contains(words), "{told}");
    }
    std::fs::write(&trace, good).unwrap();
    assert!(told(bench.run(trace.clone(), None, None).0).contains("--plan PLAN and --kit KIT"));
    assert!(told(bench.replayed(bench.file("none.jsonl")).0).contains("none.jsonl"));
    assert!(told(bench.run(trace.clone(), Some(bench.file("none.toml")), Some(example("kit.toml").0)).0).contains("none.toml"));
    let (exit, findings) = bench.replayed({
        std::fs::write(&trace, "").unwrap();
        trace
    });
    assert_eq!((exit.unwrap(), findings.as_str()), (Exit::Done, ""), "an empty trace says nothing");
}

#[test]
fn a_recording_without_a_plan_asks_for_one() {
    let bench = Bench::new();
    let file = bench.file("bare.mcap");
    let opened = "2031-09-20T15:10:00Z".parse().unwrap();
    let mut recording = Recording::create(&file, Head { plan: None, kit: None, phrases: None, opened, opened_at: Mono(0) }).unwrap();
    let lines = lift_lines(60);
    lines.iter().for_each(|line| recording.tell(&Told::Taken(line.clone())));
    recording.finish();
    assert!(told(bench.run(file.clone(), None, None).0).contains("holds no plan: expected --plan FILE"));
    let (exit, findings) = bench.replayed(file);
    assert_eq!(exit.unwrap(), Exit::Done);
    assert_eq!(findings, bench.replayed(bench.trace(&lines)).1);
}
