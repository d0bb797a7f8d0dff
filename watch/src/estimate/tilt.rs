//! One tilt box on the truss: how noisy it is, how much it swings, and whether it still says what the others say.
//!
//! A tilt is an accelerometer: 5 mm of sway at 1 Hz reads as more than a degree (docs/trade.md section 4). Sway and the ripple of cranking
//! lie between 0.3 and 1.5 Hz; in the filter each box has [`BANDS`] swings of its own (its crank), and boxes that hang on one line
//! share as many (the sway of the whole). What swings comes back to where it hung, so it has no mean: what turns slower is the
//! truss. How strong each swing is, and how white the rest, is learnt while it runs, from what the filter itself makes of them.

use super::hands::Hands;
use super::kalman::{Block, Innovation, Kalman, Term};
use super::window::{Stretch, Trace};
use crate::causes::scope::Held;

/// Middle frequencies of the band of sway and cranking, Hz.
pub const BANDS: [f64; 3] = [0.45, 0.80, 1.25];
/// Damping ratio: neighbours overlap.
const DAMPING: f64 = 0.20;
/// Time over which strengths are learnt, s: some turns of a crank.
const LEARNT_S: f64 = 2.5;

/// Stretches of the trace of a box.
pub mod over {
    /// The last 0.3 s.
    pub const FAST: usize = 0;
    /// The last second.
    pub const ONE: usize = 1;
    /// 1.5 to 2.5 s ago.
    pub const BEFORE: usize = 2;
    /// 0.8 to 2.8 s ago: what a drop stands out from.
    pub const STOOD: usize = 3;
    /// The last 2 s.
    pub const TWO: usize = 4;
    /// 2.5 to 4.5 s ago.
    pub const EARLIER: usize = 5;
}
const STRETCHES: [Stretch; 6] = [
    Stretch::last(0.3),
    Stretch::last(1.0),
    Stretch { near_s: 1.5, far_s: 2.5 },
    Stretch { near_s: 0.8, far_s: 2.8 },
    Stretch::last(2.0),
    Stretch { near_s: 2.5, far_s: 4.5 },
];

/// A hand that begins, or slows down at the end of a counted turn, leaves a box where the handle stands: what would be a swing is for a
/// second or so an offset, and fades in this time, s.
const FADES_S: f64 = 1.0;
/// So much of the variance of a steady ripple does not swing, and of one that begins, ends or may begin at any moment.
const STEADY: f64 = 0.02;
const UNSTEADY: f64 = 1.0;
/// A hand rests on its handle for so long after it has cranked, s.
const RESTS_S: f64 = 1.5;
/// A ripple is seen in how a box changes within a quarter of a second: half a turn of the quickest crank, and too short for a truss.
const QUARTER_S: f64 = 0.25;
/// A box ripples where it shows so many times its white noise beside what its line swings.
const RIPPLES: f64 = 1.5;
/// How quickly it is learnt how strong the ripple of a crank is where it ripples, s.
const USUAL_S: f64 = 5.0;
/// What is less than this part of it is learnt so slowly, s.
const PART: f64 = 0.35;
const SELDOM_S: f64 = 60.0;
/// Ripple of a box before it was measured, rad²: 0.4 degrees peak (docs/trade.md section 8, N1).
const RIPPLE: f64 = 0.5 * 0.4 * 0.4 * (std::f64::consts::PI / 180.0) * (std::f64::consts::PI / 180.0);

/// The swings of one box, or of all boxes of a line.
pub fn swings() -> impl Iterator<Item = Block> {
    BANDS.iter().map(|hz| Block::Swing { omega: hz * std::f64::consts::TAU, damping: DAMPING })
}

/// The blocks of what disturbs one box alone, or all boxes of a line: the swings, then what cranks leave.
pub fn disturbances() -> impl Iterator<Item = Block> {
    swings().chain(std::iter::once(Block::Fading { tau_s: FADES_S }))
}

/// What part of the new goes into something learnt with this time constant, after `dt_s`.
pub fn learns(dt_s: f64, tau_s: f64) -> f64 {
    1.0 - (-dt_s / tau_s).exp()
}

