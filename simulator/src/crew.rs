//! The operators: each cranks towards what the lead asked for, at a pace of his own, and obeys what he hears, late.

use crate::quantity::Seconds;
use crate::script::{Habits, Real};
use crate::stream::Stream;
use crate::tower::Tower;
use raisewatch_protocol::told::Call;
use raisewatch_protocol::words::{CallState, Word};
use std::collections::VecDeque;
use std::f64::consts::TAU;

/// What an operator has been asked to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Task {
    /// Nothing.
    Idle,
    /// Crank until the head is at this height; up or down by the sign of the way.
    Crank {
        /// Height of the head, m.
        to_m: f64,
        /// Up (1) or down (-1).
        way: f64,
    },
    /// Crank so many turns (sign: up).
    Turns {
        /// Still to do.
        left: f64,
    },
    /// Up over the pin, pin in, down on to it.
    Land(Landing),
    /// Take the load on the rope and draw the pin.
    Unpin {
        /// Seconds that the hand has been at the pin; not yet while negative.
        at_pin_s: f64,
    },
}

/// Where a landing is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Landing {
    /// Waits for its turn.
    Waits {
        /// For so long.
        left_s: f64,
        /// Pin height, m.
        pin_m: f64,
        /// How far over it to crank, m.
        over_m: f64,
    },
    /// Cranks up.
    Over {
        /// Pin height, m.
        pin_m: f64,
        /// Height to reach, m.
        to_m: f64,
    },
    /// Puts the pin in.
    Pins {
        /// For so long.
        left_s: f64,
        /// Pin height, m.
        pin_m: f64,
    },
    /// Lowers on to it until the rope hangs slack.
    Slackens,
}

/// What a call has an operator do beside his task.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Order {
    Free,
    Hold,
    Turns { left: f64 },
    Stop,
}

/// What an operator calls out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shout {
    /// The pin is in.
    Pinned,
    /// A section is up.
    SectionUp,
    /// The slack is set.
    SlackSet,
}

/// One person at a winch.
#[derive(Clone, Debug)]
pub struct Operator {
    habits: Habits,
    /// Turns a second, up and down.
    pace: [f64; 2],
    /// Pace of this turn relative to the usual.
    turn_pace: f64,
    /// Turns a second now.
    speed: f64,
    /// Position of the handle, turns.
    pub handle: f64,
    task: Task,
    order: Order,
    easy: bool,
    heard: VecDeque<(f64, Call)>,
    late_s: f64,
    wait_s: f64,
    section_ends: Vec<f64>,
    stream: Stream,
    /// Multiple of the cadence, by fault; negative is the other way.
    pub factor: f64,
    /// Hears nothing and does nothing, by fault.
    pub frozen: bool,
    /// Hears nothing, by fault.
    pub deaf: bool,
}

/// From standing hands to full pace, s. Common practice, no source.
const GATHERS_S: f64 = 0.35;
/// The speed of a hand through one turn is uneven by this share: strong at the push, weak at the pull. No source.
const UNEVEN_TURN: f64 = 0.15;

impl Operator {
    /// An operator with these habits; `pace` in turns a second up and down where the habits name none.
    pub fn new(habits: Habits, late_s: f64, pace: [f64; 2], mut stream: Stream) -> Self {
        let own = 1.0 + stream.normal(habits.spread).clamp(-3.0 * habits.spread, 3.0 * habits.spread);
        let pace = [habits.cadence.unwrap_or(pace[0]) * own, habits.cadence_down.unwrap_or(pace[1]) * own];
        let handle = stream.between(0.0, 1.0);
        Operator {
            habits,
            pace,
            turn_pace: 1.0,
            speed: 0.0,
            handle,
            task: Task::Idle,
            order: Order::Free,
            easy: false,
            heard: VecDeque::new(),
            late_s,
            wait_s: 0.0,
            section_ends: Vec::new(),
            stream,
            factor: 1.0,
            frozen: false,
            deaf: false,
        }
    }

    /// What the lead asks for; `section_ends` are heights at which he pauses on the way.
    pub fn ask(&mut self, task: Task, section_ends: Vec<f64>) {
        self.task = task;
        self.section_ends = section_ends;
        self.wait_s = self.late_s;
    }

