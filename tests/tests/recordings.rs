//! Real recordings of other things through the watch's own parts: a bridge's force transducers and inclinometer, an IMU at rest, two
//! logs of NMEA sentences. Not in the repository; the folder is named by `RAISEWATCH_TRACES`, else `../shared/checks/traces`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::told::{Call, Finding};
use raisewatch_protocol::trace::TraceLine;
use raisewatch_protocol::words::{Audience, Channel, Kind, Severity, Word};
use raisewatch_protocol::xdr::Sentence;
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::slow::drift::{Drift, PART_S, Rule};
use raisewatch_watch::view::HealthView;
use raisewatch_watch::watch::{Output, Watch};
use std::io::Write;
use std::path::{Path, PathBuf};

fn traces() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/checks/traces");
    let found = std::env::var_os("RAISEWATCH_TRACES").map_or(beside, PathBuf::from);
    if !found.is_dir() {
        let _ = writeln!(std::io::stderr(), "skipped: no traces");
        return None;
    }
    Some(found)
}

/// Columns of a table, the first is seconds.
fn columns(folder: &Path, file: &str) -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(folder.join(file)).unwrap();
    text.lines().skip(1).map(|l| l.split(',').map(|v| v.parse().unwrap()).collect()).collect()
}

/// Means over the parts of a drift.
fn parts(rows: &[Vec<f64>], column: usize) -> Vec<f64> {
    let of = |part: usize| rows.iter().filter(move |r| (r[0] / PART_S) as usize == part).map(|r| r[column]);
    let last = (rows.last().unwrap()[0] / PART_S) as usize;
    (0..last).map(|p| of(p).sum::<f64>() / of(p).count() as f64).collect()
}

/// The same bridge at its reference height, then with a support lowered: 12 minutes each, forces in kN. A load passes over it all the
/// while (± 4 kN, for a minute at a time): that is its noise.
#[test]
fn the_lowered_support_is_seen_in_the_shares_and_the_passing_load_is_not() {
    let Some(folder) = traces() else { return };
    let level = columns(&folder, "bridge_force_level_5hz.csv");
    let lowered = columns(&folder, "bridge_force_lowered1_5hz.csv");
    for (column, least) in [(1, 20.0), (2, 38.0)] {
        let means = parts(&level, column);
        let middle = means.iter().sum::<f64>() / means.len() as f64;
        let floor = (means.iter().map(|m| (m - middle).powi(2)).sum::<f64>() / means.len() as f64).sqrt();
        let mut drift = Drift::new(Rule { floor, allowed_per_h: 0.0, allowed_most: 0.0 });
        let mut t = 0.0;
        for mean in means {
            t += PART_S;
            drift.take(t, mean);
            assert_eq!(drift.gone(), None, "column {column} at {t} s: the load that passes is no change");
        }
        for mean in parts(&lowered, column) {
            t += PART_S;
            drift.take(t, mean);
        }
        assert!(drift.gone().is_some(), "column {column}: {:?}", drift.change());
        assert!(drift.change().is_some_and(|c| c < -least + 5.0), "column {column}: {:?}", drift.change());
    }
}

#[test]
fn an_inclinometer_with_spikes_and_an_imu_at_rest_do_not_drift() {
    let Some(folder) = traces() else { return };
    let bridge = columns(&folder, "bridge_all_100hz.csv");
    let spikes = bridge.windows(2).filter(|w| (w[1][2] - w[0][2]).abs() > 0.1).count();
    assert!(spikes >= 3, "{spikes} jumps of a tenth of a degree between neighbours");
    let mut drift = Drift::new(Rule { floor: 0.02, allowed_per_h: 0.0, allowed_most: 0.0 });
    // A minute, four times over: a reference needs one.
    let means = parts(&bridge, 2);
    for (i, mean) in means.iter().cycle().take(4 * means.len()).enumerate() {
        drift.take((i + 1) as f64 * PART_S, *mean);
        assert_eq!(drift.gone(), None);
    }
    let imu = columns(&folder, "imu_rest_100hz.csv");
    // Tilts of 0.1° and less are within reach of an accelerometer with this noise: a mean of four seconds, degrees.
    let tilt = |r: &Vec<f64>| r[2].atan2(r[3]).to_degrees();
    let (first, second) = imu.split_at(imu.len() / 2);
    let mean = |rows: &[Vec<f64>]| rows.iter().map(tilt).sum::<f64>() / rows.len() as f64;
    assert!((mean(first) - mean(second)).abs() < 0.1, "{} {}", mean(first), mean(second));
}

