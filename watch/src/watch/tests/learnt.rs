//! What is learnt and handed on, through the watch.

use super::*;
use crate::learn::hand_over::HandOver;

impl Rig {
    fn handed(&self) -> Vec<&HandOver> {
        let of = |o: &'_ Output| matches!(o, Output::HandOver(_));
        self.lines
            .iter()
            .filter(|o| of(o))
            .map(|o| match o {
                Output::HandOver(state) => &**state,
                _ => unreachable!(),
            })
            .collect()
    }

    fn say_of(&mut self, said: Utterance, finding: &str, value: Option<SaidValue>) {
        let said = Said { said, tower: None, channel: None, value, finding: Some(finding.into()), by: Some("lead".into()) };
        self.give(Input::Said(said));
    }
}

#[test]
fn the_state_card_holds_what_was_said_and_measured_and_nothing_else() {
    let mut rig = Rig::new();
    rig.run(500, |_| {});
    let card = rig.watch.view().hand_over;
    assert!(card.zeros.iter().all(|z| z.value.is_none() && z.from.is_none()), "{:?}", card.zeros);
    assert!(card.towers.iter().all(|t| t.pinned.is_none() && t.pins_measured.is_none() && t.hole.is_none() && t.share_n.is_none()));
    assert_eq!((card.handed, card.last_said), (None, None));
    rig.zero();
    rig.prove();
    rig.step(Step::Land);
    rig.run(500, |_| {});
    rig.say(Utterance::Pinned, Some("A"), None, "Ivo");
    rig.step(Step::Stand);
    rig.run(500, |_| {});
    let card = rig.watch.view().hand_over;
    assert_eq!((card.step, card.step_by.as_deref()), (Step::Stand, Some("lead")));
    assert_eq!(card.towers[0].pinned.as_ref().and_then(|p| p.by.as_deref()), Some("Ivo"));
    assert_eq!(card.towers[1].pinned, None);
    // No rope cell: nothing measures the pins; no section was said: no hole is known.
    assert_eq!((card.towers[0].pins_measured, card.towers[0].hole_m), (None, None));
    let zero = card.zeros.iter().find(|z| z.channel == Channel::TrussAlong).unwrap();
    assert_eq!((zero.from, zero.by.as_deref(), zero.unit), (Some("said"), Some("lead"), "deg"));
    assert!(zero.value.is_some() && zero.said_ms.is_some() && zero.valid_until.is_none());
    assert!(card.limits.iter().any(|l| l.limit == "rake" && l.origin == "statics" && l.stop.is_some()), "{:?}", card.limits);
    assert_eq!(card.last_said.unwrap().what, "stand");
    assert_eq!(card.read_back[0], "Step stand. Alpha on the pins, said. Bravo: no pin said.");
    assert_eq!(card.read_back[1], "Nothing open, nothing put aside.");
    assert!(card.read_back[2].starts_with("Limits, hold and stop: rake "), "{}", card.read_back[2]);
}

