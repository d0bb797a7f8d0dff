//! One instrument: from what is there to what the wire says, with noise, bias, span, steps of its converter, and faults.

use crate::quantity::{Hertz, Metres, Newtons, Radians, Seconds};
use crate::stream::Stream;
use raisewatch_protocol::kit::{Calibration, Fitted, WireUnit};
use raisewatch_protocol::units::STANDARD_GRAVITY;
use raisewatch_protocol::words::Channel;
use serde::Deserialize;

/// How much the instruments and the place rustle. `"n1"`, `"half"`, `"none"`, or a table that starts from one of them.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(try_from = "NoiseText")]
pub struct Noise {
    /// White noise of a tilt, rad rms.
    pub tilt_white: f64,
    /// Bias left after zeroing, rad, evenly either way.
    pub tilt_bias: f64,
    /// Ripple of a tilt at the crank's pace, rad peak.
    pub crank_tilt: f64,
    /// Sway while cranking, apparent tilt, rad peak.
    pub sway_tilt: f64,
    /// Its frequency, Hz.
    pub sway_hz: f64,
    /// White noise of a load, N rms.
    pub load_white: f64,
    /// Zero bias, N, evenly either way.
    pub load_bias: f64,
    /// Span error, share, evenly either way.
    pub load_span: f64,
    /// Load ripple at the crank's pace, share of the load, peak.
    pub crank_load: f64,
    /// White noise of a height, m rms.
    pub height_white: f64,
    /// Bias of a height, m, evenly either way.
    pub height_bias: f64,
    /// Share of packets lost.
    pub loss: f64,
    /// Least and most time on the way, s.
    pub latency: [f64; 2],
}

/// N1 of the evaluation scenarios (docs/trade.md section 8): tilt 0.05° white, ±0.4° at the crank, 0.3° sway at 0.9 Hz, bias 0.05°;
/// load 0.5 kg white, ±3 % at the crank, ±2 lb zero, ±1 % span; 1 % loss, 20 to 80 ms. Heights are ours: 1.5 mm, ±3 mm.
pub const N1: Noise = Noise {
    tilt_white: 0.05 * DEG,
    tilt_bias: 0.05 * DEG,
    crank_tilt: 0.4 * DEG,
    sway_tilt: 0.3 * DEG,
    sway_hz: 0.9,
    load_white: 0.5 * STANDARD_GRAVITY,
    load_bias: 8.896,
    load_span: 0.01,
    crank_load: 0.03,
    height_white: 0.0015,
    height_bias: 0.003,
    loss: 0.01,
    latency: [0.020, 0.080],
};

const DEG: f64 = std::f64::consts::PI / 180.0;

impl Default for Noise {
    fn default() -> Self {
        N1
    }
}

impl Noise {
    fn times(self, k: f64) -> Noise {
        Noise {
            tilt_white: self.tilt_white * k,
            tilt_bias: self.tilt_bias * k,
            crank_tilt: self.crank_tilt * k,
            sway_tilt: self.sway_tilt * k,
            load_white: self.load_white * k,
            load_bias: self.load_bias * k,
            load_span: self.load_span * k,
            crank_load: self.crank_load * k,
            height_white: self.height_white * k,
            height_bias: self.height_bias * k,
            loss: self.loss * k,
            ..self
        }
    }
    fn preset(name: &str) -> Result<Noise, String> {
        match name {
            "n1" => Ok(N1),
            "half" => Ok(N1.times(0.5)),
            "none" => Ok(Noise { latency: [0.005, 0.005], ..N1.times(0.0) }),
            _ => Err(format!("expected noise \"n1\", \"half\" or \"none\", found \"{name}\"")),
        }
    }
}

