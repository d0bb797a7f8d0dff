//! The proof at the test lift: one turn of each tower must move the right channel the right way.
//!
//! What a turn does to every channel follows from the statics. What was seen is held against it under each explanation: all is
//! right; some instruments are reversed (`backwards`); the boxes of two towers are exchanged, or their painted names are
//! (`swapped`); nothing moved. The cheapest explanation that fits is told; where none fits, nothing is proved.

use crate::condition::{Condition, Known, Stands, Unit};
use crate::instruments::Instruments;
use crate::scene::{Scene, Turn};
use crate::setup::Setup;
use raisewatch_protocol::words::{Channel, Kind, Severity};
use raisewatch_protocol::{Mono, Span};
use raisewatch_statics::{Bearing, Model};

/// Before the turn the readings are averaged over this.
const BEFORE: Span = Span::ms(2_000);
/// After the word nothing is judged before this.
const EARLIEST: Span = Span::ms(1_500);
/// Readings are still when two neighbouring spans of this length agree.
const STILL_OVER: Span = Span::ms(1_000);
/// A turn that moved nothing is given up after this, and another 4 s a turn.
const GIVEN_UP: Span = Span::ms(12_000);
/// Cost of taking one channel for reversed, in squared sigmas.
const REVERSED: f64 = 6.0;
/// Cost of taking two towers for exchanged: less than two reversed tilts, more than one.
const EXCHANGED: f64 = 9.0;
/// One channel cannot cost more than this: an outlier must not choose for all.
const MOST: f64 = 25.0;
/// An explanation fits where its misfit is within two sigmas a channel.
const FITS: f64 = 4.0;

/// What became of a turn.
#[derive(Clone, Debug, PartialEq)]
pub enum Judged {
    /// The right channels moved the right way.
    Right,
    /// Faults were found: they stand as conditions.
    Faults,
    /// Nothing moved.
    Nothing,
    /// Something moved that no explanation fits.
    Otherwise,
    /// No channel of this kit can show a turn of this tower.
    Blunt,
    /// No readings before the turn.
    Unread,
}

/// Turns and what they proved.
#[derive(Clone, Debug)]
pub struct Proof {
    /// Change of each channel for one metre cranked at each tower: `[channel][tower]`, in the channel's unit.
    response: Vec<Vec<f64>>,
    before: Vec<Option<f64>>,
    change: Vec<Option<f64>>,
    /// By tower: a turn proved it.
    proved: Vec<bool>,
    /// By channel.
    backwards: Vec<bool>,
    /// By tower.
    swapped: Vec<bool>,
}

impl Proof {
    /// Nothing proved yet.
    pub fn new(setup: &Setup, model: &Model) -> Self {
        let on_ropes = model.standing(&model.on(Bearing::Rope, setup.plan.working_height));
        let towers = setup.plan.towers.len();
        let row = |s: &crate::setup::Seat| match s.channel {
            Channel::TrussAlong => on_ropes.slope_at(s.piece, s.at_m).per_offset,
            Channel::HeadLoad | Channel::RopeLoad => on_ropes.share_per_offset[s.tower].clone(),
            Channel::Height => on_ropes.head_per_offset[s.tower].clone(),
            Channel::TrussAcross | Channel::MastAlong | Channel::MastAcross | Channel::Battery => vec![0.0; towers],
        };
        Proof {
            response: setup.channels.iter().map(row).collect(),
            before: vec![None; setup.channels.len()],
            change: vec![None; setup.channels.len()],
            proved: vec![false; towers],
            backwards: vec![false; setup.channels.len()],
            swapped: vec![false; towers],
        }
    }

    /// Whether every tower is proved, by a turn or by what the kit carries.
    pub fn all(&self, setup: &Setup, instruments: &Instruments) -> bool {
        !self.swapped.contains(&true) && (0..self.proved.len()).all(|t| self.tower(setup, instruments, t))
    }

    /// Whether this tower is proved.
    pub fn tower(&self, setup: &Setup, instruments: &Instruments, tower: usize) -> bool {
        let tilts = |t| self.carried(setup, instruments, &[Channel::TrussAlong], t);
        let others = |t| self.carried(setup, instruments, &[Channel::Height, Channel::HeadLoad, Channel::RopeLoad], t);
        let kept = || tilts(Some(tower)).or_else(|| tilts(None)).or_else(|| others(Some(tower))).or_else(|| others(None));
        // Where nothing is fitted that a turn could move there is nothing to prove: no level is known then, which is told.
        self.proved[tower] || kept().unwrap_or(true)
    }

    /// Whether the kit carries a proof of every channel of these kinds (of one tower); nothing where it has none.
    fn carried(&self, setup: &Setup, instruments: &Instruments, kinds: &[Channel], tower: Option<usize>) -> Option<bool> {
        let own = |s: &crate::setup::Seat| kinds.contains(&s.channel) && tower.is_none_or(|t| s.tower == t);
        let mut fitted = setup.channels.iter().enumerate().filter(|(_, s)| own(s)).peekable();
        fitted.peek()?;
        Some(fitted.all(|(i, _)| instruments.health[i].proved && !self.backwards[i]))
    }