#[test]
fn what_was_put_aside_does_not_outlive_a_hand_over() {
    let mut rig = Rig::raising();
    rig.step(Step::Stand);
    rig.run(500, |_| {});
    // Alpha's box falls silent for minutes: a warn to the lead, which is then put aside for hours.
    rig.speaks[0] = false;
    rig.run(310_000, |_| {});
    let id = rig.watch.view().findings.iter().find(|f| f.kind == Kind::Silent).unwrap().id.clone();
    rig.say_of(Utterance::Shelve, &id, Some(SaidValue::Text("2 h".into())));
    rig.run(1000, |_| {});
    let card = rig.watch.view().hand_over;
    assert_eq!((card.findings.len(), card.shelved.len()), (0, 1), "{card:?}");
    assert_eq!(card.shelved[0].until_ms.map(|t| t.0 / 1_000_000), Some((rig.now / 1000) + 7200 - 1));
    rig.lines.clear();
    rig.give(Input::Said(Said {
        said: Utterance::HandOver,
        tower: None,
        channel: None,
        value: Some(SaidValue::Text("stand, one silent, limits".into())),
        finding: None,
        by: Some("Mara".into()),
    }));
    rig.run(500, |_| {});
    let handed = rig.handed();
    assert_eq!(handed.len(), 1);
    assert_eq!(handed[0].shelved.len(), 1, "the record shows what the old crew had put aside");
    let said = handed[0].handed.clone().unwrap();
    assert_eq!((said.by.as_deref(), said.read_back.as_deref()), (Some("Mara"), Some("stand, one silent, limits")));
    assert_eq!(rig.findings(), [format!("{id} warn raised lead")]);
    assert_eq!(rig.replies(), ["Handed over to Mara. What was put aside counts anew: 1."]);
    let card = rig.watch.view().hand_over;
    assert_eq!((card.findings.len(), card.shelved.len()), (1, 0));
    assert_eq!(serde_json::to_value(&card).unwrap()["handed"]["by"], "Mara");
}

#[test]
fn a_tower_hands_nothing_over() {
    let mut rig = Rig::raising();
    rig.lines.clear();
    rig.say(Utterance::HandOver, None, None, "tower A");
    assert!(rig.handed().is_empty());
    assert_eq!(rig.replies(), ["refused: That is the lead's to say."]);
    assert_eq!(rig.watch.view().hand_over.handed, None);
}

#[test]
fn a_zero_of_the_kit_is_handed_over_with_its_end() {
    let zero = r#"zero = { value = "0.1 deg", when = 2031-05-14T13:40:00Z, by = "Mara", valid = "12 h" }"#;
    let kit = KIT.replace("range = [\"-10 deg\", \"10 deg\"]", &format!("range = [\"-10 deg\", \"10 deg\"]\n{zero}"));
    let mut rig = Rig::with(&kit);
    rig.run(500, |_| {});
    let card = rig.watch.view().hand_over;
    let zero = card.zeros.iter().find(|z| z.channel == Channel::TrussAlong).unwrap();
    assert_eq!((zero.value, zero.from, zero.by.as_deref()), (Some(0.1), Some("kit"), Some("Mara")));
    assert_eq!(zero.when.as_deref(), Some("2031-05-14T13:40:00Z"));
    assert_eq!(zero.valid_until.as_deref(), Some("2031-05-15T01:40:00Z"));
    let load = card.zeros.iter().find(|z| z.channel == Channel::HeadLoad).unwrap();
    assert_eq!((load.value, load.from), (None, None));
}

/// Three towers in line, every channel zeroed and proved by the kit; the test sets the cranks, the statics says what follows.
struct Line {
    watch: Watch,
    model: Model,
    now: u64,
    crank_mm: [f64; 3],
    /// The rig's stiffness over the plan's.
    stiffness: f64,
    pinned: bool,
    speaks: bool,
    state: u64,
    lines: Vec<Output>,
}

impl Line {
    fn new(zeroed: bool) -> Self {
        let kept = r#"zero = { value = 0, when = 2031-05-14T13:40:00Z, by = "Ines", valid = "14 h" }"#;
        let proved = r#"proved = { when = 2031-05-14T13:50:00Z, by = "Ines" }"#;
        let mut kit = String::from("broker = \"mqtt://127.0.0.1:1883\"\n");
        for (tower, at) in [("A", 0), ("B", 5), ("C", 10)] {
            kit += &format!("[[node]]\nid = \"n{tower}\"\ntower = \"{tower}\"\nover = \"mqtt\"\nrate = \"20 Hz\"\n");
            let zero = |unit: &str| if zeroed { kept.replace("value = 0", &format!("value = \"0 {unit}\"")) } else { String::new() };
            kit += &format!("[node.channel.truss-along]\npiece = \"front\"\nat = \"{at} m\"\n{}\n{proved}\n", zero("deg"));
            kit += &format!("[node.channel.head-load]\n{}\n{proved}\n", zero("N"));
        }
        let plan = Plan::read(crate::causes::series::TANNERS, "plan.toml").unwrap();
        let watch = Watch::new(&plan, &Kit::read(&kit, "kit.toml").unwrap(), Phrases::default()).unwrap();
        let model = Model::new(&plan).unwrap();
        Line { watch, model, now: 0, crank_mm: [0.0; 3], stiffness: 1.0, pinned: false, speaks: true, state: 7, lines: Vec::new() }
    }

