//! The filter over all heads: which state is what, which reading tells of which, and what to do with one that does not fit.

use super::hands::Hands;
use super::kalman::{Block, Kalman, Term};
use super::level::Offsets;
use super::patterns::Pattern;
use super::sums::Sums;
use super::tilt::{self, Line, Swings, Tilt};
use super::whole::Whole;
use crate::setup::Setup;
use raisewatch_protocol::words::Channel;

/// Readings further off than so many standard deviations are not taken at once.
const GATE: f64 = 5.0;
/// Offsets worse known than this are not told, mm.
const KNOWN_MM: f64 = 30.0;
/// Accuracy of a zero by spirit level and of the seat of a box, rad: 0.03 degrees.
const ZERO: f64 = 0.03 * std::f64::consts::PI / 180.0;
/// How a bias wanders, rad per square root of second: 0.03 degrees in an hour (docs/trade.md row 46).
const WANDER: f64 = 0.03 * std::f64::consts::PI / 180.0 / 60.0;
/// Swing of a box before it was measured, rad²: what hands at the cranks make of it (docs/trade.md section 8, N1: 0.4 degrees peak at the
/// crank and 0.3 of sway), half of it its own and half of it that of the whole.
const SWING: f64 = 0.5 * (0.4 * 0.4 + 0.3 * 0.3) * (std::f64::consts::PI / 180.0) * (std::f64::consts::PI / 180.0);
/// Where the crew cranks by counted turns heads part for a turn or two, s, and stand between them: then they come to rest within this, s.
const RATES_S: f64 = 20.0;
const RESTS_S: f64 = 0.5;
/// So much of each mean of innovations goes into how wide the estimate is told; more where it is taken to be wide because nothing
/// but boxes tells of hands: whether they are must be found out quickly.
const SLOW: f64 = 0.04;
const SLOW_UNFELT: f64 = 0.25;
/// What was heard so lately counts as heard now, s.
const HEARD_S: f64 = 1.0;
/// How level a floor is, and how well a height gauge sits, m.
const FLOOR_M: f64 = 0.004;

/// A height gauge.
#[derive(Clone, Debug)]
struct Gauge {
    bias: usize,
    tower: usize,
    last: [f64; 2],
    seen: usize,
    heard_s: f64,
    white: f64,
}

/// Mean rate of all heads, m/s, its variance, and the covariance of each rate with it.
#[derive(Clone, Debug)]
struct Rates {
    mean: f64,
    mean_cov: f64,
    about: Vec<f64>,
}

/// All heads.
#[derive(Clone, Debug)]
pub struct Levels {
    pub(super) kalman: Kalman,
    pub(super) towers: usize,
    pub(super) at_s: Option<f64>,
    /// By channel.
    pub tilts: Vec<Option<Tilt>>,
    gauges: Vec<Option<Gauge>>,
    /// The self-held share patterns.
    pub(super) patterns: Vec<Pattern>,
    absolute: bool,
    /// Whether the crew cranks by counted turns: hands begin and end at any time.
    counted: bool,
    pub(super) hands: Hands,
    /// Whether heads are cranked now.
    moving: bool,
    /// Whether the shares have just said that a head has started or stopped.
    pub(super) starts: bool,
    pub(super) pace: f64,
    pub(super) terms: Vec<Term>,
    /// Variance of each offset about the mean of all, and the row means, mm²; refreshed by [`Levels::tell`].
    about: Vec<f64>,
    mean_cov: f64,
    mean: f64,
    /// The same of the rates, as they are now: see [`Levels::tell_rates`].
    rates: Rates,
    /// Whether each tower's offset may be told.
    pub known: Vec<bool>,
    /// Since when the heads are taken to move though the step says still, s.
    pub agile_until_s: f64,
    lively: f64,
    /// Means of the first self-held patterns heard, N, and of how many.
    pub(super) first_n: Vec<f64>,
    pub(super) heard_levelled: u32,
    /// Variance of the mean of the innovations of some seconds, in what it would be were they white: below one where the noise of the
    /// model turns slower than that of the boxes.
    slow: f64,
    /// Variance of each offset that the zeros of the boxes leave, mm².
    floor: Vec<f64>,
    /// Lines of boxes that swing as one.
    lines: Vec<Line>,
    /// The rake of the whole, three and more in line.
    pub(super) whole: Option<Whole>,
    /// Whether handles turn.
    cranked: bool,
}

