//! What guards hands, through the watch: `down` only where a tower is known to come down, boxes named as exchanged, what is never put
//! aside, and a person's STOP.

use super::*;
use raisewatch_protocol::units::Length;

fn of_finding(rig: &mut Rig, said: Utterance, finding: &str, by: &str) {
    let finding = Some(finding.to_owned());
    rig.give(Input::Said(Said { said, tower: None, channel: None, value: None, finding, by: Some(by.into()) }));
}

fn of(rig: &Rig, kind: &str) -> Vec<String> {
    rig.findings().into_iter().filter(|f| f.starts_with(kind)).collect()
}

/// A lift that is lowered, its heads' heights measured at the towers that `gauges` names.
struct Lowering {
    rig: Rig,
    head_m: [f64; 2],
    gauges: [bool; 2],
    /// Noise of the gauge at Alpha, mm either way.
    noise_mm: f64,
}

impl Lowering {
    fn new(gauges: [bool; 2]) -> Self {
        let mut kit = carried();
        for (node, gauge) in ["n1", "n2"].iter().zip(gauges) {
            let head = format!("id = \"{node}\"");
            let at = kit.find(&head).unwrap();
            let cell = at + kit[at..].find("[node.channel.head-load]").unwrap();
            if gauge {
                kit.insert_str(cell, "[node.channel.height]\n");
            }
        }
        let mut rig = Rig::with(&kit);
        rig.step(Step::Lower);
        let mut lift = Lowering { rig, head_m: [4.0; 2], gauges, noise_mm: 0.0 };
        // Both come down alike.
        lift.run(4000, [15.0, 15.0]);
        assert_eq!(lift.rig.findings(), [""; 0]);
        assert_eq!(lift.rig.calls("spotter").last().unwrap(), "level said: Level.");
        lift.rig.lines.clear();
        lift
    }

    /// Heads come down at these speeds, mm/s.
    fn run(&mut self, ms: u64, mm_s: [f64; 2]) {
        let Lowering { rig, head_m, gauges, noise_mm } = self;
        let mut n = 0_usize;
        rig.run(ms, |r| {
            n += 1;
            for node in 0..2 {
                head_m[node] -= mm_s[node] * 0.05e-3;
                if gauges[node] {
                    let noise_m = if node == 0 { *noise_mm * 1e-3 * [1.0, -0.6, 0.2, -1.0, 0.7, -0.3][n % 6] } else { 0.0 };
                    let height = Value::Length(Length(head_m[node] + noise_m));
                    let readings = vec![Reading { channel: Channel::Height, value: Ok(height), node_time_s: None }];
                    r.give(Input::Packet(Packet { node, readings, seq: None }));
                }
            }
            r.b_high_mm = (head_m[1] - head_m[0]) * 1000.0;
        });
    }

    fn hold(&self) -> String {
        let holds: Vec<String> = self.rig.calls("spotter").into_iter().filter(|c| c.starts_with("hold said")).collect();
        assert_eq!(holds.len(), 1, "{:?} {:?}", self.rig.calls("spotter"), self.rig.findings());
        holds[0].clone()
    }
}

#[test]
fn lowering_the_high_one_is_sent_down_where_its_height_shows_that_it_comes_down_and_taken_back_when_it_does_not() {
    let mut lift = Lowering::new([true; 2]);
    lift.run(4000, [8.0, 25.0]);
    assert_eq!(lift.hold(), "hold said: Hold Bravo. Alpha down two.");
    assert_eq!(lift.rig.calls("A").last().unwrap(), "down said: Alpha down two.");
    assert_eq!(lift.rig.calls("B").last().unwrap(), "hold said: Hold Bravo.");
    // Alpha stands still: a quarter turn (6.25 mm at 8 mm/s, 0.8 s) within the last 3 s is over 2.2 s later; the word goes at once.
    lift.rig.lines.clear();
    let halted = lift.rig.now;
    lift.run(4000, [0.0, 0.0]);
    let hold = lift.rig.lines.iter().find_map(|o| match o {
        Output::Call(c) if c.to == "spotter" && c.call == Word::Hold && c.state == CallState::Said => Some(c.clone()),
        _ => None,
    });
    let hold = hold.unwrap_or_else(|| panic!("{:?}", lift.rig.calls("spotter")));
    assert_eq!((hold.text.as_str(), hold.then.len()), ("Hold Bravo.", 0));
    let after = hold.t_ms.0 / 1000 - halted;
    assert!((1800..=3000).contains(&after), "{after} ms after it stood still");
    assert_ne!(lift.rig.calls("A").last().unwrap().split(' ').next(), Some("down"), "{:?}", lift.rig.calls("A"));
}

