//! A finding as a line: numbers rounded, text rendered once from the lift's phrases.

use crate::condition::{Towards, Unit};
use crate::health::not_fitted;
use crate::instruments::{Instruments, SLOWEST_S, is_guard};
use crate::life::Track;
use crate::life::audience::audience;
use crate::phrases::{ALL, Phrases};
use crate::scene::Scene;
use crate::setup::Setup;
use raisewatch_protocol::Mono;
use raisewatch_protocol::told::Finding;
use raisewatch_protocol::words::{Kind, Severity};

/// A position is told only where it is known this well, m.
const PLACE_SIGMA_M: f64 = 0.5;

/// All that a line is rendered from, beside the finding.
pub struct Room<'a> {
    /// Plan and kit.
    pub setup: &'a Setup,
    /// What people set.
    pub scene: &'a Scene,
    /// The channels.
    pub instruments: &'a Instruments,
    /// The words.
    pub phrases: &'a Phrases,
    /// Who said stop, where somebody did.
    pub stop_by: Option<&'a str>,
}

/// The line of one change of a finding.
pub fn finding(track: &Track, room: &Room, now: Mono, change: bool) -> Finding {
    let (setup, scene) = (room.setup, room.scene);
    let condition = &track.now;
    let id = |t: usize| setup.plan.towers[t].id.clone();
    let position = condition.position.filter(|p| p.sigma <= PLACE_SIGMA_M).map(|p| tenth(p.value));
    Finding {
        t_ms: now,
        id: track.id.clone(),
        kind: track.kind,
        severity: track.severity,
        tower: track.tower.map(id),
        piece: condition.piece.map(|p| setup.plan.pieces[p].id.clone()),
        position_m: position,
        amount: condition.amount.map(|a| tenth(a.value)),
        unit: condition.unit.word().map(str::to_owned),
        sigma: condition.amount.map(|a| tenth(a.sigma)),
        limit: condition.limit.map(tenth),
        since_ms: track.since,
        state: track.state,
        to: audience(track.kind, track.severity, scene),
        text: text(track, room, position),
        change,
    }
}

/// Rounded to 0.1, without a negative nothing.
pub fn tenth(value: f64) -> f64 {
    let rounded = (value * 10.0).round() / 10.0;
    if rounded == 0.0 { 0.0 } else { rounded }
}

fn text(track: &Track, room: &Room, position: Option<f64>) -> String {
    let Room { setup, phrases, .. } = *room;
    let condition = &track.now;
    let tower = track.tower.map(|t| setup.plan.towers[t].name.as_str());
    let amount_value = condition.amount.map(|a| a.value);
    let amount = amount_value.map(|v| quantity(v.abs(), condition.unit, phrases)).unwrap_or_default();
    let limit = condition.limit.map(|v| quantity(v, condition.unit, phrases)).unwrap_or_default();
    let place = position.map(|p| phrases_place(p, phrases)).unwrap_or_default();
    let what = what(track, room);
    // A fault of one instrument is a note only while something else guards: the severity says so itself.
    let guarded = track.severity == Severity::Note;
    let guard = phrases.of(if guarded { "guarded" } else { "unguarded" });
    let key = key(track, amount_value, tower.is_some());
    let tower = tower.map_or_else(|| (ALL, phrases.of("everywhere")), |name| ("tower", name));
    let way = phrases.way(condition.towards, |t| &setup.plan.towers[t].name);
    let fill = [tower, ("amount", &amount), ("limit", &limit), ("place", &place), ("what", &what), ("way", &way), ("guard", guard)];
    phrases.render(&key, &fill)
}

