//! One tilt box on the truss: how noisy it is, how much it swings, and whether it still says what the others say.
//!
//! A tilt is an accelerometer: 5 mm of sway at 1 Hz reads as more than a degree (docs/trade.md section 4). Sway and the ripple of cranking
//! lie between 0.3 and 1.5 Hz; in the filter each box has [`BANDS`] swings of its own (its crank), and boxes that hang on one line
//! share as many (the sway of the whole). What swings comes back to where it hung, so it has no mean: what turns slower is the
//! truss. How strong each swing is, and how white the rest, is learnt while it runs, from what the filter itself makes of them.

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
/// A ripple is steady while that of the last second is within these parts of that of the last seconds.
const LIKE: std::ops::Range<f64> = 0.5..1.6;
/// And once it has been so for this long, s.
const STEADIES_S: f64 = 2.5;
/// A box ripples where it shows so many times its white noise beside what its line swings.
const RIPPLES: f64 = 1.5;
/// How quickly it is learnt how strong the ripple of a crank is where it ripples, s.
const USUAL_S: f64 = 5.0;
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
    let s = innovation.variance;
    // What is left of the reading after the update, with what is not known of the rest.
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

    /// Makes them as strong as `variance` together, each band alike.
    pub fn strengthen(self, kalman: &mut Kalman, variance: f64) {
        // Below half its white noise nothing is told to swing.
        let each = variance.max((0.5 * WHITE).powi(2)) / BANDS.len() as f64;
        self.blocks().for_each(|b| kalman.strengthen(b, each));
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
        self.swings.strengthen(kalman, self.alike);
        let (mut stays, mut began) = (0.0_f64, false);
        for tilt in boxes {
            stays = stays.max(0.5 * tilt.stays);
            began |= tilt.began;
        }
        kalman.strengthen(self.left.0, stays.max(1e-12));
        if began {
            let lacks = (stays - kalman.cov(self.left.1, self.left.1)).max(0.0);
            kalman.doubt(self.left.1, lacks);
        }
    }
}

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
    /// Whether it ripples now, and for how long it has done so steadily, s.
    pub ripples: bool,
    steady_s: f64,
    /// Whether its crank begins now, and how strong what it leaves is, rad².
    began: bool,
    stays: f64,
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
    /// Variance of what swings, rad²: over the last seconds, and over the last second.
    swing_slow: f64,
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
            ripples: false,
            steady_s: 0.0,
            began: false,
            stays: 0.0,
            line: None,
            beside: (0.0, f64::NEG_INFINITY),
            innovation: None,
            trace: Trace::new(room, &STRETCHES),
            last: [0.0; 3],
            seen: 0,
            white: WHITE * WHITE,
            swing_slow: (6.0 * WHITE).powi(2),
            swing_fast: (6.0 * WHITE).powi(2),
            swung: 0.0,
            swing_learnt: (6.0 * WHITE).powi(2),
            last_s: 0.0,
            steps: [Step::default(); 2],
            refused_since: None,
            refused_by: 0.0,
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
    /// crank does not swing. `counted`: hands begin and end at any time.
    pub fn disturbs(&mut self, kalman: &mut Kalman, alike: f64, counted: bool, dt_s: f64) {
        let alike = alike.max(0.0);
        let swing = (self.swing_learnt.max(0.7 * self.swing_fast) - self.white).max(0.0);
        let own = (swing - alike).max(0.05 * swing);
        self.own.strengthen(kalman, own);
        let (now, lately) = ((self.swing_fast - self.white - alike).max(0.0), (self.swing_learnt - self.white - alike).max(0.0));
        let began = now > RIPPLES * self.white && !self.ripples;
        self.ripples = now > RIPPLES * self.white;
        self.steady_s = if self.ripples && LIKE.contains(&(now / lately.max(1e-12))) { self.steady_s + dt_s } else { 0.0 };
        if self.ripples {
            self.usual += (now - self.usual) * learns(dt_s, USUAL_S);
        }
        self.began = began && counted;
        self.stays = match (counted, self.ripples) {
            (false, _) => STEADY * now,
            (true, false) => 0.0,
            (true, true) if self.steady_s > STEADIES_S => STEADY * self.usual,
            (true, true) => UNSTEADY * self.usual,
        };
        let own = if self.line.is_some() { 0.5 } else { 1.0 };
        kalman.strengthen(self.left.0, (own * self.stays).max(1e-12));
        if self.began {
            // It stands somewhere at once, not by and by.
            kalman.doubt(self.left.1, own * self.stays);
        }
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
        let off = (value - trend).powi(2).min(0.01);
        self.swing_learnt += (off - self.swing_learnt) * learns(dt, LEARNT_S);
        self.swing_slow += (off - self.swing_slow) * (1.0 - (-dt / 6.0).exp());
        self.swing_fast += (off - self.swing_fast) * (1.0 - (-dt / 1.0).exp());
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

    /// Variance of the swing now, rad².
    pub fn swing(&self) -> f64 {
        (self.swing_slow.max(0.5 * self.swing_fast) - self.white).max((0.5 * WHITE).powi(2))
    }

    /// The newest value.
    pub fn newest(&self) -> Option<f64> {
        (self.seen > 0).then_some(self.last[0])
    }
}
