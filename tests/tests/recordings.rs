//! Real recordings of other things through the watch's own parts: a bridge's force transducers and inclinometer, an IMU at rest, two
//! logs of NMEA sentences. Not in the repository; the folder is named by `RAISEWATCH_TRACES`, else `../shared/checks/traces`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_protocol::xdr::Sentence;
use raisewatch_watch::slow::drift::{Drift, PART_S, Rule};
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