#[derive(Deserialize)]
#[serde(untagged)]
enum NoiseText {
    Preset(String),
    Table(Box<NoiseTable>),
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct NoiseTable {
    from: Option<String>,
    tilt_white: Option<Radians>,
    tilt_bias: Option<Radians>,
    crank_tilt: Option<Radians>,
    sway_tilt: Option<Radians>,
    sway: Option<Hertz>,
    load_white: Option<Newtons>,
    load_bias: Option<Newtons>,
    load_span: Option<f64>,
    crank_load: Option<f64>,
    height_white: Option<Metres>,
    height_bias: Option<Metres>,
    loss: Option<f64>,
    latency: Option<[Seconds; 2]>,
}

impl TryFrom<NoiseText> for Noise {
    type Error = String;
    fn try_from(text: NoiseText) -> Result<Self, String> {
        let table = match text {
            NoiseText::Preset(name) => return Noise::preset(&name),
            NoiseText::Table(table) => table,
        };
        let mut noise = Noise::preset(table.from.as_deref().unwrap_or("n1"))?;
        let put = |field: &mut f64, value: Option<f64>| {
            if let Some(value) = value {
                *field = value;
            }
        };
        put(&mut noise.tilt_white, table.tilt_white.map(|q| q.0));
        put(&mut noise.tilt_bias, table.tilt_bias.map(|q| q.0));
        put(&mut noise.crank_tilt, table.crank_tilt.map(|q| q.0));
        put(&mut noise.sway_tilt, table.sway_tilt.map(|q| q.0));
        put(&mut noise.sway_hz, table.sway.map(|q| q.0));
        put(&mut noise.load_white, table.load_white.map(|q| q.0));
        put(&mut noise.load_bias, table.load_bias.map(|q| q.0));
        put(&mut noise.load_span, table.load_span);
        put(&mut noise.crank_load, table.crank_load);
        put(&mut noise.height_white, table.height_white.map(|q| q.0));
        put(&mut noise.height_bias, table.height_bias.map(|q| q.0));
        put(&mut noise.loss, table.loss);
        if let Some([least, most]) = table.latency {
            noise.latency = [least.0, most.0.max(least.0)];
        }
        Ok(noise)
    }
}

/// What is wrong with an instrument at this moment; all together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wrongness {
    /// Added, in the channel's unit.
    pub off: f64,
    /// Multiplied; 0 stands for 1.
    pub times: Option<f64>,
    /// Repeats its last value.
    pub frozen: bool,
    /// Other sign.
    pub backwards: bool,
    /// Reads this.
    pub value: Option<f64>,
    /// Not sent.
    pub missing: bool,
    /// More white noise.
    pub noise: f64,
}

/// One instrument.
#[derive(Clone, Debug)]
pub struct Instrument {
    /// What it measures.
    pub channel: Channel,
    /// Name on the wire.
    pub name: String,
    sign: f64,
    calibration: Calibration,
    unit: Option<WireUnit>,
    mount: f64,
    bias: f64,
    span: f64,
    white: f64,
    quantum: f64,
    rope_ratio: f64,
    felt: Option<f64>,
    last: f64,
    stream: Stream,
}

/// Time constant of an instrument's own filter, s: tilt as sold for slow levels, load a little quicker. No source.
fn settle_s(channel: Channel) -> f64 {
    match channel {
        Channel::HeadLoad | Channel::RopeLoad => 0.02,
        _ => 0.03,
    }
}

/// Smallest step of the converter, in the channel's unit. Common practice, no source.
fn quantum(channel: Channel) -> f64 {
    match channel {
        Channel::HeadLoad | Channel::RopeLoad => 0.1,
        Channel::Height => 0.0005,
        Channel::Battery => 0.01,
        _ => 0.001 * DEG,
    }
}