    fn give(&mut self, input: Input) {
        self.lines.extend(self.watch.step(Mono(self.now * 1000), &input).to_vec());
    }

    fn noise(&mut self) -> f64 {
        self.state = self.state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        ((self.state >> 33) as f64 / (1u64 << 31) as f64 - 0.5) * 12.0_f64.sqrt()
    }

    fn run(&mut self, ms: u64, mut each: impl FnMut(&mut Line)) {
        use raisewatch_statics::Bearing;
        let bearing = if self.pinned { Bearing::Pins } else { Bearing::Rope };
        let height = raisewatch_protocol::units::Length(1.2);
        let stood = self.model.standing(&self.model.on(bearing, height));
        let rope = self.model.standing(&self.model.on(Bearing::Rope, height));
        let end = self.now + ms;
        while self.now < end {
            self.now += 50;
            each(self);
            for node in 0..3 {
                let offsets = self.crank_mm.map(|mm| mm * 1e-3);
                let x_m = [0.0, 5.0, 10.0][node];
                let slope = stood.slope_at(0, x_m).at(&offsets) - rope.slope_at(0, x_m).level_rad;
                let moved: f64 = (0..3).map(|k| stood.share_per_offset[node][k] * offsets[k]).sum();
                let share = stood.level_shares_n[node] + self.stiffness * moved;
                let (tilt, load) = (slope + self.noise() * 0.02_f64.to_radians(), share + self.noise() * 3.0);
                let reading = |channel, value| Reading { channel, value: Ok(value), node_time_s: None };
                let readings =
                    vec![reading(Channel::TrussAlong, Value::Angle(Angle(tilt))), reading(Channel::HeadLoad, Value::Force(Force(load)))];
                if self.speaks {
                    self.give(Input::Packet(Packet { node, readings, seq: None }));
                }
            }
        }
        self.give(Input::Tick);
    }

    fn step(&mut self, step: Step) {
        self.give(Input::Step(StepSet { step, by: Some("lead".into()) }));
    }

    fn say(&mut self, said: Utterance, tower: Option<&str>, value: Option<f64>) {
        let value = value.map(SaidValue::Number);
        self.give(Input::Said(Said {
            said,
            tower: tower.map(str::to_owned),
            channel: None,
            value,
            finding: None,
            by: Some("lead".into()),
        }));
    }

    /// Each tower cranked half a turn up and down again alone, with readings still before and after.
    fn half_turns(&mut self) {
        for (k, tower) in ["A", "B", "C"].into_iter().enumerate() {
            for way in [0.5, -0.5] {
                self.say(Utterance::Turn, Some(tower), Some(way));
                let target = self.crank_mm[k] + 25.0 * way;
                self.run(1000, |l| l.crank_mm[k] += 25.0 * way / 20.0);
                self.crank_mm[k] = target;
                self.run(8000, |_| {});
            }
        }
    }

    fn raised(&self) -> Vec<String> {
        let of = |o: &Output| match o {
            Output::Finding(f) if f.severity > Severity::Note => Some(f.id.clone()),
            _ => None,
        };
        self.lines.iter().filter_map(of).collect()
    }
}

fn turns(watch: &Watch) -> Option<Vec<f64>> {
    watch.view().next_turns.map(|n| n.towers.iter().map(|t| t.turns).collect())
}