/// White variance `r` learnt from a reading that the filter took (the fixed point of expectation and maximisation).
pub fn whiter(r: f64, innovation: Innovation, dt_s: f64) -> f64 {
    // What is left of a reading after an update, with what is not known of the rest, were its gain that of what is told.
    let s = innovation.told.max(r);
    let left = (innovation.value * r / s).powi(2) + (s - r) * r / s;
    r + (left.min(9.0 * r) - r) * learns(dt_s, LEARNT_S)
}

/// Where in the filter a set of swings stands: its first block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Swings(pub usize);

impl Swings {
    fn blocks(self) -> std::ops::Range<usize> {
        self.0..self.0 + BANDS.len()
    }

    /// Their speeds, which the boxes feel, as states.
    pub fn felt(self, kalman: &Kalman) -> impl Iterator<Item = usize> + '_ {
        self.blocks().map(|b| kalman.states(b).start)
    }

    /// How strong they are together, rad².
    pub fn strength(self, kalman: &Kalman) -> f64 {
        self.blocks().map(|b| kalman.strength(b)).sum()
    }

    /// Sets all to the same part of `variance`, and forgets how they swung.
    pub fn begin(self, kalman: &mut Kalman, variance: f64) {
        let each = variance / BANDS.len() as f64;
        for b in self.blocks() {
            kalman.strengthen(b, each);
            for state in kalman.states(b) {
                kalman.forget(state, 0.0, each);
            }
        }
    }

    /// They swing at once by so much more, rad².
    fn kick(self, kalman: &mut Kalman, variance: f64) {
        let each = variance / BANDS.len() as f64;
        for b in self.blocks() {
            for state in kalman.states(b) {
                kalman.doubt(state, each);
            }
        }
    }

    /// Makes them as strong as `variance` together, each band by its part.
    pub fn strengthen(self, kalman: &mut Kalman, variance: f64, parts: [f64; BANDS.len()]) {
        // Below half its white noise nothing is told to swing.
        let whole = variance.max((0.5 * WHITE).powi(2));
        self.blocks().zip(parts).for_each(|(b, part)| kalman.strengthen(b, whole * part));
    }
}

/// Boxes that hang on one line: what swings in all of them alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// In the filter.
    pub swings: Swings,
    /// Block of what cranks leave that are turned on a count, all handles alike, and its state.
    pub left: (usize, usize),
    /// Mean product of what two of its boxes show beside the truss, rad².
    pub alike: f64,
}

impl Line {
    /// Tells the filter how strongly the line swings, and what its cranks leave in all of its boxes.
    pub fn disturbs<'a>(&self, kalman: &mut Kalman, boxes: impl Iterator<Item = &'a Tilt>) {
        let (mut stays, mut turned, mut began) = (0.0_f64, 0.0_f64, false);
        let (mut parts, mut count) = ([0.0; BANDS.len()], 0.0);
        for tilt in boxes {
            parts.iter_mut().zip(tilt.parts).for_each(|(sum, part)| *sum += part);
            count += 1.0;
            stays = stays.max(0.5 * tilt.stays);
            turned = turned.max(0.5 * tilt.turned);
            began |= tilt.began;
        }
        // Handles that are turned on a count may swing their boxes alike.
        let swings = self.alike.max(turned);
        self.swings.strengthen(kalman, swings, parts.map(|p| p / f64::max(count, 1.0)));
        kalman.strengthen(self.left.0, stays.max(1e-12));
        if began {
            let lacks = (stays - kalman.cov(self.left.1, self.left.1)).max(0.0);
            kalman.doubt(self.left.1, lacks);
            self.swings.kick(kalman, (turned - self.alike).max(0.0));
        }
    }
}

/// How quickly something swings, from its size and the size of its change between readings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Pace {
    /// Mean square of it, and of its change, and mean time between readings.
    size: f64,
    change: f64,
    dt_s: f64,
    last: f64,
    /// Parts of the bands, and the white noise that they were worked out with.
    told: Option<(f64, [f64; BANDS.len()])>,
}