impl Levels {
    /// Nothing known yet.
    pub fn new(setup: &Setup, sums: &Sums) -> Self {
        let towers = setup.plan.towers.len();
        let mut blocks = vec![Block::Trend; towers];
        let mut states = 2 * towers;
        let mut tilts: Vec<Option<Tilt>> = Vec::new();
        let mut gauges = Vec::new();
        for seat in &setup.channels {
            tilts.push((seat.channel == Channel::TrussAlong).then(|| {
                let tilt = Tilt::new(states, Swings(blocks.len() + 1), 1.0 / seat.period_s);
                blocks.push(Block::Steady);
                blocks.extend(tilt::disturbances());
                states += 2 + 2 * tilt::BANDS.len();
                tilt
            }));
            gauges.push((seat.channel == Channel::Height).then(|| {
                blocks.push(Block::Steady);
                states += 1;
                Gauge { bias: states - 1, tower: seat.tower, last: [0.0; 2], seen: 0, heard_s: f64::NEG_INFINITY, white: 0.003_f64.powi(2) }
            }));
        }
        let mut lines = Vec::new();
        for line in lines_of_boxes(setup) {
            let swings = Swings(blocks.len());
            let left = (blocks.len() + tilt::BANDS.len(), states + 2 * tilt::BANDS.len());
            blocks.extend(tilt::disturbances());
            states += 2 * tilt::BANDS.len() + 1;
            for c in line {
                if let Some(tilt) = &mut tilts[c] {
                    tilt.line = Some(lines.len());
                }
            }
            lines.push(Line { swings, left, alike: 0.5 * SWING });
        }
        let patterns = sums.self_held.iter().map(|_| Pattern::new(&mut blocks, &mut states)).collect();
        let absolute = gauges.iter().any(Option::is_some);
        let boxes = tilts.iter().flatten().count() as f64;
        let whole = if boxes > 0.0 { Whole::new(sums.layout, &sums.at, ZERO / boxes.sqrt()) } else { None };
        let mut levels = Levels {
            kalman: Kalman::new(&blocks),
            towers,
            at_s: None,
            tilts,
            gauges,
            patterns,
            absolute,
            counted: sums.counted(setup),
            hands: Hands::default(),
            moving: false,
            starts: false,
            pace: setup.plan.pace.0.max(setup.plan.pace_down.0).max(0.005),
            terms: Vec::with_capacity(2 * towers + 8),
            about: vec![0.0; towers],
            mean_cov: 0.0,
            mean: 0.0,
            rates: Rates { mean: 0.0, mean_cov: 0.0, about: vec![0.0; towers] },
            known: vec![false; towers],
            agile_until_s: f64::NEG_INFINITY,
            lively: 0.0,
            slow: 1.0,
            floor: vec![0.0; towers],
            first_n: Vec::new(),
            heard_levelled: 0,
            lines,
            whole,
            cranked: false,
        };
        levels.begin(sums);
        levels
    }

    fn begin(&mut self, sums: &Sums) {
        self.lay_floor(sums);
        self.spread(0, 1.0);
        self.spread(1, 0.01_f64.powi(2));
        for c in 0..self.tilts.len() {
            self.renew(c);
        }
        for k in 0..sums.self_held.len() {
            // And whether heads or cranks were levelled: the boxes tell, and then the cells tell every change.
            let levelled: f64 = sums.self_held[k].iter().zip(&sums.levelled.shares_n).map(|(u, n)| u * n).sum();
            self.kalman.forget(self.patterns[k].bias, 0.0, self.open_n2(sums) + levelled * levelled);
        }
    }

