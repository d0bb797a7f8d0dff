//! Whole lifts through the watch, on the small rig of [`rig`].

mod guard;
mod learnt;
mod rig;
mod zeros;

use super::*;
use raisewatch_protocol::reading::{Packet, Reading, Value};
use raisewatch_protocol::said::{Said, SaidValue, StepSet};
use raisewatch_protocol::units::{Angle, Force};
use raisewatch_protocol::words::{CallState, Channel, Utterance, Word};
use rig::*;

#[test]
fn a_lift_is_not_zeroed_then_not_proved_then_level() {
    let mut rig = Rig::new();
    rig.run(500, |_| {});
    assert_eq!(rig.calls("spotter"), ["none said: Not zeroed."]);
    assert_eq!(rig.calls("A"), ["none said: Not zeroed."]);
    assert_eq!(rig.watch.view().towers[0].offset_mm, None);
    rig.zero();
    assert_eq!(rig.calls("spotter").last().unwrap(), "none said: Not proved.");
    rig.prove();
    assert_eq!(rig.calls("lead"), ["none said: Not zeroed.", "none said: Not proved.", "level said: Level."], "{:?}", rig.replies());
    assert_eq!(rig.findings(), [""; 0]);
    assert!(rig.watch.view().towers[1].offset_mm.is_some_and(|mm| mm.abs() < 3.0));
}

#[test]
fn one_tower_cranked_alone_is_held_the_other_sent_up_and_the_end_is_told() {
    let mut rig = Rig::raising();
    rig.lines.clear();
    rig.run(2600, |r| r.b_high_mm += 25.0 * 0.05);
    let high = rig.b_high_mm;
    rig.run(1500, |_| {});
    assert_eq!(rig.findings()[0], "uneven-B-1 warn raised crew", "{high} mm high, {:?}", rig.findings());
    assert_eq!(rig.calls("spotter")[0], "hold said: Hold Bravo. Alpha up two.", "{:?}", rig.calls("spotter"));
    assert_eq!(rig.calls("A")[0], "up said: Alpha up two.");
    assert_eq!(rig.calls("B")[0], "hold said: Hold Bravo.");
    rig.lines.clear();
    rig.run(4000, |r| r.b_high_mm = (r.b_high_mm - 1.25).max(0.0));
    rig.run(4000, |_| {});
    assert_eq!(rig.findings().last().unwrap(), "uneven-B-1 warn returned crew");
    let calls = rig.calls("spotter");
    assert_eq!(calls[calls.len() - 2..].iter().map(|c| c.split(':').next().unwrap()).collect::<Vec<_>>(), ["hold over", "level said"]);
}

#[test]
fn silence_of_a_moving_node_stops_within_a_second_and_repeats_and_needs_seen_and_release() {
    let mut rig = Rig::raising();
    rig.lines.clear();
    rig.speaks[1] = false;
    let last = rig.now;
    rig.run(13_000, |_| {});
    let Some(Output::Finding(first)) = rig.lines.first().cloned() else { panic!("{:?}", rig.lines.first()) };
    assert_eq!((first.id.as_str(), first.t_ms, first.severity), ("silent-B-1", Mono((last + 1000) * 1000), Severity::Stop));
    let stops: Vec<(u64, CallState)> = (rig.lines.iter())
        .filter_map(|o| match o {
            Output::Call(c) if c.to == "spotter" && c.call == Word::Stop => Some((c.t_ms.0 / 1000 - last, c.state)),
            _ => None,
        })
        .collect();
    use CallState::{Repeated, Said};
    assert_eq!(stops, [(1000, Said), (3000, Repeated), (5000, Repeated), (7000, Repeated), (9000, Repeated), (11_000, Repeated)]);
    assert!(rig.calls("spotter")[0].ends_with("Stop. No data from Bravo."), "{:?}", rig.calls("spotter"));
    assert!(rig.watch.view().towers[1].blind);
    rig.speaks[1] = true;
    let back = rig.now + 50;
    rig.run(3000, |_| {});
    assert_eq!(rig.findings().last().unwrap(), "silent-B-1 stop latched crew");
    let Some(Output::Finding(gone)) = rig.lines.iter().rfind(|o| matches!(o, Output::Finding(_))) else { panic!("no finding") };
    assert_eq!(gone.t_ms, Mono((back + 500) * 1000), "the long gap is no slow pace: it is over half a second after the first reading");
    rig.say(Utterance::Release, None, None, "lead");
    assert!(rig.replies().last().unwrap().contains("has to be seen first"));
    rig.say(Utterance::Seen, None, None, "spotter");
    assert!(rig.replies().last().unwrap().contains("lead's"));
    rig.say(Utterance::Seen, None, None, "lead");
    rig.say(Utterance::Release, None, None, "lead");
    rig.run(3000, |_| {});
    assert_eq!(rig.findings().last().unwrap(), "silent-B-1 stop cleared crew");
    assert_eq!(rig.calls("spotter").last().unwrap(), "level said: Level.");
}

