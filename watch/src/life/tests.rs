//! Lives played through time: delays and deadbands of tests/checks/alarms.toml, escalation, latching, shelving, precedence.

use super::*;
use crate::condition::{Known, Unit};
use raisewatch_protocol::words::Step;

const ALARMS: &str = include_str!("../../../tests/checks/alarms.toml");

fn ledger() -> Ledger {
    Ledger::new(vec!["A".into(), "B".into()], 6.25)
}

fn raising() -> Scene {
    let mut scene = Scene::new(2, Mono(0));
    scene.step = Step::Raise;
    scene.motion = crate::scene::Motion::Up;
    scene
}

fn at_ms(ms: u64) -> Mono {
    Mono(ms * 1000)
}

fn uneven(mm: f64, stands: Stands) -> Condition {
    Condition { tower: Some(1), amount: Some(Known { value: mm, sigma: 1.0 }), unit: Unit::Mm, stands, ..Condition::of(Kind::Uneven) }
}

/// Plays conditions and the ledger's own deadlines until `end`; every told line as (ms, id, state, severity, change).
fn play(ledger: &mut Ledger, scene: &Scene, inputs: &[(u64, &[Condition])], end: u64) -> Vec<(u64, String, LifeState, Severity, bool)> {
    let mut lines = Vec::new();
    let mut told = Vec::new();
    let mut now = inputs.first().map_or(Mono(0), |i| at_ms(i.0));
    let mut last: Vec<Condition> = Vec::new();
    let mut note = |ledger: &mut Ledger, now: Mono| {
        told.clear();
        ledger.take_told(&mut told);
        for t in &told {
            let track = &ledger.tracks()[t.track];
            lines.push((now.0 / 1000, track.id.clone(), track.state, track.severity, t.change));
        }
    };
    for (ms, conditions) in inputs.iter().map(|(ms, c)| (*ms, Some(*c))).chain([(end, None)]) {
        while let Some(due) = ledger.deadline(now, scene).filter(|d| *d < at_ms(ms)) {
            now = due;
            ledger.weigh(now, scene, &last);
            note(ledger, now);
        }
        if let Some(conditions) = conditions {
            last = conditions.to_vec();
        }
        now = at_ms(ms);
        ledger.weigh(now, scene, &last);
        note(ledger, now);
    }
    lines
}

#[test]
fn a_warn_waits_for_its_delay_and_goes_after_its_own() {
    let mut l = ledger();
    let warn: &[Condition] = &[uneven(53.0, Stands::At(Severity::Warn))];
    let gone: &[Condition] = &[uneven(10.0, Stands::Clear)];
    let lines = play(&mut l, &raising(), &[(0, gone), (1000, warn), (2000, gone), (10_000, gone)], 70_000);
    let want = [
        (1600, LifeState::Raised),   // 0.6 s after 1.0 s
        (3500, LifeState::Returned), // 1.5 s after 2.0 s
        (63_500, LifeState::Cleared),
    ];
    assert_eq!(lines.iter().map(|l| (l.0, l.2)).collect::<Vec<_>>(), want);
    assert!(lines.iter().all(|l| l.1 == "uneven-B-1"));
}

#[test]
fn a_short_peak_and_a_pause_in_the_deadband_are_told_once_or_not_at_all() {
    let warn: &[Condition] = &[uneven(53.0, Stands::At(Severity::Warn))];
    let within: &[Condition] = &[uneven(45.0, Stands::Within)];
    let mut l = ledger();
    assert_eq!(play(&mut l, &raising(), &[(0, warn), (500, within)], 9000), []);
    let lines = play(&mut l, &raising(), &[(10_000, warn), (11_000, within), (20_000, warn)], 30_000);
    assert_eq!(lines.len(), 1, "{lines:?}");
}

#[test]
fn what_its_cause_has_weighed_already_waits_for_nothing() {
    let sure: &[Condition] = &[Condition { sure: true, ..uneven(60.0, Stands::At(Severity::Warn)) }];
    let warn: &[Condition] = &[uneven(53.0, Stands::At(Severity::Warn))];
    let mut l = ledger();
    let lines = play(&mut l, &raising(), &[(1000, warn), (1200, sure)], 2000);
    assert_eq!(lines.iter().map(|l| l.0).collect::<Vec<_>>(), [1200]);
    // Of a warn only: a stop beside it has its own delay.
    let within: &[Condition] = &[Condition { sure: true, ..uneven(45.0, Stands::Within) }];
    let mut l = ledger();
    assert_eq!(play(&mut l, &raising(), &[(1000, within)], 9000), []);
}