    /// Adds variance to all offsets (`which` 0) or all rates (1): of each tower by itself where heights are measured, of their
    /// differences alone where nothing tells the common height.
    pub(super) fn spread(&mut self, which: usize, variance: f64) {
        self.kalman.spread(which, [variance; 2], !self.absolute);
    }

    /// A channel was zeroed or turned round.
    pub fn renew(&mut self, channel: usize) {
        self.forget_whole();
        if let Some(tilt) = &mut self.tilts[channel] {
            tilt.renew();
            self.kalman.forget(tilt.bias, 0.0, ZERO * ZERO);
            tilt.own.begin(&mut self.kalman, if tilt.line.is_some() { 0.5 * SWING } else { SWING });
            if let Some(line) = tilt.line {
                self.lines[line].swings.begin(&mut self.kalman, 0.5 * SWING);
            }
        }
        if let Some(gauge) = &mut self.gauges[channel] {
            gauge.seen = 0;
            self.kalman.forget(gauge.bias, 0.0, FLOOR_M * FLOOR_M);
        }
    }

    /// Lets time pass to `t_s`. `moving`: heads are cranked.
    pub fn predict(&mut self, t_s: f64, moving: bool) {
        let dt = self.at_s.map_or(0.0, |at| t_s - at);
        if dt <= 0.0 {
            self.at_s = Some(self.at_s.unwrap_or(t_s));
            return;
        }
        self.at_s = Some(t_s);
        self.kalman.predict(dt);
        // Between counted turns heads stand: they move while some crank ripples, or where readings say so.
        let cranked = moving && (!self.counted || self.hands.turn() || self.tilts.iter().flatten().any(|t| t.ripples));
        let agile = cranked || t_s < self.agile_until_s;
        self.cranked = agile;
        let lively = t_s < self.agile_until_s;
        let creeps = (5e-5_f64).powi(2);
        // Cranked alike: from turn to turn within 5 % of the pace (docs/trade.md section 8, N1), until readings say otherwise.
        let alike = (0.05 * self.pace).powi(2);
        let starts = self.pace * self.pace;
        let rate = match (agile, lively) {
            (false, _) => creeps,
            (true, false) => alike,
            (true, true) if self.counted => starts / 10.0,
            (true, true) if moving => alike,
            (true, true) => starts / 40.0,
        };
        // A head starts or stops about every ten seconds, a step of the pace each time: the gains are ready for it.
        let ready = if agile && !self.counted { rate.max(starts / 40.0) } else { rate };
        if self.counted && moving && !self.absolute {
            // With the turn a rate is over; between turns heads stand.
            let by = (-dt / if agile { RATES_S } else { RESTS_S }).exp();
            self.kalman.lose(1, by);
        }
        let settle = if agile { (5e-4_f64).powi(2) } else { (1e-4_f64).powi(2) };
        self.kalman.spread(1, [ready * dt, rate * dt], !self.absolute);
        self.spread(0, settle * dt);
        self.moving = moving;
        if self.counted {
            let unfelt = moving && self.towers > 2 && !self.felt(t_s, HEARD_S);
            self.hands.see(self.tilts.iter().flatten(), self.starts, unfelt, dt);
        }
        self.starts = false;
        let hands = Some(&self.hands).filter(|_| self.counted);
        for tilt in self.tilts.iter_mut().flatten() {
            self.kalman.doubt(tilt.bias, WANDER * WANDER * dt);
            tilt.disturbs(&mut self.kalman, tilt.line.map_or(0.0, |l| self.lines[l].alike), hands, dt);
        }
        for pattern in &self.patterns {
            pattern.disturbs(&mut self.kalman);
        }
        for (l, line) in self.lines.iter().enumerate() {
            line.disturbs(&mut self.kalman, self.tilts.iter().flatten().filter(|t| t.line == Some(l)));
        }
        self.lively *= (-dt / 2.0).exp();
    }

    /// What the boxes showed of the rake until now says nothing of it from now on.
    pub(super) fn forget_whole(&mut self) {
        self.whole.iter_mut().for_each(Whole::forget);
    }