#[test]
fn counted_turns_bring_the_whole_up_evenly_and_are_withheld_where_not_known() {
    let mut line = Line::new(true);
    line.step(Step::Raise);
    line.run(6000, |_| {});
    let counted = line.watch.view().hand_over.counted_turn.expect("three in line are cranked on a count");
    assert_eq!(turns(&line.watch), Some(vec![counted; 3]), "level: all alike");
    let text = line.watch.view().next_turns.unwrap().text;
    assert!(text.starts_with("Next, on the count: A ") && text.ends_with("Advice, the lead calls."), "{text}");
    // A and C took their part, B did not; still within the limits.
    line.run(1000, |l| [0, 2].into_iter().for_each(|k| l.crank_mm[k] += 25.0 * 0.25 / 20.0));
    line.run(6000, |_| {});
    assert_eq!(line.raised(), [""; 0]);
    let next = turns(&line.watch).unwrap();
    assert!(next[1] == counted && next[0] < counted && next[2] < counted, "B makes up: {next:?} of {counted}");
    // Lowering, or blind, or never zeroed: nothing is advised.
    line.step(Step::Land);
    line.run(500, |_| {});
    assert_eq!(turns(&line.watch), None);
    line.step(Step::Raise);
    line.run(3000, |_| {});
    assert!(turns(&line.watch).is_some());
    line.speaks = false;
    line.run(1500, |_| {});
    assert_eq!(turns(&line.watch), None);
    let mut bare = Line::new(false);
    bare.step(Step::Raise);
    bare.run(6000, |_| {});
    assert_eq!(turns(&bare.watch), None);
}

#[test]
fn beside_an_order_no_turns_are_advised() {
    let mut line = Line::new(true);
    line.step(Step::Raise);
    line.run(6000, |_| {});
    line.run(2000, |l| l.crank_mm[1] += 14.0 / 40.0);
    line.run(3000, |_| {});
    let call = line.watch.view().calls["spotter"].clone();
    assert_eq!(call.call, Word::Hold, "{call:?}");
    assert_eq!(turns(&line.watch), None);
}

#[test]
fn half_turns_at_the_test_lift_tell_the_stiffness_and_the_estimate_takes_it() {
    let mut line = Line::new(true);
    line.stiffness = 0.8;
    line.step(Step::TestLift);
    line.run(8000, |_| {});
    assert_eq!(line.watch.view().learnt, None);
    line.half_turns();
    let learnt = line.watch.view().learnt.unwrap();
    let (factor, sigma) = (learnt.factor.unwrap(), learnt.factor_sigma.unwrap());
    assert!((factor - 0.8).abs() < 3.0 * sigma && sigma < 0.08, "{factor} ± {sigma}");
    assert!(learnt.used);
    let of_b = &learnt.towers[1].shares[1];
    assert!((of_b.beside.measured / of_b.beside.planned - 0.8).abs() < 0.1, "{of_b:?}");
    assert!(learnt.towers.iter().all(|t| t.departs.is_none() && t.rise.is_none()), "no height gauge: no rise on three");
    // B is cranked 7 mm up: with what was learnt the share is as expected.
    line.step(Step::Raise);
    line.run(3000, |_| {});
    line.run(1000, |l| l.crank_mm[1] += 7.0 / 20.0);
    line.run(6000, |_| {});
    let b = line.watch.view().towers[1].clone();
    // The same without the half turns: the plan's stiffness tells less than was cranked.
    let mut plain = Line::new(true);
    plain.stiffness = 0.8;
    plain.step(Step::TestLift);
    plain.run(116_000, |_| {});
    plain.step(Step::Raise);
    plain.run(3000, |_| {});
    plain.run(1000, |l| l.crank_mm[1] += 7.0 / 20.0);
    plain.run(6000, |_| {});
    let p = plain.watch.view().towers[1].clone();
    let (off, sigma) = (b.offset_mm.unwrap(), b.offset_sigma_mm.unwrap());
    assert!((off - 7.0).abs() < 2.0 * sigma, "{off} ± {sigma}");
    assert!((off - 7.0).abs() < (p.offset_mm.unwrap() - 7.0).abs(), "learnt {off}, by the plan {:?}", p.offset_mm);
    assert_eq!(line.raised(), [""; 0]);
}