#[test]
fn lowering_a_tower_that_is_not_known_to_come_down_is_not_sent_down() {
    // A section that hangs: Alpha's height stands still for more than 3 s when Bravo is 50 mm low.
    let mut stuck = Lowering::new([true; 2]);
    stuck.run(5000, [0.0, 14.0]);
    assert_eq!(stuck.hold(), "hold said: Hold Bravo.");
    // The same with a gauge that is 4 mm off either way: its noise is no quarter turn.
    let mut rough = Lowering::new([true; 2]);
    rough.noise_mm = 4.0;
    rough.run(5000, [0.0, 14.0]);
    assert_eq!(rough.hold(), "hold said: Hold Bravo.");
    // Alpha comes down, but only Bravo's height is measured.
    let mut blind = Lowering::new([false, true]);
    blind.run(4000, [8.0, 25.0]);
    assert_eq!(blind.hold(), "hold said: Hold Bravo.");
    // Alpha's height has come down, and is not heard any more.
    let mut lost = Lowering::new([true; 2]);
    lost.gauges[0] = false;
    lost.run(4000, [8.0, 25.0]);
    assert!(lost.rig.calls("spotter").iter().all(|c| !c.contains("down")), "{:?}", lost.rig.calls("spotter"));
    for lift in [&stuck, &rough, &blind, &lost] {
        assert!(lift.rig.calls("A").iter().all(|c| !c.starts_with("down")), "{:?}", lift.rig.calls("A"));
    }
}

#[test]
fn a_tower_that_stands_still_is_never_sent_down_by_the_noise_of_its_gauge() {
    for noise_mm in [2.0, 5.0, 10.0, 20.0] {
        let mut lift = Lowering::new([true; 2]);
        lift.noise_mm = noise_mm;
        lift.run(4000, [0.0, 0.0]);
        lift.run(6000, [0.0, 12.0]);
        lift.run(10_000, [0.0, 0.0]);
        let calls = lift.rig.calls("A");
        assert!(calls.iter().all(|c| !c.starts_with("down")), "{noise_mm} mm: {calls:?}");
    }
}

#[test]
fn boxes_that_move_at_the_turn_of_another_tower_are_named_as_exchanged() {
    let mut rig = Rig::new();
    rig.zero();
    rig.step(Step::TestLift);
    rig.run(6000, |_| {});
    // "Turn" is said at Alpha; what comes up is where Bravo's boxes hang.
    rig.say(Utterance::Turn, Some("A"), None, "lead");
    rig.run(2000, |r| r.b_high_mm += 25.0 / 40.0);
    rig.run(5000, |_| {});
    assert_eq!(rig.findings(), ["swapped-A-1 warn raised lead", "swapped-B-1 warn raised lead"], "{:?}", rig.replies());
    assert_eq!(rig.calls("spotter").last().unwrap(), "none said: Not proved.");
    assert!(rig.replies().last().unwrap().starts_with("refused: "), "{:?}", rig.replies());
    // Raised all the same: nothing guards the level.
    rig.step(Step::Raise);
    rig.run(3000, |_| {});
    assert_eq!(of(&rig, "swapped").last().unwrap().split(' ').nth(1), Some("stop"), "{:?}", rig.findings());
    assert!(rig.calls("A").last().unwrap().starts_with("stop "), "{:?}", rig.calls("A"));
}

#[test]
fn what_is_over_its_rating_comes_back_from_the_shelf_and_never_goes_there() {
    let mut rig = Rig::raising();
    // 90 % of 500 lb, slowly; then past it.
    let slowly = (0.9 * 2224.1 - rig.shares[1]) / 600.0;
    rig.run(30_000, |r| r.shares[1] += slowly);
    rig.run(3000, |_| {});
    assert_eq!(of(&rig, "overload"), ["overload-B-1 warn raised lead"], "{:?}", rig.findings());
    of_finding(&mut rig, Utterance::Shelve, "overload-B-1", "lead");
    assert_eq!(of(&rig, "overload").last().unwrap(), "overload-B-1 warn shelved lead");
    rig.run(4000, |r| r.shares[1] += 5.0);
    assert_eq!(of(&rig, "overload").last().unwrap(), "overload-B-1 stop raised crew", "{:?}", rig.findings());
    of_finding(&mut rig, Utterance::Shelve, "overload-B-1", "lead");
    assert_eq!(rig.replies().last().unwrap(), "refused: overload-B-1 is a stop: never put aside.");
    rig.run(1000, |_| {});
    assert_eq!(of(&rig, "overload").last().unwrap(), "overload-B-1 stop raised crew");
}