impl Pace {
    fn heard(&mut self, value: f64, dt_s: f64) {
        let part = learns(dt_s, 2.0 * LEARNT_S);
        self.size += (value * value - self.size) * part;
        self.change += ((value - self.last).powi(2) - self.change) * part;
        self.dt_s += (dt_s - self.dt_s) * part;
        self.last = value;
        self.told = None;
    }

    /// Parts of the bands, worked out where something was heard since.
    fn parts(&mut self, white: f64) -> [f64; BANDS.len()] {
        match self.told {
            Some((with, parts)) if with == white => parts,
            _ => self.told.insert((white, self.weigh(white))).1,
        }
    }

    /// Parts of the bands: most to those near the pace. What swings at frequency f and is read every dt changes by
    /// 2 (1 - cos 2πf dt) of its mean square; `white` is in both.
    fn weigh(&self, white: f64) -> [f64; BANDS.len()] {
        let size = self.size - white;
        if size < white || self.dt_s <= 0.0 {
            return [1.0 / BANDS.len() as f64; BANDS.len()];
        }
        let change = ((self.change - 2.0 * white) / (2.0 * size)).clamp(0.0, 2.0);
        let hz = (1.0 - change).acos() / (std::f64::consts::TAU * self.dt_s);
        let mut parts = BANDS.map(|band| LEAST + (-0.5 * ((hz.max(0.1) / band).ln() / BROAD).powi(2)).exp());
        let whole: f64 = parts.iter().sum();
        parts.iter_mut().for_each(|p| *p /= whole);
        parts
    }
}

/// Some turns of a crank, s: over these innovations are averaged.
const WINDOW_S: f64 = 4.0;
/// A pace counts for bands that lie within so much of its logarithm, and every band keeps some.
const BROAD: f64 = 0.35;
const LEAST: f64 = 0.05;

/// One box.
#[derive(Clone, Debug)]
pub struct Tilt {
    /// State of its bias.
    pub bias: usize,
    /// What swings at this box alone.
    pub own: Swings,
    /// Block of what its crank leaves when it slows down, and its state.
    pub left: (usize, usize),
    /// How strong the ripple of its crank is where it ripples, rad².
    usual: f64,
    pace: Pace,
    /// Parts of its bands in what swings.
    parts: [f64; BANDS.len()],
    mean: (f64, f64, f64),
    /// Whether it ripples now.
    pub ripples: bool,
    /// Variance of a swing that changes so much in a quarter of a second, rad²: of the last moment and of the last second.
    changes: [f64; 2],
    /// For how long it has not rippled, s.
    rested_s: f64,
    /// Whether its crank begins now, and how strong what it leaves is, rad².
    began: bool,
    stays: f64,
    /// What a counted turn makes it swing by while it may last, rad².
    turned: f64,
    /// Its line, where it hangs on one with others.
    pub line: Option<usize>,
    /// Newest reading less truss and bias, rad, and when.
    pub beside: (f64, f64),
    /// Newest reading that the filter took or refused: when, and how far it was from what was foreseen.
    pub innovation: Option<(f64, Innovation)>,
    /// Its recent values, rad.
    pub trace: Trace,
    /// Newest values, newest first, and how many.
    last: [f64; 3],
    seen: usize,
    /// Variance of the white part, rad².
    pub white: f64,
    /// Variance of what swings, rad²: over the last second, and over some turns of a crank.
    swing_fast: f64,
    /// Standard deviation of its strongest swing lately, rad: a crank that comes to rest leaves a hand on its handle.
    pub swung: f64,
    swing_learnt: f64,
    last_s: f64,
    /// What its means do against its twin's, over one second and over two.
    pub steps: [Step; 2],
    /// Since when its values are too far off to be taken, and which way, s.
    pub refused_since: Option<(f64, f64)>,
    /// How far off they were, rad, averaged.
    pub refused_by: f64,
    /// How many there were in a row, on one side.
    pub refused: usize,
    /// It was moved on its seat: nothing is taken from it until it is zeroed again.
    pub jumped: bool,
}