#[test]
fn a_persons_stop_reaches_everybody_at_once_and_one_release_ends_it() {
    let mut rig = Rig::raising();
    rig.lines.clear();
    rig.say(Utterance::Stop, None, None, "spotter");
    assert_eq!(rig.findings(), ["stop-said-all-1 stop raised crew"]);
    for to in ["spotter", "lead", "A", "B"] {
        assert!(rig.calls(to)[0].starts_with("stop said: Stop."), "{to}");
    }
    rig.say(Utterance::Release, None, None, "lead");
    rig.run(2000, |_| {});
    assert_eq!(rig.calls("B").last().unwrap(), "level said: Level.");
}

#[test]
fn a_zero_with_a_moving_truss_or_outside_the_rig_is_refused() {
    let mut rig = Rig::new();
    rig.run(4000, |r| r.b_high_mm += 2.0);
    rig.say(Utterance::Zero, Some("A"), Some(Channel::TrussAlong), "lead");
    assert!(rig.replies()[0].contains("refused: Tilt along on Alpha moves by"), "{:?}", rig.replies());
    rig.say(Utterance::Zero, Some("A"), None, "lead");
    rig.say(Utterance::Zero, Some("C"), Some(Channel::HeadLoad), "lead");
    rig.say(Utterance::Zero, Some("A"), Some(Channel::RopeLoad), "lead");
    rig.step(Step::Raise);
    rig.say(Utterance::Zero, Some("A"), Some(Channel::HeadLoad), "lead");
    let refused = rig.replies().iter().filter(|r| r.starts_with("refused")).count();
    assert_eq!(refused, 5, "{:?}", rig.replies());
    assert!(!rig.watch.view().zeroed);
}

#[test]
fn a_tilt_that_hangs_the_wrong_way_round_is_named_and_nothing_is_claimed() {
    let mut rig = Rig::new();
    rig.tilt_sign[1] = -1.0;
    rig.zero();
    rig.prove();
    let backwards: Vec<String> = rig.findings().into_iter().filter(|f| f.starts_with("backwards")).collect();
    assert_eq!(backwards, ["backwards-B-1 warn raised lead"], "{:?} {:?}", rig.findings(), rig.replies());
    assert_eq!(rig.calls("spotter").last().unwrap(), "none said: Not proved.");
}