#[test]
fn sentences_of_other_makers_are_read_to_the_last_group() {
    let Some(folder) = traces() else { return };
    for (file, names, least) in [("nmea_heel_trim.nmea", ["HEEL", "TRIM"], 100), ("nmea_attitude.nmea", ["PTCH", "ROLL"], 7)] {
        let text = std::fs::read_to_string(folder.join(file)).unwrap();
        let mut counts = [0; 2];
        for line in text.lines().filter(|l| l.get(3..6) == Some("XDR")) {
            let sentence = Sentence::parse(line).unwrap_or_else(|e| panic!("{file}: {line}: {e}"));
            for reading in sentence.readings() {
                let (quad, value) = reading.unwrap_or_else(|e| panic!("{file}: {line}: {e}"));
                if let Some(k) = names.iter().position(|n| *n == quad.name) {
                    counts[k] += 1;
                    assert!((quad.kind, quad.unit) == ("A", "D") && value.is_some_and(|v| v.abs() < 10.0), "{file}: {quad:?}");
                } else {
                    // Air temperature and pressure are sent empty: nothing, never zero.
                    assert!(quad.value.is_empty() == value.is_none(), "{file}: {quad:?}");
                }
            }
        }
        assert!(counts.iter().all(|c| *c >= least), "{file}: {counts:?}");
    }
}

/// A truss of 73 kg on two towers 6 m apart. A kilonewton of the bridge is 1.5 N here: its bearings then carry what these towers do.
const PLAN: &str = r#"
title = "Kiln Meadow"
site = "kiln-meadow"
working-height = "1.2 m"
trim-height = "3 m"
pace = "25 mm/s"
tolerance = "from-statics"
[[piece]]
id = "front"
from = ["0 m", "0 m"]
to = ["8 m", "0 m"]
weight = "6 kg/m"
source = "weighed"
[[tower]]
id = "A"
name = "Alpha"
at = "1 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
collapsed = "1.2 m"
full = "5.2 m"
[[tower]]
id = "B"
name = "Bravo"
at = "7 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
collapsed = "1.2 m"
full = "5.2 m"
[[load]]
name = "deck"
weight = "24.9 kg"
source = "weighed"
at = ["4 m"]
"#;
const N_PER_KN: f64 = 1.5;

/// A: a cell and a tilt of the truss; B: a cell. Both zeroed and proved, at rates of the recordings.
fn kit(rates_hz: [u32; 2]) -> Kit {
    let kept = r#"zero = { value = "0 UNIT", when = 2031-05-14T13:40:00Z, by = "Ines", valid = "14 h" }
proved = { when = 2031-05-14T13:50:00Z, by = "Ines" }"#;
    let (cell, tilt) = (kept.replace("UNIT", "N"), kept.replace("UNIT", "deg"));
    let node = |id, tower, rate| {
        format!("[[node]]\nid = \"{id}\"\ntower = \"{tower}\"\nover = \"mqtt\"\nrate = \"{rate} Hz\"\n[node.channel.head-load]\n{cell}\n")
    };
    let text = format!(
        "broker = \"mqtt://127.0.0.1:1883\"\n{}[node.channel.truss-along]\npiece = \"front\"\nat = \"4 m\"\n{tilt}\n{}",
        node("na", "A", rates_hz[0]),
        node("nb", "B", rates_hz[1])
    );
    Kit::read(&text, "kit").unwrap()
}

/// The watch over a recording, fed with packets as they come off the wire; what it told.
struct Fed {
    watch: Watch,
    intake: Intake,
    findings: Vec<Finding>,
    spoken: Vec<Call>,
}