    /// The heads came to rest: their rates are about nothing.
    pub fn rest(&mut self) {
        for j in 0..self.towers {
            self.kalman.forget(2 * j + 1, 0.0, 0.0);
        }
        self.spread(1, 0.003_f64.powi(2));
    }

    /// Something happened that the filter did not foresee: heads may stand anywhere near.
    pub fn doubt(&mut self) {
        self.forget_whole();
        self.spread(0, 0.02_f64.powi(2));
        self.spread(1, self.pace * self.pace);
    }

    /// The bearings changed: heads settle by centimetres at most.
    pub fn settle(&mut self) {
        self.forget_whole();
        self.spread(0, 0.012_f64.powi(2));
    }

    /// How far cranking at full pace turns a box within so long, rad.
    pub fn reach_rad(&self, sums: &Sums, channel: usize, span_s: f64) -> f64 {
        sums.slopes[channel].1.iter().map(|k| k.abs()).fold(0.0, f64::max) * self.pace * span_s
    }

    /// Takes a tilt along the truss, rad. `usable`: whether it may move the estimate.
    pub fn tilt(&mut self, sums: &Sums, channel: usize, t_s: f64, value: f64, usable: bool) {
        let Some(tilt) = &mut self.tilts[channel] else { return };
        let (level, per_offset) = &sums.slopes[channel];
        self.terms.clear();
        self.terms.extend(per_offset.iter().enumerate().map(|(j, k)| (2 * j, *k)));
        self.terms.push((tilt.bias, 1.0));
        let trend = level + self.terms.iter().map(|&(i, k)| k * self.kalman.at(i)).sum::<f64>();
        tilt.heard(t_s, value, trend);
        if !usable || tilt.jumped {
            tilt.refused_since = None;
            return;
        }
        if let Some(whole) = &mut self.whole {
            whole.suppose(|j| self.kalman.at(2 * j));
        }
        let beside = value - trend;
        let dt = tilt.innovation.map_or(0.05, |(before_s, _)| (t_s - before_s).clamp(0.0, 1.0));
        self.compare_line(channel, dt / self.tilts.iter().flatten().count().max(1) as f64);
        let Some(tilt) = &mut self.tilts[channel] else { return };
        tilt.felt(&self.kalman, &mut self.terms);
        if let Some(line) = tilt.line {
            self.terms.extend(self.lines[line].swings.felt(&self.kalman).map(|i| (i, 1.0)));
            self.terms.push((self.lines[line].left.1, 1.0));
        }
        let (innovation, taken) = self.kalman.update(&self.terms, value - level, tilt.white, GATE);
        tilt.innovation = Some((t_s, innovation));
        if taken {
            tilt.refused_since = None;
            tilt.learn(innovation, dt);
            if let Some(whole) = &mut self.whole {
                whole.see(t_s, beside, self.cranked);
            }
            if let Some(whole) = tilt.window(innovation, t_s) {
                self.slow += (whole.min(9.0) - self.slow) * if self.hands.unfelt() { SLOW_UNFELT } else { SLOW };
            }
            // Innovations that keep to one side say that heads move in a still step.
            self.lively += 0.1 * innovation.score().clamp(-4.0, 4.0);
            // Of heads that are cranked by counted turns the shares tell sooner, and handles at rest lean boxes to one side.
            if self.lively.abs() > 2.5 && !(self.counted && self.moving && self.weighed(t_s)) {
                self.agile_until_s = t_s + 5.0;
            }
            return;
        }
        let side = innovation.value.signum();
        match &mut tilt.refused_since {
            Some((_, was)) if *was == side => {
                tilt.refused_by += 0.3 * (innovation.value - tilt.refused_by);
                tilt.refused += 1;
            }
            _ => {
                tilt.refused_since = Some((t_s, side));
                tilt.refused_by = innovation.value;
                tilt.refused = 1;
            }
        }
    }