/// What a mean of a box against its twin's does every day.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Variance of its change from one stretch to the next, rad², and when it was learnt last, s.
    wavers: (f64, f64),
    /// Since when it has stepped away.
    pub held: Held,
}

impl Default for Step {
    fn default() -> Self {
        Step { wavers: ((2.0 * WHITE).powi(2), 0.0), held: Held::default() }
    }
}

impl Step {
    /// Standard deviation of the change, rad, before `change` is learnt into it. What is far beyond is learnt as little more than
    /// what is usual: a step must not hide itself.
    pub fn wavers(&mut self, now_s: f64, change: f64) -> f64 {
        let (variance, at_s) = self.wavers;
        let learnt = 1.0 - (-(now_s - at_s).clamp(0.0, 1.0) / 15.0).exp();
        let square = (change * change).min(9.0 * variance);
        self.wavers = ((variance + (square - variance) * learnt).max((0.2 * WHITE).powi(2)), now_s);
        variance.sqrt()
    }
}

/// White noise of a usual box, rad: 0.05 degrees (docs/trade.md section 8, N1).
pub const WHITE: f64 = 0.05 * std::f64::consts::PI / 180.0;

impl Tilt {
    /// A box that was not heard yet.
    pub fn new(bias: usize, own: Swings, rate_hz: f64) -> Self {
        let room = (8.0 * rate_hz).clamp(64.0, 2000.0) as usize;
        Tilt {
            bias,
            own,
            left: (own.0 + BANDS.len(), bias + 1 + 2 * BANDS.len()),
            usual: RIPPLE,
            pace: Pace::default(),
            parts: [1.0 / BANDS.len() as f64; BANDS.len()],
            mean: (0.0, 0.0, f64::NEG_INFINITY),
            ripples: false,
            changes: [WHITE * WHITE; 2],
            rested_s: RESTS_S,
            began: false,
            stays: 0.0,
            turned: 0.0,
            line: None,
            beside: (0.0, f64::NEG_INFINITY),
            innovation: None,
            trace: Trace::new(room, &STRETCHES),
            last: [0.0; 3],
            seen: 0,
            white: WHITE * WHITE,
            swing_fast: (6.0 * WHITE).powi(2),
            swung: 0.0,
            swing_learnt: (6.0 * WHITE).powi(2),
            last_s: 0.0,
            steps: [Step::default(); 2],
            refused_since: None,
            refused_by: 0.0,
            refused: 0,
            jumped: false,
        }
    }

    /// Its history no longer holds (zeroed, turned round).
    pub fn renew(&mut self) {
        self.trace.clear();
        self.seen = 0;
        self.refused_since = None;
        self.jumped = false;
        self.steps = [Step::default(); 2];
    }

    /// Tells the filter how strongly this box swings, `alike` of it with the others of its line, and how much of the ripple of its
    /// crank does not swing. `counted`: hands that begin and end at any time.
    pub fn disturbs(&mut self, kalman: &mut Kalman, alike: f64, counted: Option<&Hands>, dt_s: f64) {
        let alike = alike.max(0.0);
        let swing = (self.swing_learnt.max(0.7 * self.swing_fast) - self.white).max(0.0);
        // What a crank that begins will swing is not yet in what was seen.
        self.turned = if counted.is_some_and(Hands::may_turn) { self.usual } else { 0.0 };
        let half = if self.line.is_some() { 0.5 } else { 1.0 };
        let seen = (swing - alike).max(0.05 * swing);
        let own = seen.max(half * self.turned);
        self.parts = self.pace.parts(self.white);
        self.own.strengthen(kalman, own, self.parts);
        let whole = if counted.is_some() { self.changes[1] } else { self.swing_fast } - self.white;
        let now = (whole - alike).max(0.0);
        self.ripples = now > RIPPLES * self.white;
        self.rested_s = if self.ripples { 0.0 } else { self.rested_s + dt_s };
        if self.ripples {
            // A sway that rings down between counted turns is no crank.
            let (size, tau_s) = match counted {
                Some(_) if whole < PART * self.usual => (whole, SELDOM_S),
                Some(_) => (whole, USUAL_S),
                None => (now, USUAL_S),
            };
            self.usual += (size - self.usual) * learns(dt_s, tau_s);
        }
        self.began = counted.is_some_and(|hands| hands.begin);
        self.stays = match (counted, self.ripples) {
            (None, false) if self.rested_s < RESTS_S => UNSTEADY * self.usual,
            (None, _) => STEADY * now,
            (Some(hands), _) if hands.may_turn() => UNSTEADY * self.usual,
            (Some(_), true) => STEADY * self.usual,
            (Some(_), false) => 0.0,
        };
        kalman.strengthen(self.left.0, (half * self.stays).max(1e-12));
        if self.began {
            // It stands somewhere at once, and swings, not by and by.
            kalman.doubt(self.left.1, half * self.stays);
            self.own.kick(kalman, own - seen);
        }
    }