/// The phrase of a finding: by kind, then by sign, then by what is not known.
fn key(track: &Track, amount: Option<f64>, tower: bool) -> String {
    let kind = track.kind.word();
    let sided = match track.kind {
        // Which head it is nobody knows: it is neither high nor low.
        Kind::Uneven | Kind::Twist if !tower => "-unknown",
        Kind::Uneven | Kind::Twist => match amount {
            Some(a) if a < 0.0 => "-low",
            Some(_) => "-high",
            None => "-unknown",
        },
        Kind::Portal if amount.is_some_and(|a| a < 0.0) => "-apart",
        Kind::Sinking if track.now.towards == Some(Towards::Down) => "-down",
        Kind::Silent if is_slow(track) => return "slow".to_owned(),
        _ if amount.is_none() => "-unknown",
        _ if !tower => "-all",
        _ => "",
    };
    let wanted = format!("{kind}{sided}");
    if Phrases::has(&wanted) { wanted } else { kind.to_owned() }
}

/// A node that is heard too seldom is told as `silent`, warn, with its interval.
fn is_slow(track: &Track) -> bool {
    track.severity == Severity::Warn && track.now.limit.is_some_and(|l| (l - SLOWEST_S).abs() < 1e-9)
}

/// What is wrong at a tower, in words: a channel, or all of them.
fn what(track: &Track, room: &Room) -> String {
    let Room { setup, instruments, phrases, stop_by, .. } = *room;
    if let Some(channel) = track.channel {
        return phrases.channel(setup.channels[channel].channel).to_owned();
    }
    let Some(tower) = track.tower else {
        return stop_by.filter(|by| !by.is_empty()).unwrap_or(phrases.of("somebody")).to_owned();
    };
    if !matches!(track.kind, Kind::Silent | Kind::NeverHeard | Kind::NotFitted) {
        return phrases.of("an-instrument").to_owned();
    }
    if track.kind == Kind::NotFitted {
        return not_fitted(setup, tower).map(|c| phrases.channel(c).to_owned()).unwrap_or_default();
    }
    let slow = |c: &usize| instruments.health[*c].too_slow;
    if is_slow(track) && !instruments.guards(setup, tower).all(|(c, _)| slow(&c)) {
        let names = instruments.guards(setup, tower).filter(|(c, _)| slow(c)).map(|(c, _)| phrases.channel(setup.channels[c].channel));
        return names.collect::<Vec<_>>().join(", ");
    }
    let mut silent: Vec<(Option<Mono>, usize)> = instruments.guards(setup, tower).map(|(c, heard)| (heard, c)).collect();
    let newest = silent.iter().map(|s| s.0).max().flatten();
    silent.retain(|s| newest.is_none_or(|n| s.0.is_none_or(|h| n.since(h).s() > 0.5)));
    let guards = setup.channels.iter().filter(|s| s.tower == tower && is_guard(s.channel)).count();
    if silent.is_empty() || silent.len() == guards {
        return phrases.of("all-channels").to_owned();
    }
    let names: Vec<&str> = silent.iter().map(|s| phrases.channel(setup.channels[s.1].channel)).collect();
    names.join(", ")
}

/// " at 5.5 m", in the units of the lift.
pub fn phrases_place(position_m: f64, phrases: &Phrases) -> String {
    let amount = if phrases.inches { format!("{:.0} ft", position_m / 0.3048) } else { format!("{position_m:.1} m") };
    phrases.of("place").replace("{amount}", &amount)
}

/// A number with its unit, as people read it: mm to 1, kg (or lb) to 1, degrees to 0.1, seconds to 0.1 under 10.
pub fn quantity(value: f64, unit: Unit, phrases: &Phrases) -> String {
    match unit {
        Unit::Mm if phrases.inches => format!("{:.1} in", value / 25.4),
        Unit::Mm => format!("{:.0} mm", value),
        Unit::N if phrases.pounds => format!("{:.0} lb", raisewatch_protocol::units::Force(value).lb()),
        Unit::N => format!("{:.0} kg", raisewatch_protocol::units::Force(value).kg()),
        Unit::Deg => format!("{value:.1}°"),
        Unit::S if value < 10.0 => format!("{value:.1} s"),
        Unit::S => format!("{value:.0} s"),
        Unit::V => format!("{value:.2} V"),
        Unit::M => format!("{value:.2} m"),
        Unit::One => format!("{value:.2}"),
        Unit::None => String::new(),
    }
}