#[test]
fn over_the_rating_and_past_never_exceed_are_told_beside_what_explains_them() {
    let mut rig = Rig::raising();
    rig.run(5000, |_| {});
    rig.run(2000, |r| r.shares[1] += 20.0);
    assert_eq!(rig.findings()[0], "caught-B-1 stop raised crew");
    // Out of level past the stop limit (100 mm) follows from what holds it; past never-exceed it is told all the same.
    rig.run(3500, |r| r.b_high_mm += 2.0);
    rig.run(500, |_| {});
    assert_eq!(of(&rig, "uneven"), [""; 0], "{} mm", rig.b_high_mm);
    rig.run(3000, |r| r.b_high_mm += 2.0);
    rig.run(500, |_| {});
    assert_eq!(of(&rig, "uneven").first().map(String::as_str), Some("uneven-B-1 stop raised crew"), "{} mm", rig.b_high_mm);
    rig.run(4000, |r| r.shares[1] += 12.0);
    assert_eq!(of(&rig, "overload").last().unwrap(), "overload-B-1 stop raised crew", "{:?}", rig.findings());
    for id in ["caught-B-1", "uneven-B-1", "overload-B-1"] {
        of_finding(&mut rig, Utterance::Shelve, id, "lead");
        assert_eq!(rig.replies().last().unwrap(), format!("refused: {id} is a stop: never put aside.").as_str());
    }
    assert!(rig.findings().iter().all(|f| !f.contains("shelved")));
}

#[test]
fn silence_put_aside_while_standing_stops_what_moves_and_is_not_put_aside_again() {
    let mut rig = Rig::with(&carried());
    rig.step(Step::Stand);
    rig.run(3000, |_| {});
    rig.speaks[1] = false;
    rig.run(31_000, |_| {});
    of_finding(&mut rig, Utterance::Shelve, "silent-B-1", "lead");
    assert_eq!(of(&rig, "silent").last().unwrap(), "silent-B-1 note shelved lead");
    rig.step(Step::Raise);
    rig.run(1500, |_| {});
    assert_eq!(of(&rig, "silent").last().unwrap(), "silent-B-1 stop raised crew");
    of_finding(&mut rig, Utterance::Shelve, "silent-B-1", "lead");
    assert_eq!(rig.replies().last().unwrap(), "refused: silent-B-1 is a stop: never put aside.");
    // A finding that there is not is named as such.
    of_finding(&mut rig, Utterance::Shelve, "silent-C-1", "lead");
    assert!(rig.replies().last().unwrap().starts_with("refused: ") && rig.replies().last().unwrap().contains("silent-C-1"));
}

#[test]
fn a_persons_stop_stands_through_everything_until_the_leads_one_release() {
    let mut rig = Rig::raising();
    rig.lines.clear();
    rig.say(Utterance::Stop, None, None, "tower-B");
    let stands = |rig: &Rig, after: &str| {
        assert!(rig.calls("spotter").last().unwrap().starts_with("stop "), "{after}: {:?}", rig.calls("spotter"));
        assert!(rig.watch.ledger.open().any(|t| t.id == "stop-said-all-1"), "{after}");
    };
    for step in [Step::Section, Step::Raise, Step::Stand, Step::Lower, Step::Land, Step::Strike, Step::Rig, Step::TestLift, Step::Raise] {
        rig.step(step);
        rig.run(2000, |_| {});
        stands(&rig, step.word());
    }
    for by in ["spotter", "crew", "B", "tower-B"] {
        rig.say(Utterance::Release, None, None, by);
        assert!(rig.replies().last().unwrap().starts_with("refused: That is the lead's"), "{by}");
        stands(&rig, by);
    }
    of_finding(&mut rig, Utterance::Shelve, "stop-said-all-1", "lead");
    assert_eq!(rig.replies().last().unwrap(), "refused: stop-said-all-1 is a stop: never put aside.");
    for said in [Utterance::Heard, Utterance::Unshelve, Utterance::Seen, Utterance::HandOver, Utterance::Stop, Utterance::TailsFree] {
        rig.say(said, None, None, "lead");
        rig.run(1000, |_| {});
        stands(&rig, said.word());
    }
    rig.speaks = [false; 2];
    rig.run(5000, |_| {});
    stands(&rig, "silence");
    rig.speaks = [true; 2];
    rig.run(5000, |_| {});
    of_finding(&mut rig, Utterance::Release, "silent-B-1", "lead");
    stands(&rig, "release of another");
    rig.say(Utterance::Seen, None, None, "lead");
    rig.say(Utterance::Release, None, None, "lead");
    rig.run(3000, |_| {});
    assert!(!rig.watch.ledger.open().any(|t| t.kind == Kind::StopSaid));
    assert_eq!(of(&rig, "stop-said").last().unwrap(), "stop-said-all-1 stop cleared crew");
    assert_eq!(of(&rig, "stop-said").iter().filter(|f| f.contains("cleared")).count(), 1);
    assert_eq!(rig.calls("spotter").last().unwrap(), "level said: Level.", "{:?}", rig.findings());
    // The next one is another.
    rig.say(Utterance::Stop, None, None, "spotter");
    assert_eq!(of(&rig, "stop-said").last().unwrap(), "stop-said-all-2 stop raised crew");
}