    /// Variance of its ripple at this moment, rad².
    pub fn moment(&self) -> f64 {
        (self.changes[0] - self.white).max(0.0)
    }

    /// What its crank makes where it turns, rad².
    pub fn usual(&self) -> f64 {
        self.usual
    }

    /// States that it feels beside truss and bias.
    pub fn felt(&self, kalman: &Kalman, terms: &mut Vec<Term>) {
        terms.extend(self.own.felt(kalman).map(|i| (i, 1.0)));
        terms.push((self.left.1, 1.0));
    }

    /// Takes a value; `trend` is what it should be without noise and swing.
    pub fn heard(&mut self, t_s: f64, value: f64, trend: f64) {
        let dt = if self.seen == 0 { 0.05 } else { (t_s - self.last_s).clamp(1e-3, 5.0) };
        self.last_s = t_s;
        self.last = [value, self.last[0], self.last[1]];
        self.seen += 1;
        self.trace.push(t_s, value);
        self.beside = (value - trend, t_s);
        self.pace.heard(value - trend, dt);
        let off = (value - trend).powi(2).min(0.01);
        self.swing_learnt += (off - self.swing_learnt) * learns(dt, LEARNT_S);
        self.swing_fast += (off - self.swing_fast) * (1.0 - (-dt / 1.0).exp());
        let before = self.trace.newest(64).find(|(then_s, _)| t_s - then_s >= QUARTER_S - 1e-3);
        if let Some((_, before)) = before.filter(|(then_s, _)| t_s - then_s < 3.0 * QUARTER_S) {
            let change = 0.5 * (value - before).powi(2).min(0.01);
            self.changes.iter_mut().zip([0.3, 1.0]).for_each(|(c, tau_s)| *c += (change - *c) * learns(dt, tau_s));
        }
        // As it swung before the last 1.5 s: a step must not hide itself.
        let before = self.trace.mean(over::BEFORE).filter(|m| m.count >= 4).map_or(0.0, |m| m.spread);
        self.swung = before.max(self.swung * (-dt / 20.0).exp());
    }

    /// Learns how white it is from a reading that the filter took.
    pub fn learn(&mut self, innovation: Innovation, dt_s: f64) {
        self.white = whiter(self.white, innovation, dt_s);
        // Below a tenth of the usual the box is quieter than its seat.
        self.white = self.white.max((0.1 * WHITE).powi(2));
    }

    /// Adds an innovation to the mean of some seconds; when these are over, its square in what it would be were they white.
    pub fn window(&mut self, innovation: Innovation, t_s: f64) -> Option<f64> {
        let (sum, count, since_s) = &mut self.mean;
        if t_s - *since_s < WINDOW_S {
            *sum += innovation.value / innovation.told.sqrt();
            *count += 1.0;
            return None;
        }
        let whole = (*count > 3.0 && t_s - *since_s < 2.0 * WINDOW_S).then_some(*sum * *sum / f64::max(*count, 1.0));
        self.mean = (0.0, 0.0, t_s);
        whole
    }

    /// The newest value.
    pub fn newest(&self) -> Option<f64> {
        (self.seen > 0).then_some(self.last[0])
    }
}