    /// Whether the task is done.
    pub fn idle(&self) -> bool {
        self.task == Task::Idle
    }

    /// Whether hands are on the handle and moving.
    pub fn cranking(&self) -> bool {
        self.speed != 0.0
    }

    /// Whether a stop stands for him.
    pub fn stopped(&self) -> bool {
        self.order == Order::Stop
    }

    /// Hears a call; acts on it after his reaction.
    pub fn hear(&mut self, call: &Call, at_s: f64) {
        if self.habits.obeys {
            let Seconds(reaction) = self.habits.reaction;
            self.heard.push_back((at_s + reaction, call.clone()));
        }
    }

    /// The lead has released a stop and says go on.
    pub fn freed(&mut self) {
        self.order = Order::Free;
    }

    fn obey(&mut self, now_s: f64) {
        while self.heard.front().is_some_and(|(at, _)| *at <= now_s) {
            let Some((_, call)) = self.heard.pop_front() else { return };
            if !(self.deaf || self.frozen) {
                self.take(&call);
            }
        }
    }

    fn take(&mut self, call: &Call) {
        let over = call.state == CallState::Over;
        let turns = call.turns.unwrap_or(0.0).clamp(0.0, 2.0);
        match call.call {
            Word::Stop if over => self.order = Order::Free,
            Word::Stop => self.order = Order::Stop,
            _ if self.order == Order::Stop => {}
            Word::Easy => self.easy = !over,
            Word::Hold => self.order = if over { Order::Free } else { Order::Hold },
            Word::Up if over => self.order = Order::Free,
            Word::Down if over => self.order = Order::Free,
            Word::Up => self.order = if self.habits.corrects { Order::Turns { left: turns } } else { Order::Free },
            Word::Down => self.order = if self.habits.corrects { Order::Turns { left: -turns } } else { Order::Free },
            Word::Level => {
                self.order = Order::Free;
                self.easy = false;
            }
            Word::None | Word::Pin => {}
        }
    }

    /// Goes on by `dt_s`; `offset_m` is how far his head stands above the middle of all. Returns what he calls out.
    pub fn advance(&mut self, tower: &mut Tower, offset_m: f64, real: &Real, now_s: f64, dt_s: f64) -> Option<Shout> {
        self.obey(now_s);
        let (wish, shout) = if self.frozen { (0.0, None) } else { self.wish(tower, real, dt_s) };
        let way = wish.signum();
        let usual = if way > 0.0 { self.pace[0] } else { self.pace[1] };
        let eye = match self.task {
            Task::Crank { .. } if self.order == Order::Free => self.habits.eye * offset_m / tower.make.rise_m,
            _ => 0.0,
        };
        let eased = if self.easy { 0.5 } else { 1.0 };
        let aim = wish * usual * self.turn_pace * self.factor * eased * (1.0 - way * eye).clamp(0.4, 1.4);
        self.gather(aim, usual, dt_s);
        let before = self.handle;
        self.handle += self.speed * (1.0 + UNEVEN_TURN * (TAU * self.handle).sin()) * dt_s;
        if before.floor() != self.handle.floor() {
            self.turn_pace = 1.0 + self.stream.normal(self.habits.jitter).clamp(-0.3, 0.3);
        }
        self.count(self.handle - before);
        shout
    }

    /// Hands do not start or stop at once.
    fn gather(&mut self, aim: f64, usual: f64, dt_s: f64) {
        let most = usual.max(0.2) * dt_s / GATHERS_S;
        self.speed += (aim - self.speed).clamp(-most, most);
        if aim == 0.0 && self.speed.abs() < 1e-6 {
            self.speed = 0.0;
        }
    }

    fn count(&mut self, turned: f64) {
        let done = |left: f64| left == 0.0 || left.signum() != (left - turned).signum();
        if let Order::Turns { left } = self.order {
            // Once cranked, he waits for the word: the order stands as a hold.
            self.order = if done(left) { Order::Hold } else { Order::Turns { left: left - turned } };
        } else if let Task::Turns { left } = self.task
            && self.order == Order::Free
        {
            self.task = if done(left) { Task::Idle } else { Task::Turns { left: left - turned } };
        }
    }