impl Instrument {
    /// The instrument that the kit lists as `fitted`, on the wire as `name`.
    ///
    /// With a kept zero it reads that zero when `at_zero` is there (plus what bias is left); without one it is taped on
    /// by hand, and off by up to a degree or 20 N until somebody says zero.
    pub fn new(fitted: &Fitted, name: String, noise: &Noise, at_zero: f64, mut stream: Stream) -> Self {
        let (white, bias, span, loose) = match fitted.channel {
            Channel::HeadLoad | Channel::RopeLoad => (noise.load_white, noise.load_bias, noise.load_span, 20.0),
            Channel::Height => (noise.height_white, noise.height_bias, 0.0, 0.0),
            Channel::Battery => (0.004, 0.0, 0.0, 0.0),
            _ => (noise.tilt_white, noise.tilt_bias, 0.0, 1.0 * DEG),
        };
        let bias = stream.between(-bias, bias);
        let span = stream.between(-span, span);
        let loose = stream.between(-loose, loose);
        let mount = match &fitted.zero {
            Some(zero) => zero.value - at_zero,
            None => loose,
        };
        Instrument {
            channel: fitted.channel,
            name,
            sign: fitted.sign,
            calibration: fitted.calibration.clone(),
            unit: fitted.unit,
            mount,
            bias,
            span,
            white,
            quantum: quantum(fitted.channel),
            rope_ratio: fitted.rope_ratio,
            felt: None,
            last: 0.0,
            stream,
        }
    }

    /// What is there, in the channel's unit and sign, felt for `dt_s`.
    pub fn feel(&mut self, there: f64, dt_s: f64) {
        let share = (dt_s / settle_s(self.channel)).min(1.0);
        self.felt = Some(self.felt.map_or(there, |felt| felt + (there - felt) * share));
    }

    /// The value on the wire now, with its unit, or nothing where it is missing.
    pub fn sample(&mut self, wrong: &Wrongness) -> Option<(f64, Option<&'static str>)> {
        // Drawn whether used or not, so that a fault does not shift what comes after it.
        let noise = self.stream.normal(1.0) * (self.white.hypot(wrong.noise));
        let felt = self.felt?;
        if wrong.missing {
            return None;
        }
        if !wrong.frozen {
            let mut value = felt * (1.0 + self.span) * wrong.times.unwrap_or(1.0) + self.mount + self.bias + noise + wrong.off;
            if wrong.backwards {
                value = -value;
            }
            value = wrong.value.unwrap_or(value);
            self.last = (value / self.quantum).round() * self.quantum;
        }
        Some(self.on_the_wire(self.last))
    }

    /// Undoes sign and calibration, which the other end will do.
    fn on_the_wire(&self, value: f64) -> (f64, Option<&'static str>) {
        let value = value * self.sign;
        match &self.calibration {
            Calibration::None => match self.unit {
                Some(unit) => (value / factor(unit), None),
                None => (value, Some(unit_of(self.channel))),
            },
            Calibration::Scale(scale) => (value / scale, None),
            Calibration::Points(points) => (back_through(points, value), None),
        }
    }

    /// What the rope lifts over its tension.
    pub fn rope_ratio(&self) -> f64 {
        self.rope_ratio
    }
}

/// The wire value that calibration points take to `value`: straight lines, the outer ones go on.
fn back_through(points: &[(f64, f64)], value: f64) -> f64 {
    let at = points.windows(2).position(|p| value <= p[1].0).unwrap_or(points.len().saturating_sub(2));
    match points.get(at..at + 2) {
        Some(&[(v0, w0), (v1, w1)]) if v1 != v0 => w0 + (value - v0) * (w1 - w0) / (v1 - v0),
        _ => value,
    }
}

/// SenML unit in which a channel speaks when nothing else is asked.
pub fn unit_of(channel: Channel) -> &'static str {
    match channel {
        Channel::HeadLoad | Channel::RopeLoad => "N",
        Channel::Height => "m",
        Channel::Battery => "V",
        _ => "rad",
    }
}

fn factor(unit: WireUnit) -> f64 {
    match unit {
        WireUnit::Rad | WireUnit::N | WireUnit::M | WireUnit::V => 1.0,
        WireUnit::Deg => DEG,
        WireUnit::Kg => STANDARD_GRAVITY,
        WireUnit::Mm | WireUnit::Mv => 1e-3,
    }
}