    /// Whether a channel is known to be backwards or exchanged: it guards nothing.
    pub fn distrusts(&self, setup: &Setup, channel: usize) -> bool {
        self.backwards[channel] || self.swapped[setup.channels[channel].tower]
    }

    /// A turn begins: what the channels read before it is kept.
    pub fn begin(&mut self, setup: &Setup, instruments: &Instruments, now: Mono) {
        for at in 0..setup.channels.len() {
            self.before[at] = mean(instruments, at, now, BEFORE, Span(0)).map(|m| m.0);
        }
    }

    /// The moment at which a turn is given up.
    pub fn given_up_at(turn: &Turn) -> Mono {
        turn.at + GIVEN_UP + Span::from_s(4.0 * turn.turns.abs())
    }

    /// Looks whether the turn is over and the readings still; if so, judges it.
    pub fn look(&mut self, setup: &Setup, instruments: &Instruments, scene: &Scene, now: Mono) -> Option<Judged> {
        let turn = scene.turn?;
        if now.since(turn.at) < EARLIEST {
            return None;
        }
        let crank_m = turn.turns * setup.plan.towers[turn.tower].per_turn.0;
        let over = now >= Proof::given_up_at(&turn);
        let mut still = true;
        let mut moved = false;
        for (at, seat) in setup.channels.iter().enumerate() {
            let sigma = sigma(seat.channel);
            self.change[at] = None;
            if sigma.is_infinite() {
                continue;
            }
            let (Some((new, rough)), Some((old, _)), Some(before)) =
                (mean(instruments, at, now, STILL_OVER, Span(0)), mean(instruments, at, now, STILL_OVER, STILL_OVER), self.before[at])
            else {
                continue;
            };
            still &= (new - old).abs() < sigma && rough < 3.0 * sigma;
            let lifts = seat.lifts();
            self.change[at] = Some((new - before) * lifts);
            moved |= ((new - before) * lifts).abs() > 0.3 * (self.response[at][turn.tower] * crank_m).abs().max(2.0 * sigma);
        }
        // What has not moved may be moving soon; what has moved is judged as soon as it is still.
        if over || (still && moved && now.since(turn.at) >= Span(EARLIEST.0 + STILL_OVER.0)) {
            return Some(self.judge(setup, turn.tower, crank_m));
        }
        None
    }

    fn judge(&mut self, setup: &Setup, cranked: usize, crank_m: f64) -> Judged {
        let channels = setup.channels.len();
        let known = |c: &usize| self.change[*c].is_some();
        if !(0..channels).any(|c| known(&c)) {
            return Judged::Unread;
        }
        let visible = |c: usize| (self.response[c][cranked] * crank_m).abs() > 2.5 * sigma(setup.channels[c].channel);
        if !(0..channels).filter(known).any(visible) {
            return Judged::Blunt;
        }
        let nothing = self.cost(setup, crank_m, Explained::Nothing, &mut Vec::new());
        let mut best = (nothing, nothing, Explained::Nothing, Vec::new());
        for explained in explanations(setup, cranked) {
            let mut reversed = Vec::new();
            let misfit = self.cost(setup, crank_m, explained, &mut reversed);
            let price = if explained == Explained::As(cranked) { 0.0 } else { EXCHANGED };
            let cost = misfit + REVERSED * reversed.len() as f64 + price;
            if cost < best.0 - 1e-9 {
                best = (cost, misfit, explained, reversed);
            }
        }
        self.conclude(setup, cranked, best.1, best.2, &best.3)
    }

    fn conclude(&mut self, setup: &Setup, cranked: usize, misfit: f64, explained: Explained, reversed: &[usize]) -> Judged {
        let count = self.change.iter().flatten().count() as f64;
        if explained == Explained::Nothing {
            return Judged::Nothing;
        }
        if misfit > FITS * count {
            return Judged::Otherwise;
        }
        for (c, seat) in setup.channels.iter().enumerate() {
            let shows = self.change[c].is_some() && (self.response[c][cranked].abs() > 0.0);
            if shows && seat.channel != Channel::Battery {
                self.backwards[c] = reversed.contains(&c);
            }
        }
        let exchanged = match explained {
            Explained::As(tower) => (tower != cranked).then_some(tower),
            Explained::Boxes { other, .. } => Some(other),
            Explained::Nothing => None,
        };
        self.swapped[cranked] = exchanged.is_some();
        if let Some(other) = exchanged {
            self.swapped[other] = true;
        } else if !self.swapped.iter().enumerate().any(|(t, s)| *s && t != cranked) {
            self.swapped.fill(false);
        }
        let own_reversed = reversed.iter().any(|c| setup.channels[*c].tower == cranked);
        self.proved[cranked] = exchanged.is_none() && !own_reversed;
        if exchanged.is_none() && reversed.is_empty() { Judged::Right } else { Judged::Faults }
    }