    /// Which way he wants to crank now (share of his pace), and what he calls out.
    fn wish(&mut self, tower: &mut Tower, real: &Real, dt_s: f64) -> (f64, Option<Shout>) {
        match self.order {
            Order::Hold | Order::Stop => return (0.0, None),
            Order::Turns { left } => return (slowly(left.abs() * 1.5).copysign(left), None),
            Order::Free => {}
        }
        if self.wait_s > 0.0 {
            self.wait_s -= dt_s;
            return (0.0, None);
        }
        match self.task {
            Task::Idle => (0.0, None),
            Task::Turns { left } => (slowly(left.abs() * 1.5).copysign(left), None),
            Task::Crank { to_m, way } => self.crank(tower, to_m, way),
            Task::Land(landing) => self.land(landing, tower, real, dt_s),
            Task::Unpin { at_pin_s } => self.unpin(at_pin_s, tower, dt_s),
        }
    }

    fn crank(&mut self, tower: &mut Tower, to_m: f64, way: f64) -> (f64, Option<Shout>) {
        let left_m = (to_m - mark(tower)) * way;
        if left_m <= 0.0005 {
            self.task = Task::Idle;
            return (0.0, None);
        }
        if self.section_ends.first().is_some_and(|end| mark(tower) >= *end) {
            self.section_ends.remove(0);
            self.wait_s = self.stream.between(self.habits.section[0].0, self.habits.section[1].0);
            return (0.0, Some(Shout::SectionUp));
        }
        (slowly(left_m / tower.make.rise_m) * way, None)
    }

    fn land(&mut self, landing: Landing, tower: &mut Tower, real: &Real, dt_s: f64) -> (f64, Option<Shout>) {
        let (next, wish, shout) = match landing {
            Landing::Waits { left_s, pin_m, over_m } if left_s > 0.0 => {
                (Some(Landing::Waits { left_s: left_s - dt_s, pin_m, over_m }), 0.0, None)
            }
            Landing::Waits { pin_m, over_m, .. } => (Some(Landing::Over { pin_m, to_m: pin_m + over_m }), 0.0, None),
            Landing::Over { pin_m, to_m } => {
                let left_m = to_m - mark(tower);
                let there = left_m <= 0.0005;
                let next = if there { Landing::Pins { left_s: 2.0, pin_m } } else { landing };
                (Some(next), if there { 0.0 } else { slowly(left_m / tower.make.rise_m) }, None)
            }
            Landing::Pins { left_s, pin_m } if left_s > 0.0 => (Some(Landing::Pins { left_s: left_s - dt_s, pin_m }), 0.0, None),
            Landing::Pins { pin_m, .. } => {
                tower.pin_m = Some(pin_m + tower.sunk_m);
                (Some(Landing::Slackens), 0.0, Some(Shout::Pinned))
            }
            Landing::Slackens if tower.z_m - tower.rope_m > real.slack.0 => (None, 0.0, Some(Shout::SlackSet)),
            Landing::Slackens => (Some(Landing::Slackens), -0.6, None),
        };
        self.task = next.map_or(Task::Idle, Task::Land);
        (wish, shout)
    }

    fn unpin(&mut self, at_pin_s: f64, tower: &mut Tower, dt_s: f64) -> (f64, Option<Shout>) {
        let Some(pin_m) = tower.pin_m else {
            self.task = Task::Idle;
            return (0.0, None);
        };
        if at_pin_s >= 0.0 {
            if at_pin_s > 1.5 {
                tower.pin_m = None;
            }
            self.task = Task::Unpin { at_pin_s: at_pin_s + dt_s };
            return (0.0, None);
        }
        if mark(tower) > pin_m + 0.006 {
            self.task = Task::Unpin { at_pin_s: 0.0 };
            return (0.0, None);
        }
        (0.7, None)
    }
}

/// The mark on the mast as the operator sees it: where the drum has brought the head, without the bounce.
fn mark(tower: &Tower) -> f64 {
    tower.z_m
}

/// The last turn goes slower.
fn slowly(turns_left: f64) -> f64 {
    turns_left.clamp(0.2, 1.0)
}
