//! What a name and a number of a box's own most likely are. Only ever a proposal: `hear` prints it, a person decides.

use raisewatch_protocol::kit::WireUnit;
use raisewatch_protocol::words::Channel;

/// A proposal for one name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guess {
    /// The channel.
    pub channel: Channel,
    /// Its unit.
    pub unit: WireUnit,
    /// By what the number must be multiplied to be in that unit: a box may count in one that the wire does not have.
    pub times: f64,
    /// Whether the name itself says the unit.
    pub sure: bool,
}

/// Parts of names and what they mean; the first that fits holds.
const NAMES: &[(&[&str], Channel)] = &[
    (&["batt", "vbat", "volt", "supply"], Channel::Battery),
    (&["rope", "tension", "line-load"], Channel::RopeLoad),
    (&["load", "force", "weight", "cell", "mass", "kg", "newton"], Channel::HeadLoad),
    (&["height", "elevation", "distance", "altitude"], Channel::Height),
    (&["roll", "across", "cross", "tilt-x", "tiltx", "angle-x", "anglex"], Channel::TrussAcross),
    (&["pitch", "along", "tilt", "incl", "angle", "slope", "level"], Channel::TrussAlong),
];

/// Endings of names that say a unit.
const UNITS: &[(&str, WireUnit, f64)] = &[
    ("mrad", WireUnit::Rad, 1e-3),
    ("rad", WireUnit::Rad, 1.0),
    ("degrees", WireUnit::Deg, 1.0),
    ("deg", WireUnit::Deg, 1.0),
    ("kn", WireUnit::N, 1e3),
    ("newton", WireUnit::N, 1.0),
    ("n", WireUnit::N, 1.0),
    ("kg", WireUnit::Kg, 1.0),
    ("g", WireUnit::Kg, 1e-3),
    ("lbs", WireUnit::Kg, raisewatch_protocol::units::POUND_KG),
    ("lb", WireUnit::Kg, raisewatch_protocol::units::POUND_KG),
    ("mm", WireUnit::Mm, 1.0),
    ("cm", WireUnit::Mm, 10.0),
    ("m", WireUnit::M, 1.0),
    ("mv", WireUnit::Mv, 1.0),
    ("v", WireUnit::V, 1.0),
];

/// What `name` most likely is; nothing where it does not look like anything that is watched.
pub fn guess(name: &str) -> Option<Guess> {
    let plain = name.to_ascii_lowercase().replace('_', "-");
    let word = plain.rsplit(['.', '/']).find(|part| !part.is_empty())?;
    let words: Vec<&str> = word.split('-').collect();
    let stated = words.last().and_then(|last| UNITS.iter().find(|(unit, ..)| unit == last));
    let channel = Channel::from_word(word).or_else(|| named(word)).or_else(|| named(&plain));
    let channel = match channel {
        Some(Channel::TrussAlong) if plain.contains("mast") => Channel::MastAlong,
        Some(Channel::TrussAcross) if plain.contains("mast") => Channel::MastAcross,
        Some(channel) => channel,
        None => return None,
    };
    let usual = match channel {
        Channel::HeadLoad | Channel::RopeLoad => WireUnit::N,
        Channel::Height => WireUnit::M,
        Channel::Battery => WireUnit::V,
        _ => WireUnit::Deg,
    };
    let fits = |unit: WireUnit| raisewatch_protocol::measure::units_of(channel).1.contains(&unit);
    Some(match stated.filter(|(_, unit, _)| fits(*unit)) {
        Some(&(_, unit, times)) => Guess { channel, unit, times, sure: true },
        None => Guess { channel, unit: usual, times: 1.0, sure: false },
    })
}

fn named(text: &str) -> Option<Channel> {
    NAMES.iter().find(|(parts, _)| parts.iter().any(|part| text.contains(part))).map(|&(_, channel)| channel)
}

/// A channel from the type letter of an XDR group whose name says nothing.
pub fn by_letter(kind: &str) -> Option<Channel> {
    Some(match kind {
        "A" => Channel::TrussAlong,
        "N" => Channel::HeadLoad,
        "D" => Channel::Height,
        "U" => Channel::Battery,
        _ => return None,
    })
}

/// The numbers in a JSON value with the path to each, at most 32 of them.
pub fn numbers(value: &serde_json::Value) -> Vec<(String, f64)> {
    let mut found = Vec::new();
    walk("", value, &mut found);
    found
}

fn walk(path: &str, value: &serde_json::Value, found: &mut Vec<(String, f64)>) {
    // A box with more is none that a person reads on a terminal.
    if found.len() >= 32 || path.len() > 200 {
        return;
    }
    let below = |key: &str| if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
    match value {
        serde_json::Value::Number(number) => found.extend(number.as_f64().map(|number| (path.to_owned(), number))),
        serde_json::Value::Object(object) => object.iter().for_each(|(key, value)| walk(&below(key), value, found)),
        serde_json::Value::Array(list) => list.iter().enumerate().for_each(|(at, value)| walk(&below(&at.to_string()), value, found)),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_boxes() {
        let check = |name: &str, expected: Option<(Channel, WireUnit, f64, bool)>| {
            let got = guess(name).map(|g| (g.channel, g.unit, g.times, g.sure));
            assert_eq!(got, expected, "{name}");
        };
        check("pitch", Some((Channel::TrussAlong, WireUnit::Deg, 1.0, false)));
        check("pitch_rad", Some((Channel::TrussAlong, WireUnit::Rad, 1.0, true)));
        check("sensors.mast.tilt_deg", Some((Channel::MastAlong, WireUnit::Deg, 1.0, true)));
        check("Roll", Some((Channel::TrussAcross, WireUnit::Deg, 1.0, false)));
        check("load_kN", Some((Channel::HeadLoad, WireUnit::N, 1000.0, true)));
        check("weight-lb", Some((Channel::HeadLoad, WireUnit::Kg, 0.453_592_37, true)));
        check("head-load", Some((Channel::HeadLoad, WireUnit::N, 1.0, false)));
        check("rope_tension", Some((Channel::RopeLoad, WireUnit::N, 1.0, false)));
        check("height_cm", Some((Channel::Height, WireUnit::Mm, 10.0, true)));
        check("vbat_mv", Some((Channel::Battery, WireUnit::Mv, 1.0, true)));
        for other in ["temperature", "rssi", "uptime", "id", "", "n", "t"] {
            check(other, None);
        }
    }

    #[test]
    fn numbers_anywhere() {
        let value = serde_json::json!({"id": "x", "imu": {"pitch": 0.5, "ok": true}, "cells": [951, null, 12.5]});
        let found = numbers(&value);
        let paths: Vec<&str> = found.iter().map(|(path, _)| path.as_str()).collect();
        assert_eq!(paths, ["cells.0", "cells.2", "imu.pitch"]);
        assert_eq!(numbers(&serde_json::json!(vec![1; 1000])).len(), 32);
    }
}