    /// Whether the shares tell of the level now.
    fn weighed(&self, t_s: f64) -> bool {
        self.bent(t_s, HEARD_S)
    }

    /// Whether within the last `lately_s` the shares told how the truss is bent.
    pub(super) fn bent(&self, t_s: f64, lately_s: f64) -> bool {
        self.patterns.iter().any(|p| t_s - p.heard_at_s() < lately_s)
    }

    /// Whether within the last `lately_s` something beside boxes told of the heads: the shares, or a height of each of them.
    pub(super) fn felt(&self, t_s: f64, lately_s: f64) -> bool {
        let gauged = |j: usize| self.gauges.iter().flatten().any(|g| g.tower == j && t_s - g.heard_s < lately_s);
        self.bent(t_s, lately_s) || (0..self.towers).all(gauged)
    }

    /// Learns how far the boxes of a line swing alike, from the newest reading of one beside those of the others.
    fn compare_line(&mut self, channel: usize, dt_s: f64) {
        let Some((line, own, t_s)) = self.tilts[channel].as_ref().and_then(|t| Some((t.line?, t.beside.0, t.beside.1))) else { return };
        let (mut sum, mut count) = (0.0, 0.0);
        for (c, other) in self.tilts.iter().enumerate().filter_map(|(c, t)| Some((c, t.as_ref()?))) {
            if c != channel && other.line == Some(line) && !other.jumped && t_s - other.beside.1 < 0.2 {
                sum += other.beside.0;
                count += 1.0;
            }
        }
        if count > 0.0 {
            let alike = &mut self.lines[line].alike;
            *alike += ((own * sum / count).clamp(-0.01, 0.01) - *alike) * tilt::learns(dt_s, 2.5);
        }
    }

    /// Takes a height of a head, m.
    pub fn height(&mut self, channel: usize, value: f64, base_m: f64) {
        let Some(gauge) = &mut self.gauges[channel] else { return };
        let value = value - base_m;
        gauge.seen += 1;
        gauge.heard_s = self.at_s.unwrap_or(gauge.heard_s);
        if gauge.seen > 3 {
            let second = value - 2.0 * gauge.last[0] + gauge.last[1];
            gauge.white += 0.02 * ((second * second / 6.0).min(25.0 * gauge.white) - gauge.white);
            gauge.white = gauge.white.max(1e-6);
        }
        gauge.last = [value, gauge.last[0]];
        let terms = [(2 * gauge.tower, 1.0), (gauge.bias, 1.0)];
        self.kalman.update(&terms, value, gauge.white, 1e9);
    }

    /// Offset of head `j` over the mean of all, m.
    pub fn offset_m(&self, j: usize) -> f64 {
        self.kalman.at(2 * j) - self.mean
    }

    /// Works out what [`Levels::rate_m_s`] compares with.
    pub fn tell_rates(&mut self) {
        let n = self.towers as f64;
        self.rates.mean = (0..self.towers).map(|k| self.kalman.at(2 * k + 1)).sum::<f64>() / n;
        for j in 0..self.towers {
            self.rates.about[j] = (0..self.towers).map(|k| self.kalman.cov(2 * j + 1, 2 * k + 1)).sum::<f64>() / n;
        }
        self.rates.mean_cov = self.rates.about.iter().sum::<f64>() / n;
    }

    /// Rate of offset `j` over the mean rate, m/s, and its variance, as [`Levels::tell_rates`] found them.
    pub fn rate_m_s(&self, j: usize) -> (f64, f64) {
        let variance = self.kalman.cov(2 * j + 1, 2 * j + 1) - 2.0 * self.rates.about[j] + self.rates.mean_cov;
        (self.kalman.at(2 * j + 1) - self.rates.mean, variance.max(0.0))
    }

    /// Speed of head `j` up, m/s, where a height gauge tells it.
    pub fn speed_m_s(&self, j: usize) -> Option<(f64, f64)> {
        let gauged = self.gauges.iter().flatten().any(|g| g.tower == j && g.seen > 3);
        gauged.then(|| (self.kalman.at(2 * j + 1), self.kalman.cov(2 * j + 1, 2 * j + 1)))
    }