#[test]
fn what_has_eased_begins_again_only_after_its_delay() {
    let warn: &[Condition] = &[uneven(53.0, Stands::At(Severity::Warn))];
    let gone: &[Condition] = &[uneven(10.0, Stands::Clear)];
    let mut l = ledger();
    let eases = |l: &Ledger| l.tracks()[0].easing;
    for (from, conditions, to, easing) in [
        (0, warn, 700, false),
        (1000, gone, 1100, true),
        (1200, warn, 1700, true), // over its limit for half a second: noise about it
        (1700, gone, 1800, true),
        (2000, warn, 2700, false),
    ] {
        play(&mut l, &raising(), &[(from, conditions)], to);
        assert_eq!(eases(&l), easing, "{to}");
    }
}

#[test]
fn a_rising_severity_is_a_raised_line_and_never_falls_and_latches() {
    let mut l = ledger();
    let scene = raising();
    let warn: &[Condition] = &[uneven(53.0, Stands::At(Severity::Warn))];
    let more: &[Condition] = &[uneven(60.0, Stands::At(Severity::Warn))];
    let stop: &[Condition] = &[uneven(104.0, Stands::At(Severity::Stop))];
    let gone: &[Condition] = &[uneven(3.0, Stands::Clear)];
    let lines = play(&mut l, &scene, &[(0, warn), (1000, more), (2000, stop), (3000, warn), (4000, gone)], 100_000);
    let want = [
        (600, LifeState::Raised, Severity::Warn, false),
        (1000, LifeState::Raised, Severity::Warn, true),
        (2000, LifeState::Raised, Severity::Warn, true), // 104 mm told before the stop's delay is over
        (2600, LifeState::Raised, Severity::Stop, false),
        (5500, LifeState::Latched, Severity::Stop, false),
    ];
    assert_eq!(lines.iter().map(|l| (l.0, l.2, l.3, l.4)).collect::<Vec<_>>(), want);
    assert_eq!(l.release(at_ms(100_000), None).refused.map(|r| r.0), Some(Refusal::SeenFirst));
    assert_eq!(l.seen(at_ms(100_000), Some("uneven-B-1")), Answer { found: true, refused: None });
    assert_eq!(l.release(at_ms(100_001), None), Answer { found: true, refused: None });
    assert_eq!(l.open().count(), 0);
    let again = play(&mut l, &scene, &[(200_000, warn)], 201_000);
    assert_eq!(again.last().map(|l| (l.1.as_str(), l.3)), Some(("uneven-B-2", Severity::Warn)));
}

#[test]
fn nothing_known_keeps_a_finding_and_starts_its_off_delay_anew() {
    let mut l = ledger();
    let warn: &[Condition] = &[uneven(53.0, Stands::At(Severity::Warn))];
    let gone: &[Condition] = &[uneven(3.0, Stands::Clear)];
    let lines = play(&mut l, &raising(), &[(0, warn), (1000, gone), (2000, &[]), (3000, gone)], 5000);
    assert_eq!(lines.iter().map(|l| (l.0, l.2)).collect::<Vec<_>>(), [(600, LifeState::Raised), (4500, LifeState::Returned)]);
    let lines = play(&mut l, &raising(), &[(10_000, &[uneven(60.0, Stands::At(Severity::Warn))]), (12_000, &[])], 900_000);
    assert_eq!(lines.last().map(|l| l.2), Some(LifeState::Raised));
}

