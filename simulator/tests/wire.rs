//! What comes over the wire: the same bytes for the same seed however time is cut, and nothing that the other end refuses.

#![allow(clippy::unwrap_used, reason = "a test that cannot set up its lift has failed")]

use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::told::Call;
use raisewatch_protocol::trace::TraceLine;
use raisewatch_simulator::{Lift, LiftError, Script, ScriptError};

fn demo() -> (Plan, Kit, Script) {
    let plan = Plan::read(include_str!("../../docs/examples/rehearsal/plan.toml"), "plan.toml").unwrap();
    let kit = Kit::read(include_str!("../../docs/examples/rehearsal/kit.toml"), "kit.toml").unwrap();
    let script = Script::read(include_str!("../../docs/examples/rehearsal/script.toml"), "script.toml").unwrap();
    (plan, kit, script)
}

fn serial_kit() -> Kit {
    let node = |id: &str, tower: &str, at: &str, port: &str| {
        format!(
            "[[node]]\nid = \"{id}\"\ntower = \"{tower}\"\nover = \"xdr\"\nport = \"{port}\"\nbaud = 9600\nrate = \"20 Hz\"\n\
             map = {{ LOAD = \"head-load\" }}\n[node.channel.truss-along]\npiece = \"beam\"\nat = \"{at}\"\nsign = -1\n\
             [node.channel.mast-along]\n[node.channel.mast-across]\n[node.channel.height]\n\
             [node.channel.head-load]\npoints = [[\"0 N\", 0], [\"200 N\", 41200]]\n[node.channel.battery]\n"
        )
    };
    let text = node("n1", "A", "0.8 m", "/dev/serial/by-id/pair") + &node("n2", "B", "6.2 m", "/dev/serial/by-id/pair");
    Kit::read(&text, "kit.toml").unwrap()
}

fn lines(kit: &Kit, seed: u64, cut: impl Fn(u64) -> u64, calls: &[(u64, Call)]) -> Vec<TraceLine> {
    let (plan, _, script) = demo();
    let mut lift = Lift::new(&plan, kit, &script, seed).unwrap();
    let (mut all, mut now, mut n) = (Vec::new(), Mono(0), 0);
    let end = Mono(120_000_000);
    while now < end {
        let next = calls.iter().map(|(ms, _)| Mono(ms * 1000)).find(|t| *t > now).unwrap_or(end);
        now = (now + Span(cut(n))).min(next).min(end);
        n += 1;
        all.extend(lift.advance(now));
        calls.iter().filter(|(ms, _)| Mono(ms * 1000) == now).for_each(|(_, call)| lift.hear(call));
    }
    all
}

fn text(lines: &[TraceLine]) -> String {
    lines.iter().map(|l| serde_json::to_string(l).unwrap() + "\n").collect()
}

fn hold(ms: u64) -> (u64, Call) {
    let call = format!(
        r#"{{"t_ms":{ms},"id":"1","call":"hold","to":"B","tower":"B","turns":null,"reason":"uneven","finding":"uneven-B-1","state":"said","text":"Hold.","level_through":["A"]}}"#
    );
    (ms, serde_json::from_str(&call).unwrap())
}

#[test]
fn the_same_seed_gives_the_same_bytes_however_time_is_cut() {
    let (_, kit, _) = demo();
    let calls = [hold(90_000)];
    let whole = text(&lines(&kit, 5, |_| 120_000_000, &calls));
    for cut in [|_| 1_000_000, |_| 7_777, |n: u64| 1 + (n * 7919) % 350_000] {
        assert_eq!(text(&lines(&kit, 5, cut, &calls)), whole);
    }
    assert_ne!(text(&lines(&kit, 6, |_| 1_000_000, &calls)), whole);
}

#[test]
fn a_call_is_obeyed_after_the_reaction_and_not_before() {
    let (plan, kit, script) = demo();
    let mut lift = Lift::new(&plan, &kit, &script, 5).unwrap();
    lift.advance(Mono(90_000_000));
    assert!(lift.truth().heads[1].cranking, "cranking at 90 s");
    lift.hear(&hold(90_000).1);
    lift.advance(Mono(91_150_000));
    assert!(lift.truth().heads[1].cranking);
    lift.advance(Mono(92_000_000));
    let held = lift.truth();
    assert!(!held.heads[1].cranking && held.heads[0].cranking);
    lift.advance(Mono(94_000_000));
    let later = lift.truth();
    assert!((later.heads[1].height_m - held.heads[1].height_m).abs() < 0.003 && later.heads[0].height_m > held.heads[0].height_m + 0.03);
}

