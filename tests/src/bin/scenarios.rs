//! Plays the scenarios of tests/scenarios through the watch, many seeds each, and prints how it did; beside it the yardstick.

use anyhow::Context;
use clap::Parser;
use raisewatch_simulator::{Head, Truth};
use raisewatch_tests::drive::{self, Run};
use raisewatch_tests::quiet::{self, Heard};
use raisewatch_tests::scenario::Scenario;
use raisewatch_tests::score::{self, Score};
use raisewatch_tests::vary::vary;
use raisewatch_tests::watcher::{Nobody, Told, Watcher, Watching};
use raisewatch_tests::yardstick::Yardstick;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

/// Plays the scenarios and prints how the watch did, and a plain threshold beside it.
#[derive(Debug, Parser)]
struct Args {
    /// Seeds for each scenario (10 for those of hours)
    #[arg(long)]
    seeds: Option<u64>,
    /// The first seed
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Only these (by number, as in the file's name)
    #[arg(long, value_delimiter = ',')]
    only: Vec<String>,
    /// Only the watch, only the yardstick, or nobody: what happens when nothing is said
    #[arg(long, value_parser = ["watch", "yardstick", "nobody"])]
    under: Option<String>,
    /// Every seed is another lift after the same pattern: span, weight, winch, pace, unrest and node rate vary
    #[arg(long)]
    vary: bool,
    /// Prints what was told in the first seed that did not pass (or the first, with --all)
    #[arg(long)]
    print: bool,
    /// With --print: the first seed, whether it passed or not
    #[arg(long, requires = "print")]
    all: bool,
    /// Writes the trace of the printed seed to this file
    #[arg(long, requires = "print")]
    trace: Option<PathBuf>,
    /// Plays the scenarios in which nothing is wrong with new seeds until so many simulated hours are together; any spoken word fails
    #[arg(long, value_name = "H", conflicts_with_all = ["seeds", "under", "print"])]
    quiet_hours: Option<f64>,
    /// Writes the truth of the printed seed to this file, a table: heights and cranks (mm), shares and ropes (N) of every tower
    #[arg(long, requires = "print")]
    truth: Option<PathBuf>,
    /// Where the scenarios are
    #[arg(long, default_value = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios"))]
    dir: PathBuf,
}

/// Passes in at least this share of the seeds, and never a wrong tower.
const ENOUGH: f64 = 0.95;

fn watcher(name: &str, scenario: &Scenario) -> anyhow::Result<Box<dyn Watcher>> {
    Ok(match name {
        "watch" => Box::new(Watching::new(&scenario.plan, &scenario.kit)?),
        "nobody" => Box::new(Nobody),
        "yardstick" => Box::new(Yardstick::new(&scenario.plan, &scenario.kit)),
        other => anyhow::bail!("no watcher {other}"),
    })
}

fn main() -> ExitCode {
    match run(&Args::parse()) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "scenarios: {error:#}");
            ExitCode::from(2)
        }
    }
}

fn run(args: &Args) -> anyhow::Result<bool> {
    let mut scenarios = Scenario::all(&args.dir)?;
    let known: Vec<String> = scenarios.iter().map(|s| s.id.clone()).collect();
    for id in &args.only {
        anyhow::ensure!(known.iter().any(|k| k == id), "no scenario {id:?}; there are {}", known.join(", "));
    }
    scenarios.retain(|s| args.only.is_empty() || args.only.contains(&s.id));
    let mut out = std::io::stdout();
    if let Some(hours) = args.quiet_hours {
        scenarios.retain(quiet::is_quiet);
        anyhow::ensure!(!scenarios.is_empty(), "no scenario among these in which nothing is wrong");
        return quiet_hours(&mut out, args, hours, &scenarios);
    }
    writeln!(
        out,
        "{:<5} {:<34} {:<10} {:>6} {:>8} {:>7} {:>6} {:>7} {:>7} {:>6}  pass",
        "no.", "scenario", "under", "seeds", "detected", "in time", "tower", "median", "p95", "false"
    )?;
    let (mut passed, mut count) = (0, 0);
    for scenario in &scenarios {
        let seeds = args.seeds.unwrap_or(100).min(scenario.seeds.unwrap_or(u64::MAX));
        for under in ["watch", "yardstick", "nobody"] {
            if args.under.as_deref().map_or(under == "nobody", |only| only != under) {
                continue;
            }
            let scores = scores(args, scenario, under, seeds)?;
            let pass = row(&mut out, scenario, under, &scores)?;
            if under == "watch" || args.under.is_some() {
                count += 1;
                passed += usize::from(pass);
            }
            if args.print && (under == "watch" || args.under.is_some()) {
                print(&mut out, args, scenario, under, &scores)?;
            }
        }
    }
    writeln!(out, "{passed} of {count} pass")?;
    Ok(passed == count)
}