#[test]
fn shelving_ends_by_time_by_step_and_by_a_stop() {
    let warn: &[Condition] = &[uneven(53.0, Stands::At(Severity::Warn))];
    let stop: &[Condition] = &[uneven(120.0, Stands::At(Severity::Stop))];
    let scene = raising();
    let mut l = ledger();
    play(&mut l, &scene, &[(0, warn)], 1000);
    assert_eq!(l.shelve(at_ms(1000), &scene, "uneven-B-1", Some(Span::ms(3_600_000))).refused, None);
    let lines = play(&mut l, &scene, &[(1000, warn)], 70_000);
    // The first line is the shelving itself; while moving it lasts 60 s at most.
    assert_eq!(lines.iter().map(|l| (l.0, l.2)).collect::<Vec<_>>(), [(1000, LifeState::Shelved), (61_000, LifeState::Raised)]);
    l.shelve(at_ms(70_000), &scene, "uneven-B-1", None);
    let lines = play(&mut l, &scene, &[(71_000, stop)], 72_000);
    assert_eq!(lines.last().map(|l| (l.0, l.2, l.3)), Some((71_600, LifeState::Raised, Severity::Stop)));
    let refused = l.shelve(at_ms(72_000), &scene, "uneven-B-1", None).refused;
    assert_eq!(refused.map(|r| r.0), Some(Refusal::NotAStop));
    assert!(!l.shelve(at_ms(72_000), &scene, "uneven-C-7", None).found);
}

#[test]
fn a_consequence_waits_under_its_cause_unless_it_is_never_gated() {
    let scene = raising();
    let caught = Condition { stands: Stands::At(Severity::Stop), tower: Some(1), ..Condition::of(Kind::Caught) };
    let over = uneven(110.0, Stands::At(Severity::Stop));
    let past = Condition { never_gated: true, ..over };
    let mut l = ledger();
    let lines = play(&mut l, &scene, &[(0, &[caught]), (500, &[caught, over])], 5000);
    assert_eq!(lines.iter().map(|l| l.1.as_str()).collect::<Vec<_>>(), ["caught-B-1"]);
    let lines = play(&mut l, &scene, &[(6000, &[caught, past])], 7000);
    assert_eq!(lines.iter().map(|l| l.1.as_str()).collect::<Vec<_>>(), ["uneven-B-1"]);
}

#[test]
fn a_persons_stop_is_over_by_one_release() {
    let mut l = ledger();
    let said = Condition { stands: Stands::At(Severity::Stop), ..Condition::of(Kind::StopSaid) };
    let lines = play(&mut l, &raising(), &[(100, &[said])], 200);
    assert_eq!(lines.iter().map(|l| (l.0, l.1.as_str())).collect::<Vec<_>>(), [(100, "stop-said-all-1")]);
    assert_eq!(l.release(at_ms(300), None), Answer { found: true, refused: None });
    assert_eq!(l.open().count(), 0);
}

/// The delay and deadband sequences of tests/checks/alarms.toml (rules: OPC 10000-9 B.1.5).
#[test]
fn delay_and_deadband_sequences_of_the_published_rules() {
    let table: toml::Table = ALARMS.parse().unwrap();
    let sequences = table["limit_sequence"].as_array().unwrap();
    let played: Vec<&str> = sequences.iter().map(|s| s["id"].as_str().unwrap()).collect();
    assert_eq!(played, ["no-protection", "deadband", "on-delay", "off-delay"], "every sequence of the file, and no other");
    assert_eq!(ALARMS.matches("[[limit_sequence]]\n").count(), played.len());
    for sequence in sequences {
        let number = |key: &str| sequence[key].as_float().unwrap();
        let list = |key: &str| sequence[key].as_array().unwrap().clone();
        let (dt, high, deadband) = (number("dt"), number("high_limit"), number("deadband"));
        let (on, off) = (Span::from_s(number("on_delay")), Span::from_s(number("off_delay")));
        let mut track = Track::new(&uneven(0.0, Stands::Clear));
        let mut found: Vec<(f64, &str)> = Vec::new();
        for (i, x) in list("x").iter().map(|x| x.as_float().unwrap()).enumerate() {
            let now = Mono::from_ms(i as f64 * dt * 1000.0).unwrap();
            let stands = if x > high {
                Stands::At(Severity::Warn)
            } else if x < high - deadband || (deadband == 0.0 && x <= high) {
                Stands::Clear
            } else {
                Stands::Within
            };
            track.take(now, &uneven(x, stands));
            if !track.stands && track.due(now, |_| on).is_some() {
                track.stands = true;
                found.push((now.s(), "active"));
            } else if track.gone(now, off) {
                track.stands = false;
                found.push((now.s(), "inactive"));
            }
        }
        let times = list("event_times").into_iter().map(|t| t.as_float().unwrap());
        let events = list("events");
        let want: Vec<(f64, &str)> = times.zip(events.iter().map(|e| e.as_str().unwrap())).collect();
        assert_eq!(found, want, "{}", sequence["id"]);
    }
}

mod pairs;