    /// Misfit of an explanation, squared sigmas; the channels that fit better reversed.
    fn cost(&self, setup: &Setup, crank_m: f64, explained: Explained, reversed: &mut Vec<usize>) -> f64 {
        let mut sum = 0.0;
        for (c, change) in self.change.iter().enumerate() {
            let Some(change) = change else { continue };
            let expected = self.expected(setup, c, explained) * crank_m;
            let spread = sigma(setup.channels[c].channel).max(0.3 * expected.abs());
            let misfit = |want: f64| ((change - want) / spread).powi(2).min(MOST);
            let (right, wrong) = (misfit(expected), misfit(-expected));
            if wrong + REVERSED < right {
                reversed.push(c);
                sum += wrong;
            } else {
                sum += right;
            }
        }
        sum
    }

    fn expected(&self, setup: &Setup, c: usize, explained: Explained) -> f64 {
        match explained {
            Explained::Nothing => 0.0,
            Explained::As(tower) => self.response[c][tower],
            Explained::Boxes { cranked, other } => {
                // The boxes of two towers are exchanged: this channel shows what its fellow at the other tower should.
                let seat = &setup.channels[c];
                let there = match seat.tower {
                    t if t == cranked => other,
                    t if t == other => cranked,
                    t => t,
                };
                let fellow = setup.channels.iter().position(|s| s.tower == there && s.channel == seat.channel);
                self.response[fellow.unwrap_or(c)][cranked]
            }
        }
    }

    /// The conditions of the moment: faults found and not yet disproved by a later turn.
    pub fn conditions(&self, setup: &Setup, instruments: &Instruments, scene: &Scene, found: &mut Vec<Condition>) {
        for (c, seat) in setup.channels.iter().enumerate() {
            let severity = at_least_warn(instruments.guarded_by_another(setup, c), scene);
            let stands = if self.backwards[c] { Stands::At(severity) } else { Stands::Clear };
            let turned = self.change[c].map(|v| Known { value: told(seat.channel, v), sigma: told(seat.channel, sigma(seat.channel)) });
            found.push(Condition {
                tower: Some(seat.tower),
                channel: Some(c),
                piece: Some(seat.piece),
                amount: turned.filter(|_| self.backwards[c]),
                unit: unit(seat.channel),
                stands,
                ..Condition::of(Kind::Backwards)
            });
        }
        for (tower, swapped) in self.swapped.iter().enumerate() {
            let stands = if *swapped { Stands::At(at_least_warn(false, scene)) } else { Stands::Clear };
            found.push(Condition { tower: Some(tower), stands, ..Condition::of(Kind::Swapped) });
        }
    }
}

/// One explanation of what a turn did.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Explained {
    /// Nothing was cranked.
    Nothing,
    /// This tower was cranked.
    As(usize),
    /// The said tower was cranked; its boxes hang at the other, and the other's here.
    Boxes { cranked: usize, other: usize },
}

/// All explanations worth a look, the plain one first.
fn explanations(setup: &Setup, cranked: usize) -> impl Iterator<Item = Explained> {
    let others = move |t: &usize| *t != cranked;
    let towers = 0..setup.plan.towers.len();
    let boxes = towers.clone().filter(others).map(move |other| Explained::Boxes { cranked, other });
    std::iter::once(Explained::As(cranked)).chain(towers.filter(others).map(Explained::As)).chain(boxes)
}

/// Mean of a channel's readings over `span`, ended `back` before `now`, and their rms roughness about it.
fn mean(instruments: &Instruments, at: usize, now: Mono, span: Span, back: Span) -> Option<(f64, f64)> {
    let end = now - back;
    let window = || instruments.gauges[at].kept.iter().filter(move |k| k.0 <= end && end.since(k.0) < span).map(|k| k.1);
    let count = window().count();
    if count < 3 {
        return None;
    }
    let mean = window().sum::<f64>() / count as f64;
    let rough = (window().map(|v| (v - mean).powi(2)).sum::<f64>() / count as f64).sqrt();
    Some((mean, rough))
}

/// How well a mean over a second of still readings is trusted, in the channel's unit (common practice, no source): 0.05° of tilt,
/// 25 N, 5 mm. Endless where a turn shows nothing.
fn sigma(channel: Channel) -> f64 {
    match channel {
        Channel::TrussAlong => 0.05_f64.to_radians(),
        Channel::HeadLoad | Channel::RopeLoad => 25.0,
        Channel::Height => 0.005,
        Channel::TrussAcross | Channel::MastAlong | Channel::MastAcross | Channel::Battery => f64::INFINITY,
    }
}

/// Severity of a fault that is a warn at least: a stop where nothing else guards and heads move.
fn at_least_warn(guarded: bool, scene: &Scene) -> Severity {
    if !guarded && scene.guarded_as_moving() { Severity::Stop } else { Severity::Warn }
}

fn told(channel: Channel, value: f64) -> f64 {
    match channel {
        Channel::TrussAlong => value.to_degrees(),
        Channel::Height => value * 1000.0,
        _ => value,
    }
}

fn unit(channel: Channel) -> Unit {
    match channel {
        Channel::TrussAlong | Channel::TrussAcross | Channel::MastAlong | Channel::MastAcross => Unit::Deg,
        Channel::HeadLoad | Channel::RopeLoad => Unit::N,
        Channel::Height => Unit::Mm,
        Channel::Battery => Unit::V,
    }
}