#[test]
fn a_turn_that_later_does_less_is_shown_and_changes_nothing() {
    let mut line = Line::new(true);
    line.step(Step::TestLift);
    line.run(8000, |_| {});
    line.half_turns();
    let before = line.watch.view().learnt.unwrap();
    line.stiffness = 0.5;
    line.half_turns();
    let after = line.watch.view().learnt.unwrap();
    let departs = after.towers[1].departs.unwrap();
    assert!((departs - 0.5).abs() < 0.15, "{departs}");
    assert!(after.towers[1].text.contains("Look at its foot"), "{}", after.towers[1].text);
    assert_eq!(after.towers[1].shares, before.towers[1].shares, "what was learnt first stands");
}

#[test]
fn on_pins_the_shares_move_and_that_is_no_finding() {
    let mut line = Line::new(true);
    line.stiffness = 0.8;
    line.step(Step::TestLift);
    line.run(8000, |_| {});
    line.half_turns();
    line.step(Step::Land);
    line.run(5000, |_| {});
    let on_ropes = line.watch.view().towers[1].measured_n.unwrap();
    for tower in ["A", "B", "C"] {
        line.say(Utterance::Pinned, Some(tower), None);
    }
    (line.pinned, line.stiffness) = (true, 1.0);
    line.run(10_000, |_| {});
    line.step(Step::Stand);
    line.run(120_000, |_| {});
    let view = line.watch.view();
    let (measured, planned) = (view.towers[1].measured_n.unwrap(), view.towers[1].planned_n);
    assert!((measured - on_ropes).abs() > 100.0, "{measured} on pins, {on_ropes} on ropes: shares did move");
    assert!((measured - planned).abs() < 30.0, "{measured} measured, {planned} planned on pins");
    assert_eq!(line.raised(), [""; 0]);
    assert!(!view.learnt.unwrap().used, "ropes tell nothing of pins");
}

#[test]
fn two_towers_learn_the_rise_for_a_turn_from_their_slopes() {
    let mut rig = Rig::new();
    rig.zero();
    rig.prove();
    rig.run(3000, |_| {});
    let learnt = rig.watch.view().learnt.unwrap();
    assert_eq!(learnt.factor, None, "two towers: shares do not tell");
    for tower in &learnt.towers {
        let rise = tower.rise.unwrap();
        assert!((rise.measured - 25.0).abs() < 1.0 && rise.sigma < 2.0, "{tower:?}");
        assert!(tower.slopes.iter().all(|s| (s.beside.measured / s.beside.planned - 1.0).abs() < 0.05), "{:?}", tower.slopes);
        assert_eq!(tower.shares.len(), 2);
    }
    assert!(learnt.towers[0].text.starts_with("Alpha: 25 mm a turn"), "{}", learnt.towers[0].text);
}