#[test]
fn ticks_at_any_time_change_no_output() {
    let quiet = Rig::raising();
    let mut ticked = Rig::new();
    let mut plain = Rig::new();
    for rig in [&mut ticked, &mut plain] {
        rig.zero();
        rig.prove();
        rig.step(Step::Raise);
    }
    for _ in 0..200 {
        plain.run(100, |r| r.b_high_mm += 2.0);
        ticked.run(50, |r| r.b_high_mm += 2.0);
        let now = ticked.now;
        for odd in [13, 27, 41] {
            let lines = ticked.watch.step(Mono((now + odd) * 1000 + 77), &Input::Tick).to_vec();
            ticked.lines.extend(lines);
        }
        ticked.run(50, |r| r.b_high_mm += 2.0);
    }
    assert!(!quiet.lines.is_empty());
    let bytes = |r: &Rig| format!("{:?}", r.lines);
    assert_eq!(bytes(&ticked), bytes(&plain));
}

/// The kit above with zeroes and proofs carried: a lift that begins in the middle.
fn carried() -> String {
    let zero = |v: &str| format!("zero = {{ value = \"{v}\", when = 2031-05-14T13:40:00Z, by = \"Mara\", valid = \"12 h\" }}\n");
    let proved = "proved = { when = 2031-05-14T13:50:00Z, by = \"Mara\" }\n";
    KIT.replace("range = [\"-10 deg\", \"10 deg\"]\n", &format!("range = [\"-10 deg\", \"10 deg\"]\n{}{proved}", zero("0 deg")))
        .replace("[node.channel.head-load]\n", &format!("[node.channel.head-load]\n{}", zero("0 N")))
}

#[test]
fn cells_alone_may_be_proved_and_tell_no_level() {
    let carried = carried();
    let nodes = carried.split("[[node]]").map(|node| match node.split_once("[node.channel.truss-along]") {
        Some((head, rest)) => format!("[[node]]{head}[node.channel.head-load]{}", rest.split_once("[node.channel.head-load]").unwrap().1),
        None => node.to_owned(),
    });
    let no_tilts: String = nodes.collect();
    let proved = "[node.channel.head-load]\nproved = { when = 2031-05-14T13:50:00Z, by = \"Mara\" }\n";
    for (kit, told) in [
        (no_tilts.clone(), "none said: Not proved."),
        (no_tilts.replace("[node.channel.head-load]\n", proved), "none said: Level not known."),
    ] {
        assert!(!kit.contains("truss-along"), "{kit}");
        let mut rig = Rig::with(&kit);
        rig.step(Step::Raise);
        rig.run(5000, |_| {});
        assert_eq!(rig.calls("spotter"), [told]);
    }
}

#[test]
fn a_kept_zero_counts_while_it_is_valid_and_not_beyond() {
    for (wall, want) in [
        (None, "level said: Level."),
        (Some("2031-05-14T13:56:00Z"), "level said: Level."),
        (Some("2031-05-15T01:39:00Z"), "level said: Level."),
        (Some("2031-05-15T01:41:00Z"), "none said: Not zeroed."),
        (Some("2031-05-14T12:00:00Z"), "none said: Not zeroed."), // the zero is of the future: a wrong clock
    ] {
        let mut rig = Rig::with(&carried());
        if let Some(wall) = wall {
            rig.give(Input::Wall(wall.parse().unwrap()));
        }
        rig.step(Step::Raise);
        rig.run(3000, |_| {});
        assert_eq!(rig.calls("spotter").last().unwrap(), want, "{wall:?}");
    }
    let without = carried().replace(", valid = \"12 h\"", "");
    let mut rig = Rig::with(&without);
    rig.run(3000, |_| {});
    assert_eq!(rig.calls("spotter").last().unwrap(), "none said: Not zeroed.");
}

#[test]
fn lowering_holds_the_low_one_and_sends_nobody_down_that_is_not_known_to_move() {
    let mut rig = Rig::with(&carried());
    rig.step(Step::Lower);
    rig.run(2000, |_| {});
    rig.lines.clear();
    rig.run(4000, |r| r.b_high_mm -= 1.0);
    assert_eq!(rig.findings()[0], "uneven-B-1 warn raised crew", "{:?}", rig.findings());
    assert_eq!(rig.calls("spotter")[0], "hold said: Hold Bravo.");
    assert_eq!(rig.calls("A"), [""; 0], "Alpha's word stays the calm one");
    let heights = carried().replace("[node.channel.head-load]", "[node.channel.height]\n[node.channel.head-load]");
    assert!(Kit::read(&heights, "kit").is_ok());
}

