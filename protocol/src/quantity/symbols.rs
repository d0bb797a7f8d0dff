//! The unit symbols that plan and kit files may use.
//!
//! Factors are exact by definition where they are short. Sources: BIPM SI brochure; NIST SP 811 (2008) appendix B;
//! international yard and pound agreement (1959). They are checked against tests/checks/units.toml.

use crate::units::{POUND_KG, STANDARD_GRAVITY};
use std::f64::consts::PI;

/// Names, size in SI, powers of mass, length, time, angle, voltage.
type Symbol = (&'static [&'static str], f64, [i8; 5]);

const FOOT: f64 = 0.3048;
const INCH: f64 = 0.0254;
const MASS: [i8; 5] = [1, 0, 0, 0, 0];
const LENGTH: [i8; 5] = [0, 1, 0, 0, 0];
const TIME: [i8; 5] = [0, 0, 1, 0, 0];
const ANGLE: [i8; 5] = [0, 0, 0, 1, 0];
const VOLT: [i8; 5] = [0, 0, 0, 0, 1];
const FORCE: [i8; 5] = [1, 1, -2, 0, 0];
const PRESSURE: [i8; 5] = [1, -1, -2, 0, 0];

/// Every known unit.
pub(super) const SYMBOLS: &[Symbol] = &[
    (&["kg", "kilo", "kilos", "kilogram", "kilograms", "kilogramme", "kilogrammes"], 1.0, MASS),
    (&["g", "gram", "grams"], 1e-3, MASS),
    (&["t", "tonne", "tonnes"], 1e3, MASS),
    (&["lb", "lbs", "pound", "pounds"], POUND_KG, MASS),
    (&["oz", "ounce", "ounces"], POUND_KG / 16.0, MASS),
    (&["short-ton", "short-tons"], 2000.0 * POUND_KG, MASS),
    (&["long-ton", "long-tons"], 2240.0 * POUND_KG, MASS),
    (&["slug", "slugs"], POUND_KG * STANDARD_GRAVITY / FOOT, MASS),
    (&["N", "newton", "newtons"], 1.0, FORCE),
    (&["daN"], 10.0, FORCE),
    (&["kN", "kilonewton", "kilonewtons"], 1e3, FORCE),
    (&["MN", "meganewton", "meganewtons"], 1e6, FORCE),
    (&["kgf", "kp"], STANDARD_GRAVITY, FORCE),
    (&["tf"], 1e3 * STANDARD_GRAVITY, FORCE),
    (&["lbf"], POUND_KG * STANDARD_GRAVITY, FORCE),
    (&["kip", "kips"], 1e3 * POUND_KG * STANDARD_GRAVITY, FORCE),
    (&["m", "metre", "metres", "meter", "meters"], 1.0, LENGTH),
    (&["cm", "centimetre", "centimetres", "centimeter", "centimeters"], 1e-2, LENGTH),
    (&["mm", "millimetre", "millimetres", "millimeter", "millimeters"], 1e-3, LENGTH),
    (&["ft", "foot", "feet", "'", "′"], FOOT, LENGTH),
    (&["in", "inch", "inches", "\"", "″"], INCH, LENGTH),
    (&["yd", "yard", "yards"], 3.0 * FOOT, LENGTH),
    (&["s", "sec", "second", "seconds"], 1.0, TIME),
    (&["ms", "millisecond", "milliseconds"], 1e-3, TIME),
    (&["min", "minute", "minutes"], 60.0, TIME),
    (&["h", "hour", "hours"], 3600.0, TIME),
    (&["d", "day", "days"], 86_400.0, TIME),
    (&["Hz", "hertz"], 1.0, [0, 0, -1, 0, 0]),
    (&["rad", "radian", "radians"], 1.0, ANGLE),
    (&["mrad"], 1e-3, ANGLE),
    (&["deg", "degree", "degrees", "°"], PI / 180.0, ANGLE),
    (&["V", "volt", "volts"], 1.0, VOLT),
    (&["mV"], 1e-3, VOLT),
    (&["%", "percent"], 1e-2, [0; 5]),
    (&["Pa"], 1.0, PRESSURE),
    (&["kPa"], 1e3, PRESSURE),
    (&["MPa"], 1e6, PRESSURE),
    (&["GPa"], 1e9, PRESSURE),
];

/// Words that mean several units, and what to write in their place.
pub(super) const AMBIGUOUS: &[(&str, &str)] = &[
    ("ton", "`tonne` (1000 kg), `short ton` (2000 lb) or `long ton` (2240 lb)"),
    ("tons", "`tonnes` (1000 kg), `short tons` (2000 lb) or `long tons` (2240 lb)"),
    ("T", "`t` or `tonne` for 1000 kg"),
    ("M", "`m` for metres, `MN` for meganewtons"),
    ("K", "`kg` for kilograms, `kN` for kilonewtons"),
    ("k", "`kg` for kilograms, `kN` for kilonewtons"),
];