    /// Height of head `j` over the working height, m, where a gauge tells it.
    pub fn lift_m(&self, j: usize) -> Option<(f64, f64)> {
        let gauged = self.gauges.iter().flatten().any(|g| g.tower == j && g.seen > 0);
        gauged.then(|| (self.kalman.at(2 * j), self.kalman.cov(2 * j, 2 * j)))
    }

    /// What the zeros of the boxes alone leave open of each offset.
    fn lay_floor(&mut self, sums: &Sums) {
        for j in 0..self.towers {
            let steep: f64 = sums.slopes.iter().filter_map(|(_, row)| row.get(j)).map(|k| k * k).sum();
            // Half a head against the others: on two towers the offset from the mean is half the rake.
            self.floor[j] = if steep > 0.0 { (ZERO * 500.0).powi(2) / steep } else { 0.0 };
        }
    }

    /// Works out offsets about their mean and which of them may be told; `heard[j]`: something heard bears on tower `j`.
    pub fn tell(&mut self, heard: &[bool]) {
        let n = self.towers as f64;
        self.mean = (0..self.towers).map(|j| self.kalman.at(2 * j)).sum::<f64>() / n;
        let mut all = 0.0;
        for j in 0..self.towers {
            self.about[j] = (0..self.towers).map(|k| self.kalman.told(2 * j, 2 * k)).sum::<f64>() / n;
            all += self.about[j] / n;
        }
        self.mean_cov = all;
        for (j, heard) in heard.iter().enumerate().take(self.towers) {
            self.known[j] = *heard && self.cov_mm2(j, j).sqrt() <= KNOWN_MM && self.kalman.told(2 * j, 2 * j).sqrt() < 10.0;
        }
    }
}

impl Offsets for Levels {
    fn offset_mm(&self, j: usize) -> Option<f64> {
        self.known[j].then(|| self.offset_m(j) * 1000.0)
    }
    fn wide_mm2(&self, j: usize, k: usize) -> f64 {
        let c = (self.kalman.told(2 * j, 2 * k) - self.about[j] - self.about[k] + self.mean_cov) * 1e6;
        if j == k { c.max(0.0) } else { c }
    }
    fn whole(&self) -> Option<&Whole> {
        self.whole.as_ref().filter(|_| self.weighed(self.at_s.unwrap_or(0.0)))
    }
    fn cov_mm2(&self, j: usize, k: usize) -> f64 {
        let c = self.wide_mm2(j, k);
        // The noise that is told is scaled by what the slow part of the innovations is, down to what the zeros leave.
        let slow = self.slow.clamp(0.03, 4.0);
        let n = self.towers as f64;
        let floor = if j == k { self.floor[j] } else { -(self.floor[j] * self.floor[k]).sqrt() / (n - 1.0) };
        let c = slow * c + (1.0 - slow).max(0.0) * floor;
        if j == k { c.max(0.0) } else { c }
    }
}

/// Channels of boxes along the truss that swing as one: those on pieces that run the same way, where there are two and more.
fn lines_of_boxes(setup: &Setup) -> Vec<Vec<usize>> {
    let way = |c: usize| {
        let p = &setup.plan.pieces[setup.channels[c].piece];
        let length = p.length().0.max(1e-9);
        [(p.to[0].0 - p.from[0].0) / length, (p.to[1].0 - p.from[1].0) / length]
    };
    let mut lines: Vec<Vec<usize>> = Vec::new();
    for c in (0..setup.channels.len()).filter(|&c| setup.channels[c].channel == Channel::TrussAlong) {
        let alike = |d: usize| way(c)[0] * way(d)[0] + way(c)[1] * way(d)[1] > 0.99;
        match lines.iter_mut().find(|line| line.first().is_some_and(|&d| alike(d))) {
            Some(line) => line.push(c),
            None => lines.push(vec![c]),
        }
    }
    lines.retain(|line| line.len() > 1);
    lines
}