#[test]
fn at_this_rate_the_limit_comes_in_so_many_seconds() {
    let mut rig = Rig::raising();
    rig.run(3000, |_| {});
    assert_eq!(rig.watch.view().ahead_s, None, "level: nothing ahead");
    rig.run(5000, |r| r.b_high_mm += 4.0 * 0.05);
    let ahead = rig.watch.view().ahead_s.unwrap();
    let warn = rig.watch.view().limits.unwrap().warn_mm;
    let truth = (warn - rig.b_high_mm) / 4.0;
    let (told, sigma) = (ahead.warn_s.unwrap(), ahead.warn_sigma_s.unwrap());
    assert!((told - truth).abs() < 3.0 * sigma.max(0.5), "{told} ± {sigma}, in truth {truth}");
    assert_eq!(ahead.tower, "B");
    assert!(ahead.stop_s.is_none_or(|s| s > told));
    assert!(ahead.text.starts_with("At this rate the hold limit in "), "{}", ahead.text);
    rig.step(Step::Stand);
    rig.run(1000, |_| {});
    assert_eq!(rig.watch.view().ahead_s, None, "nothing moves");
    rig.step(Step::Raise);
    rig.run(3000, |r| r.b_high_mm += 4.0 * 0.05);
    rig.speaks[1] = false;
    rig.run(1500, |_| {});
    assert_eq!(rig.watch.view().ahead_s, None, "blind: nothing is foretold");
}

impl Rig {
    /// A weight on the truss, N, at `x_m` from its begin; the heads stand at 1 and 7 m.
    fn hang(&mut self, force_n: f64, x_m: f64) {
        let at_b = (x_m - 1.0) / 6.0;
        self.shares[0] += force_n * (1.0 - at_b);
        self.shares[1] += force_n * at_b;
    }
}

#[test]
fn what_is_hung_while_rigging_is_offered_by_weight_and_place_and_hands_are_not() {
    let g = raisewatch_protocol::units::STANDARD_GRAVITY;
    let mut rig = Rig::new();
    rig.zero();
    rig.shares = [8.5 * 4.0 * g; 2];
    rig.run(15_000, |_| {});
    // People lean for up to eight seconds.
    for (force, x_m) in [(200.0, 3.0), (-150.0, 5.0)] {
        rig.hang(force, x_m);
        rig.run(8000, |_| {});
        rig.hang(-force, x_m);
        rig.run(4000, |_| {});
    }
    assert!(rig.watch.view().hung.is_empty(), "{:?}", rig.watch.view().hung);
    rig.run(15_000, |_| {});
    rig.lines.clear();
    rig.hang(20.2 * g, 3.05);
    rig.run(15_000, |_| {});
    let hung = rig.watch.view().hung;
    assert_eq!(hung.len(), 1, "{hung:?}");
    assert_eq!(hung[0].items.iter().map(|i| (i.name.as_str(), i.at_m)).collect::<Vec<_>>(), [("wash", 3.0)]);
    assert!((hung[0].position_m.unwrap() - 3.05).abs() < 0.2 && (hung[0].force_n - 20.2 * g).abs() < 6.0, "{hung:?}");
    assert_eq!(rig.replies(), ["20 kg hung at 3.0 m: wash at 3.0 m?"]);
    // Something that is in no plan, then the first wash again: it is taken already, and comes off.
    rig.hang(60.0 * g, 5.0);
    rig.run(15_000, |_| {});
    assert!(rig.watch.view().hung[1].items.is_empty());
    rig.hang(-20.2 * g, 3.05);
    rig.run(15_000, |_| {});
    assert!(rig.replies().last().unwrap().ends_with(": wash at 3.0 m?"), "{:?}", rig.replies());
    assert_eq!(rig.findings(), [""; 0], "an offer is no finding");
}

#[test]
fn on_its_trestles_nothing_is_offered() {
    let g = raisewatch_protocol::units::STANDARD_GRAVITY;
    let mut rig = Rig::new();
    rig.zero();
    rig.shares = [20.0; 2];
    rig.run(15_000, |_| {});
    // The trestles carry the most of it.
    rig.hang(0.2 * 20.0 * g, 3.0);
    rig.run(15_000, |_| {});
    // The towers take it: a step of the whole weight is none of the schedule.
    rig.shares = [8.5 * 4.0 * g + 98.0; 2];
    rig.run(15_000, |_| {});
    assert!(rig.watch.view().hung.is_empty(), "{:?}", rig.watch.view().hung);
}