#[test]
fn nothing_that_is_sent_is_refused() {
    let (_, mqtt, _) = demo();
    for kit in [mqtt, serial_kit()] {
        let mut intake = Intake::new(&kit);
        let mut packets = 0;
        for line in lines(&kit, 3, |_| 1_000_000, &[]) {
            let again = TraceLine::parse(&serde_json::to_string(&line).unwrap()).unwrap();
            let taken = intake.take(&again);
            assert!(taken.refused.is_empty(), "{line:?}: {:?}", taken.refused);
            packets += taken.inputs.len();
        }
        assert!(packets > 1000, "{packets}");
    }
}

#[test]
fn a_serial_line_carries_no_more_than_its_baud() {
    let kit = serial_kit();
    let sentences: Vec<_> = lines(&kit, 3, |_| 1_000_000, &[])
        .into_iter()
        .filter_map(|l| match l.what {
            raisewatch_protocol::trace::Arrival::Xdr { xdr, .. } => Some((l.t_ms, xdr.len() + 2)),
            _ => None,
        })
        .collect();
    let most = sentences.windows(50).map(|w| 50.0 / (w[49].0.s() - w[0].0.s())).fold(0.0, f64::max);
    assert!(most <= 10.5, "{most} sentences a second");
    let bytes: usize = sentences.iter().map(|s| s.1).sum();
    let span = sentences[sentences.len() - 1].0.s() - sentences[0].0.s();
    assert!((bytes as f64) < 960.0 * span, "{bytes} bytes in {span} s");
}

#[test]
fn arrivals_are_in_order_and_numbers_count_what_is_lost() {
    let (_, kit, _) = demo();
    let all = lines(&kit, 9, |_| 500_000, &[]);
    assert!(all.windows(2).all(|w| w[0].t_ms <= w[1].t_ms));
    let sent = all.iter().filter(|l| serde_json::to_string(l).unwrap().contains("\"seq\"")).count() as f64;
    let expected = 2.0 * 20.0 * 120.0;
    assert!(sent < expected && sent > 0.98 * expected, "half of 1 % lost: {sent} of {expected}");
}

#[test]
fn a_script_that_names_what_is_not_there_is_told() {
    let (plan, kit, _) = demo();
    let cases = [
        ("[[fault]]\nkind = \"stops\"\ntower = \"Z\"\nbegins = \"1 s\"\n", "there is no tower \"Z\"; there are A, B"),
        ("[[fault]]\nkind = \"silent\"\nnode = \"n9\"\nbegins = \"1 s\"\n", "there is no node \"n9\""),
        ("[[fault]]\nkind = \"stops\"\ntower = \"A\"\n", "expected when it begins"),
        ("[[fault]]\nkind = \"snag\"\nbegins = \"1 s\"\nplace = 1\nat = \"5 m\"\nstiffness = \"8 N/mm\"\n", "unknown field `place`"),
        (
            "[[fault]]\nkind = \"snag\"\nbegins = \"1 s\"\nat = \"15 m\"\nstiffness = \"8 N/mm\"\n",
            "expected a place between 0 and 7 m, found 15 m",
        ),
        ("[[act]]\ndo = \"crank\"\ntoo = \"5 m\"\n", "unknown field `too`"),
        (
            "[[fault]]\nkind = \"instrument\"\ntower = \"A\"\nchannel = \"head-load\"\noff = \"3 deg\"\nbegins = \"1 s\"\n",
            "expected an amount of head-load",
        ),
    ];
    for (text, expected) in cases {
        let told = match Script::read(text, "script.toml") {
            Err(fault) => fault.to_string(),
            Ok(script) => Lift::new(&plan, &kit, &script, 1).map(|_| ()).unwrap_err().to_string(),
        };
        assert!(told.contains(expected), "{told}");
    }
    assert!(matches!(Script::read("[start]\nheight = \"1 kg\"\n", "s.toml"), Err(ScriptError::Unreadable { .. })));
    let unknown = Script::read("colour = \"red\"\n", "s.toml").unwrap_err().to_string();
    assert!(unknown.contains("colour"), "{unknown}");
    let mut astray = kit.clone();
    astray.nodes[0].tower = "Q".to_owned();
    assert!(matches!(Lift::new(&plan, &astray, &Script::default(), 1), Err(LiftError::NoTower { .. })));
}