/// Scores of all seeds, in order.
fn scores(args: &Args, pattern: &Scenario, under: &str, seeds: u64) -> anyhow::Result<Vec<Score>> {
    let one = |seed: u64| -> anyhow::Result<Score> {
        let scenario = of_seed(args, pattern, seed)?;
        let mut watcher = watcher(under, &scenario)?;
        let run = drive::drive(&scenario, seed, watcher.as_mut(), false)?;
        score::score(&scenario, &run, || drive::drive(&scenario, seed, &mut Nobody, false))
    };
    each_seed(args, pattern, seeds, one)
}

/// What `one` makes of each seed, in order, on as many threads as there are processors.
fn each_seed<T: Send>(
    args: &Args,
    pattern: &Scenario,
    seeds: u64,
    one: impl Fn(u64) -> anyhow::Result<T> + Sync,
) -> anyhow::Result<Vec<T>> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from) as u64;
    let one = |seed: u64| one(seed).with_context(|| format!("{} seed {seed}", pattern.id));
    let (one, first) = (&one, args.seed);
    let mut all = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads)
            .map(|t| scope.spawn(move || (t..seeds).step_by(threads as usize).map(|n| one(first + n).map(|s| (n, s))).collect::<Vec<_>>()))
            .collect();
        workers
            .into_iter()
            .flat_map(|w| w.join().unwrap_or_else(|_| vec![Err(anyhow::anyhow!("{}: a seed panicked", pattern.id))]))
            .collect::<Result<Vec<_>, _>>()
    })?;
    all.sort_by_key(|(n, _)| *n);
    Ok(all.into_iter().map(|(_, one)| one).collect())
}

/// Plays `hours` of lifts in which nothing is wrong; whether nobody was spoken to.
fn quiet_hours(out: &mut dyn Write, args: &Args, hours: f64, scenarios: &[Scenario]) -> anyhow::Result<bool> {
    let lasts = |s: &Scenario| -> anyhow::Result<f64> {
        let s = of_seed(args, s, args.seed)?;
        let end = s.script.end.map(|end| end.0);
        Ok(end.map_or_else(|| drive::drive(&s, args.seed, &mut Nobody, false).map(|run| run.lasted.s()), Ok)? / 3600.0)
    };
    let each_h = scenarios.iter().map(lasts).collect::<anyhow::Result<Vec<f64>>>()?;
    writeln!(out, "{:<5} {:<34} {:>6} {:>8} {:>6}", "no.", "quiet scenario", "seeds", "hours", "words")?;
    let (mut together, mut spoken) = (0.0, 0);
    for (pattern, seeds) in scenarios.iter().zip(quiet::seeds(hours, &each_h)) {
        let one = |seed: u64| {
            let scenario = of_seed(args, pattern, seed)?;
            let mut heard = Heard::default();
            heard.add(seed, &drive::drive(&scenario, seed, &mut Watching::new(&scenario.plan, &scenario.kit)?, false)?);
            Ok(heard)
        };
        let all = each_seed(args, pattern, seeds, one)?;
        let (hours, words) = (all.iter().map(|h| h.hours).sum::<f64>(), all.iter().map(|h| h.words.len()).sum::<usize>());
        let title: String = pattern.title.chars().take(34).collect();
        writeln!(out, "{:<5} {title:<34} {seeds:>6} {hours:>8.2} {words:>6}", pattern.id)?;
        for (seed, at, text) in all.iter().flat_map(|h| &h.words) {
            writeln!(out, "      seed {seed} at {at:.1} s: {text}")?;
        }
        (together, spoken) = (together + hours, spoken + words);
    }
    writeln!(out, "{together:.1} simulated hours, {spoken} spoken words")?;
    Ok(spoken == 0)
}

