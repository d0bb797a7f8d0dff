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
