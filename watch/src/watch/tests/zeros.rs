//! Zeroes that no longer hold, through the watch.

use super::*;

fn gone(rig: &Rig) -> Vec<String> {
    rig.findings().into_iter().filter(|f| f.starts_with("zero-gone")).collect()
}

/// The kit with a zero of its own in each cell, and a range.
fn kept(valid: &str) -> String {
    let zero = format!("zero = {{ value = \"0 N\", when = 2031-05-14T13:40:00Z, by = \"Ines\", valid = \"{valid}\" }}");
    KIT.replace("[node.channel.head-load]", &format!("[node.channel.head-load]\nrange = [\"-500 N\", \"2500 N\"]\n{zero}"))
}

fn wall(rig: &mut Rig, at: &str) {
    rig.give(Input::Wall(at.parse().unwrap()));
}

#[test]
fn a_cell_that_carries_less_than_nothing_has_lost_its_zero() {
    let mut rig = Rig::new();
    rig.zero();
    rig.step(Step::TestLift);
    rig.run(6000, |_| {});
    // 18 lb below nothing, as a cell shows whose truss was lifted off by a case; under 5 lb is no fault.
    rig.shares[0] = -20.0;
    rig.run(15_000, |_| {});
    assert_eq!(gone(&rig), [""; 0]);
    rig.shares[0] = -80.0;
    rig.run(9_000, |_| {});
    assert_eq!(gone(&rig), [""; 0], "not before it has stood");
    rig.run(12_000, |_| {});
    assert_eq!(gone(&rig), ["zero-gone-A-1 warn raised lead"]);
    rig.shares[0] = 700.0;
    rig.run(10_000, |_| {});
    assert_eq!(gone(&rig).last().unwrap(), "zero-gone-A-1 warn returned lead");
}

#[test]
fn a_kept_zero_that_reads_something_with_nothing_on_is_told_in_rig_and_one_that_was_said_is_not() {
    let mut rig = Rig::with(&kept("12 h"));
    rig.shares = [80.0, 40.0];
    rig.run(60_000, |_| {});
    assert_eq!(gone(&rig), [""; 0], "another cell off too far: the truss may be on");
    let mut rig = Rig::with(&kept("12 h"));
    rig.shares = [80.0, 3.0];
    rig.run(20_000, |_| {});
    assert_eq!(gone(&rig), [""; 0]);
    rig.run(20_000, |_| {});
    assert_eq!(gone(&rig), ["zero-gone-A-1 warn raised lead"]);
    rig.say(Utterance::Zero, Some("A"), Some(Channel::HeadLoad), "lead");
    rig.run(10_000, |_| {});
    assert_eq!(gone(&rig).last().unwrap(), "zero-gone-A-1 warn returned lead");
}

#[test]
fn a_cell_pressed_past_its_range_is_in_doubt_until_it_is_zeroed_and_a_spike_is_not() {
    let mut rig = Rig::with(&kept("12 h"));
    rig.run(2000, |_| {});
    let whole = rig.shares;
    for (readings, doubt) in [(2, false), (3, true)] {
        rig.shares = [3000.0, whole[1]];
        rig.run(readings * 50, |_| {});
        rig.shares = whole;
        rig.run(3000, |_| {});
        assert_eq!(!gone(&rig).is_empty(), doubt, "{readings} readings: {:?}", rig.findings());
    }
    rig.shares = [0.0; 2];
    rig.run(4000, |_| {});
    rig.say(Utterance::Zero, Some("A"), Some(Channel::HeadLoad), "lead");
    rig.run(8000, |_| {});
    assert_eq!(gone(&rig).last().unwrap(), "zero-gone-A-1 warn returned lead");
}

#[test]
fn a_zero_that_runs_out_while_the_truss_stands_is_told_and_before_the_lift_it_simply_counts_no_more() {
    let mut rig = Rig::with(&kept("1 h"));
    wall(&mut rig, "2031-05-14T14:39:30Z");
    rig.step(Step::Stand);
    rig.run(25_000, |_| {});
    assert_eq!(gone(&rig), [""; 0]);
    rig.run(15_000, |_| {});
    assert_eq!(gone(&rig), ["zero-gone-A-1 warn raised lead", "zero-gone-B-1 warn raised lead"]);
    let mut rig = Rig::with(&kept("1 h"));
    wall(&mut rig, "2031-05-14T14:50:00Z");
    rig.run(5000, |_| {});
    assert_eq!(gone(&rig), [""; 0]);
    assert_eq!(rig.calls("lead"), ["none said: Not zeroed."]);
    // While it moves nobody is stopped for the hour.
    let mut rig = Rig::with(&kept("1 h"));
    wall(&mut rig, "2031-05-14T14:39:30Z");
    rig.step(Step::Lower);
    rig.run(40_000, |_| {});
    assert_eq!(gone(&rig), [""; 0]);
}