/// The scenario as this seed plays it.
fn of_seed(args: &Args, pattern: &Scenario, seed: u64) -> anyhow::Result<Scenario> {
    if args.vary { vary(pattern, seed) } else { Ok(pattern.clone()) }
}

fn row(out: &mut dyn Write, scenario: &Scenario, under: &str, scores: &[Score]) -> anyhow::Result<bool> {
    let of = |holds: &dyn Fn(&Score) -> bool| scores.iter().filter(|s| holds(s)).count();
    let passes = of(&Score::pass);
    let wrong = of(&|s| !s.right_tower);
    let pass = passes as f64 >= ENOUGH * scores.len() as f64 && wrong == 0;
    let mut delays: Vec<f64> = scores.iter().filter_map(|s| s.delay_s).collect();
    delays.sort_by(f64::total_cmp);
    let at = |share: f64| {
        delays.get(((delays.len() as f64 * share).ceil() as usize).saturating_sub(1)).map_or("-".to_owned(), |d| format!("{d:.2}"))
    };
    let false_words: usize = scores.iter().map(|s| s.false_words).sum();
    writeln!(
        out,
        "{:<5} {:<34} {:<10} {:>6} {:>8} {:>7} {:>6} {:>7} {:>7} {:>6}  {} ({passes})",
        scenario.id,
        scenario.title.chars().take(34).collect::<String>(),
        under,
        scores.len(),
        of(&|s| s.detected),
        of(&|s| s.detected && s.in_time),
        scores.len() - wrong,
        at(0.5),
        at(0.95),
        false_words,
        if pass { "pass" } else { "FAIL" }
    )?;
    if under == "watch" {
        let mut reasons: Vec<String> = scores.iter().flat_map(|s| s.broken.clone()).collect();
        reasons.sort();
        reasons.dedup();
        for reason in reasons.iter().take(6) {
            let seeds = scores.iter().filter(|s| s.broken.contains(reason)).count();
            writeln!(out, "      {reason}: {seeds} seeds")?;
        }
    }
    Ok(pass)
}

fn print(out: &mut dyn Write, args: &Args, scenario: &Scenario, under: &str, scores: &[Score]) -> anyhow::Result<()> {
    let Some(index) = scores.iter().position(|s| args.all || !s.pass()) else { return Ok(()) };
    let seed = args.seed + index as u64;
    let scenario = &of_seed(args, scenario, seed)?;
    let mut watcher = watcher(under, scenario)?;
    let run = drive::drive(scenario, seed, watcher.as_mut(), true)?;
    writeln!(out, "--- {} seed {seed}: {:?}", scenario.id, scores[index])?;
    for (number, must) in scenario.must.iter().enumerate() {
        let at = score::moment(&must.from, &run, &scenario.plan).map(|m| m.s());
        writeln!(out, "must {}: from {at:?} s within {} s", number + 1, must.within.0)?;
    }
    told(out, &run)?;
    if let Some(path) = &args.trace {
        let lines: Result<Vec<String>, _> = run.lines.iter().map(serde_json::to_string).collect();
        std::fs::write(path, lines?.join("\n") + "\n").with_context(|| path.display().to_string())?;
    }
    if let Some(path) = &args.truth {
        std::fs::write(path, truth(&run)).with_context(|| path.display().to_string())?;
    }
    Ok(())
}

/// The truth as a table, a row each 20 ms.
fn truth(run: &Run) -> String {
    let towers = run.truth.first().map_or(String::new(), |t| {
        t.heads.iter().map(|h| format!(",{0} height_mm,{0} crank_mm,{0} share_n,{0} rope_n", h.tower)).collect()
    });
    let row = |t: &Truth| {
        let cell = |h: &Head| format!(",{:.1},{:.1},{:.0},{:.0}", 1000.0 * h.height_m, 1000.0 * h.crank_m, h.share_n, h.rope_n);
        format!("{:.2},{}{}\n", t.t.s(), t.step, t.heads.iter().map(cell).collect::<String>())
    };
    format!("t_s,step{towers}\n{}", run.truth.iter().map(row).collect::<String>())
}

fn told(out: &mut dyn Write, run: &Run) -> anyhow::Result<()> {
    for one in &run.told {
        let line = match one {
            Told::Finding(finding) => serde_json::to_string(finding)?,
            Told::Call(call) => serde_json::to_string(call)?,
        };
        writeln!(out, "{line}")?;
    }
    Ok(())
}