#[test]
fn past_the_stop_limit_everybody_stops_and_nobody_is_directed() {
    let mut rig = Rig::with(&carried());
    rig.step(Step::Raise);
    rig.run(2000, |_| {});
    rig.lines.clear();
    rig.run(3000, |r| r.b_high_mm += 2.5);
    let stop = rig.calls("spotter").into_iter().find(|c| c.starts_with("stop said")).unwrap();
    assert_eq!(stop, "stop said: Stop. Bravo out of level.");
    for output in &rig.lines {
        if let Output::Call(c) = output
            && c.call == Word::Stop
        {
            assert!(c.turns.is_none() && c.then.is_empty() && c.reason.is_some(), "{c:?}");
        }
    }
    rig.run(3000, |_| {});
    rig.say(Utterance::Seen, None, None, "lead");
    rig.say(Utterance::Release, None, None, "lead");
    rig.run(3000, |_| {});
    assert_eq!(rig.calls("B").last().unwrap(), "none said: Stopped. The lead directs.", "{:?}", rig.findings());
    rig.run(5000, |r| r.b_high_mm = (r.b_high_mm - 2.0).max(0.0));
    rig.run(3000, |_| {});
    assert_eq!(rig.calls("B").last().unwrap(), "level said: Level.", "{:?}", rig.findings());
}

#[test]
fn silence_while_still_is_a_note_then_a_warn_and_only_a_reading_ends_it() {
    let mut rig = Rig::with(&carried());
    rig.step(Step::Stand);
    rig.run(3000, |_| {});
    rig.lines.clear();
    rig.speaks[1] = false;
    let last = rig.now;
    rig.run(310_000, |_| {});
    let told: Vec<(u64, String)> = (rig.lines.iter())
        .filter_map(|o| match o {
            Output::Finding(f) => Some((f.t_ms.0 / 1000 - last, format!("{} {} {}", f.id, f.severity, f.to))),
            _ => None,
        })
        .collect();
    assert_eq!(told, [(30_000, "silent-B-1 note lead".to_owned()), (300_000, "silent-B-1 warn lead".to_owned())]);
    assert!(rig.calls("spotter").last().unwrap().starts_with("none said: No data from Bravo"), "{:?}", rig.calls("spotter"));
    // It moves: a stop at once. Set still again it stays, until the node speaks.
    rig.step(Step::Raise);
    rig.run(1500, |_| {});
    assert_eq!(rig.findings().last().unwrap(), "silent-B-1 stop raised crew");
    rig.step(Step::Stand);
    rig.run(8000, |_| {});
    assert_eq!(rig.findings().last().unwrap(), "silent-B-1 stop raised crew");
    rig.speaks[1] = true;
    rig.run(2000, |_| {});
    assert_eq!(rig.findings().last().unwrap(), "silent-B-1 stop latched crew");
}

#[test]
fn a_battery_reading_is_no_sign_of_life() {
    let kit = carried().replace("[node.channel.head-load]", "[node.channel.battery]\n[node.channel.head-load]");
    let mut rig = Rig::with(&kit);
    rig.step(Step::Raise);
    rig.run(2000, |_| {});
    rig.speaks[1] = false;
    rig.run(3000, |r| {
        let battery = Value::Voltage(raisewatch_protocol::units::Voltage(3.9));
        let reading = Reading { channel: Channel::Battery, value: Ok(battery), node_time_s: None };
        r.give(Input::Packet(Packet { node: 1, readings: vec![reading], seq: None }));
    });
    assert!(rig.findings().contains(&"silent-B-1 stop raised crew".to_owned()), "{:?}", rig.findings());
}