impl Fed {
    fn new(rates_hz: [u32; 2], step: &str) -> Fed {
        let (plan, kit) = (Plan::read(PLAN, "plan").unwrap(), kit(rates_hz));
        let watch = Watch::new(&plan, &kit, Phrases::default()).unwrap();
        let mut fed = Fed { watch, intake: Intake::new(&kit), findings: Vec::new(), spoken: Vec::new() };
        fed.line(r#"{"t_ms":0,"wall":"2031-05-14T14:00:00Z"}"#);
        fed.line(&format!(r#"{{"t_ms":0,"step":"{step}","by":"lead"}}"#));
        fed
    }

    /// One line of a trace; every deadline before it comes first, as live.
    fn line(&mut self, line: &str) {
        let line = TraceLine::parse(line).unwrap();
        let inputs = self.intake.take(&line).inputs;
        while let Some(due) = self.watch.deadline().filter(|d| *d < line.t_ms) {
            self.tell(due, &Input::Tick);
        }
        for input in inputs {
            self.tell(line.t_ms, &input);
        }
    }

    fn tell(&mut self, at: Mono, input: &Input) {
        for output in self.watch.step(at, input) {
            match output {
                Output::Finding(finding) => self.findings.push(finding.clone()),
                Output::Call(call) if !matches!(call.call, Word::Level | Word::None) => self.spoken.push(call.clone()),
                _ => {}
            }
        }
    }

    fn packet(&mut self, t_s: f64, node: &str, load_kn: f64, tilt_deg: Option<f64>) {
        let tilt = tilt_deg.map(|deg| format!(r#",{{"n":"truss-along","u":"deg","v":{deg}}}"#)).unwrap_or_default();
        let load = load_kn * N_PER_KN;
        self.line(&format!(r#"{{"t_ms":{:.3},"node":"{node}","senml":[{{"n":"head-load","u":"N","v":{load:.6}}}{tilt}]}}"#, t_s * 1000.0));
    }

    fn health(&self, tower: &str, channel: Channel) -> HealthView {
        self.watch.view().health.into_iter().find(|h| h.tower == tower && h.channel == channel).unwrap()
    }

    fn shares(&self) -> [f64; 2] {
        let towers = self.watch.view().towers;
        [0, 1].map(|t: usize| towers[t].measured_n.unwrap())
    }
}

/// The bridge stands: twelve minutes at its height, a load of 2 % at several places on it; then twelve with a support lowered. Force 1
/// is A's cell, force 2 is B's, the inclination (a minute of it, again and again) the truss's tilt; five packets a second each.
#[test]
fn standing_on_a_real_bridge_nothing_is_told_until_a_support_is_lowered() {
    let Some(folder) = traces() else { return };
    let tilt: Vec<f64> = columns(&folder, "bridge_all_100hz.csv").iter().step_by(20).map(|r| r[2]).collect();
    let mut fed = Fed::new([5, 5], "stand");
    let mut n = 0;
    let mut play = |fed: &mut Fed, file: &str| {
        for row in columns(&folder, file) {
            let t_s = 0.1 + 0.2 * n as f64;
            fed.packet(t_s, "na", row[1], Some(tilt[n % tilt.len()]));
            fed.packet(t_s + 0.05, "nb", row[2], None);
            n += 1;
        }
    };
    play(&mut fed, "bridge_force_level_5hz.csv");
    assert_eq!(fed.findings, [], "no false step while it stands");
    assert_eq!(fed.spoken, []);
    let before = fed.shares();
    play(&mut fed, "bridge_force_lowered1_5hz.csv");
    let after = fed.shares();
    // Means of the files, tests/checks: 238.6 and 237.9 kN before, 215.2 and 195.3 kN after; the load on it stands elsewhere (± 4 kN).
    for (k, fell_kn) in [(0, 23.4), (1, 42.6)] {
        let fell = (before[k] - after[k]) / N_PER_KN;
        assert!((fell - fell_kn).abs() < 4.0, "share {k} fell by {fell} kN");
    }
    let first = &fed.findings[0];
    assert_eq!((first.kind, first.severity, first.to), (Kind::MissingWeight, Severity::Warn, Audience::Lead), "{first:?}");
    assert!(first.t_ms.s() < 721.0 + 20.0 && first.amount.is_some_and(|n| (n / N_PER_KN - 66.0).abs() < 20.0), "{first:?}");
    assert!(fed.findings.iter().all(|f| f.kind == Kind::MissingWeight), "{:?}", fed.findings);
}

/// A vehicle goes over the bridge: its inclinometer rings by 0.3°. A node of 100 readings a second hears a swing, one of five a second
/// single wild readings, which are kept out of its means and counted. Neither takes them for a step, a knock, a drop or noise.
#[test]
fn an_inclinometer_that_rings_is_no_step_and_its_spikes_are_rejected() {
    let Some(folder) = traces() else { return };
    let (bridge, beside) = (columns(&folder, "bridge_all_100hz.csv"), columns(&folder, "bridge_force_level_5hz.csv"));
    let far = bridge.iter().filter(|r| (r[2] - 0.009).abs() > 0.1).count();
    assert!(far > 100, "{far} readings a tenth of a degree off");
    let tilt = kit([5, 5]).nodes[0].channels.iter().position(|c| c.channel == Channel::TrussAlong).unwrap();
    for thin in [1, 5, 20] {
        let mut fed = Fed::new([100 / thin as u32, 5], "stand");
        let mut worst = 0.0_f64;
        for (i, row) in bridge.iter().enumerate() {
            if i % thin == 0 {
                fed.packet(0.1 + row[0], "na", row[1], Some(row[2]));
                let slow = fed.watch.estimator().slow_mean(tilt).unwrap().value.to_degrees();
                worst = worst.max((slow - 0.0095).abs());
            }
            if i % 20 == 0 {
                fed.packet(0.1 + row[0] + 0.003, "nb", beside[i / 20][2], None);
            }
        }
        let seen = fed.health("A", Channel::TrussAlong);
        assert_eq!((&fed.findings[..], &fed.spoken[..]), (&[][..], &[][..]), "every {thin}th reading");
        assert!(worst < 0.02, "every {thin}th reading: the mean went off by {worst} degrees");
        assert!(thin < 20 || seen.spikes >= 3, "{seen:?}");
        assert_eq!((seen.state, seen.renews_s), ("heard", None));
    }
}

/// Force 2 of this recording is sampled once a second and sent a hundred times: no frozen channel, and no quick one either. It is B's
/// cell, force 1 A's.
#[test]
fn a_channel_that_renews_once_a_second_is_told_and_not_taken_for_frozen() {
    let Some(folder) = traces() else { return };
    let hold = columns(&folder, "bridge_force_hold_100hz.csv");
    for (step, told) in [("stand", false), ("test-lift", true), ("raise", true)] {
        let mut fed = Fed::new([100, 100], step);
        for row in &hold {
            fed.packet(0.1 + row[0], "na", row[1] * 0.91, Some(0.0005 * (row[0] * 37.0).sin()));
            fed.packet(0.1 + row[0] + 0.003, "nb", row[2], None);
        }
        let cell = fed.health("B", Channel::HeadLoad);
        assert!(cell.renews_s.is_some_and(|s| (s - 1.0).abs() < 0.02), "{step}: {cell:?}");
        assert_eq!((cell.state, fed.health("A", Channel::HeadLoad).state), ("too-slow", "heard"), "{step}");
        assert!(fed.findings.iter().all(|f| f.kind != Kind::Frozen), "{step}: {:?}", fed.findings);
        let slow: Vec<_> = fed.findings.iter().filter(|f| f.kind == Kind::Silent).collect();
        assert_eq!(!slow.is_empty(), told, "{step}: {:?}", fed.findings);
        for finding in slow {
            assert_eq!((finding.severity, finding.tower.as_deref(), finding.amount), (Severity::Warn, Some("B"), Some(1.0)));
            assert!(finding.text.contains("Bravo") && finding.text.contains("1.0 s"), "{}", finding.text);
            assert!(finding.t_ms.s() < 12.0, "{finding:?}");
        }
        let why = fed.watch.view().not_claimed;
        assert_eq!(why.is_some_and(|w| w.contains("Bravo")), told, "{step}");
    }
}