#[test]
fn a_node_that_was_never_heard_is_told_and_stops_a_moving_lift() {
    let mut rig = Rig::with(&carried());
    rig.speaks[1] = false;
    rig.run(31_000, |_| {});
    assert_eq!(rig.findings(), ["never-heard-B-1 note raised lead"]);
    rig.step(Step::Raise);
    rig.run(1200, |_| {});
    assert_eq!(rig.findings().last().unwrap(), "never-heard-B-1 stop raised crew");
    assert!(rig.calls("A").last().unwrap().starts_with("stop said: Stop. No data from Bravo."));
}

#[test]
fn a_node_too_slow_to_guard_is_told_at_the_test_lift_and_no_level_is_claimed() {
    let mut rig = Rig::with(&carried().replacen("20 Hz", "2 Hz", 1));
    rig.run(2000, |_| {});
    assert_eq!(rig.findings(), [""; 0]);
    rig.step(Step::TestLift);
    rig.run(2000, |_| {});
    assert_eq!(rig.findings(), ["silent-A-1 warn raised lead"]);
    assert_eq!(rig.calls("spotter").last().unwrap(), "none said: Alpha heard too seldom.");
}

#[test]
fn what_cannot_be_is_told_and_never_becomes_a_number() {
    let mut rig = Rig::with(&carried());
    rig.step(Step::Raise);
    rig.run(2000, |_| {});
    rig.speaks[1] = false;
    rig.lines.clear();
    rig.run(2000, |r| {
        let reading = |channel, value| Reading { channel, value: Ok(value), node_time_s: None };
        let tilt = reading(Channel::TrussAlong, Value::Angle(Angle(1.2)));
        let load = reading(Channel::HeadLoad, Value::Force(Force(r.shares[1])));
        r.give(Input::Packet(Packet { node: 1, readings: vec![tilt, load], seq: None }));
    });
    // Alpha's tilt on the same piece still guards the level.
    assert_eq!(rig.findings()[0], "out-of-range-B-1 note raised lead", "{:?}", rig.findings());
    assert_eq!(rig.watch.view().health[2].state, "out-of-range");
    assert_eq!(rig.watch.view().health[2].value, None);
}

#[test]
fn a_hold_is_said_again_after_five_seconds_and_heard_after_fifteen() {
    let mut rig = Rig::with(&carried());
    rig.step(Step::Raise);
    rig.run(2000, |_| {});
    rig.lines.clear();
    rig.run(2600, |r| r.b_high_mm += 1.15);
    rig.run(14_000, |_| {});
    rig.say(Utterance::Heard, None, None, "spotter");
    rig.run(34_000, |_| {});
    let holds: Vec<u64> = (rig.lines.iter())
        .filter_map(|o| match o {
            Output::Call(c) if c.to == "spotter" && c.call == Word::Hold => Some(c.t_ms.0 / 1000),
            _ => None,
        })
        .collect();
    let gaps: Vec<u64> = holds.windows(2).map(|w| w[1] - w[0]).collect();
    assert_eq!(gaps[..2], [5000, 5000], "{holds:?}");
    assert!(gaps[2..].iter().all(|g| *g == 15_000), "{holds:?} {:?}", rig.findings());
}

#[test]
fn packets_cut_otherwise_tell_the_same() {
    let lines = [false, true].map(|split| {
        let mut rig = Rig::with(&carried());
        rig.split = split;
        rig.step(Step::Raise);
        rig.run(3000, |_| {});
        rig.run(6000, |r| r.b_high_mm += 0.9);
        rig.run(5000, |_| {});
        rig.speaks[0] = false;
        rig.run(2500, |_| {});
        rig.lines.iter().map(|l| format!("{l:?}")).collect::<Vec<_>>()
    });
    assert!(lines[0].len() > 8);
    assert_eq!(lines[0], lines[1]);
}
