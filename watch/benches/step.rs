//! What one packet costs through [`Watch::step`], on 2, 4, 8 and 16 towers, and what it allocates: nothing in steady state.
//!
//! `cargo bench -p raisewatch-watch`; the printed items are packets, the allocations those of the packets alone.

#![allow(clippy::unwrap_used)] // a bench is a test

use divan::Bencher;
use divan::counter::ItemsCount;
use raisewatch_protocol::Mono;
use raisewatch_protocol::input::Input;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::reading::{Packet, Reading, Value};
use raisewatch_protocol::said::StepSet;
use raisewatch_protocol::units::{Angle, Force};
use raisewatch_protocol::words::{Channel, Step};
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::watch::Watch;
use std::fmt::Write as _;

#[global_allocator]
static COUNTED: divan::AllocProfiler = divan::AllocProfiler::system();

/// Packets of one run: a minute of two towers at 20 Hz.
const PACKETS: usize = 2400;

fn main() {
    divan::main();
}

/// A straight truss on `towers` towers 5 m apart, and a kit of a tilt and a cell at each, zeroed and proved.
fn rig(towers: usize) -> (Plan, Kit) {
    let long = 5 * (towers - 1) + 2;
    let mut plan = format!(
        "title = \"bench\"\nsite = \"bench\"\nworking-height = \"1.2 m\"\ntrim-height = \"5 m\"\npace = \"25 mm/s\"\n\
         tolerance = \"from-statics\"\n[[piece]]\nid = \"front\"\nfrom = [\"0 m\", \"0 m\"]\nto = [\"{long} m\", \"0 m\"]\n\
         weight = \"12 kg/m\"\nbending = \"1.5 MN m2\"\n"
    );
    let mut kit = String::from("broker = \"mqtt://127.0.0.1:1883\"\n");
    for t in 0..towers {
        let at = 5 * t + 1;
        let _ = write!(
            plan,
            "[[tower]]\nid = \"T{t}\"\nat = \"{at} m\"\nrated = \"500 lb\"\nleast = \"15 lb\"\nper-turn = \"25 mm\"\n\
             [[load]]\nname = \"wash {t}\"\nweight = \"10 kg\"\nat = [\"{at} m\"]\n"
        );
        let _ = write!(
            kit,
            "[[node]]\nid = \"n{t}\"\ntower = \"T{t}\"\nover = \"mqtt\"\nrate = \"20 Hz\"\n\
             [node.channel.truss-along]\nat = \"{at} m\"\n\
             zero = {{ value = \"0 deg\", when = 2031-05-14T13:40:00Z, by = \"Mara\", valid = \"12 h\" }}\n\
             proved = {{ when = 2031-05-14T13:50:00Z, by = \"Mara\" }}\n\
             [node.channel.head-load]\n\
             zero = {{ value = \"0 N\", when = 2031-05-14T13:40:00Z, by = \"Mara\", valid = \"12 h\" }}\n"
        );
    }
    (Plan::read(&plan, "plan").unwrap(), Kit::read(&kit, "kit").unwrap())
}

/// The packets of a level lift, round robin, with a little noise that repeats itself.
fn packets(watch: &Watch, towers: usize) -> Vec<(Mono, Input)> {
    let planned: Vec<f64> = watch.view().towers.iter().map(|t| t.planned_n).collect();
    (0..PACKETS + 400)
        .map(|i| {
            let node = i % towers;
            let noise = ((i * 7919) % 101) as f64 / 50.0 - 1.0;
            let reading = |channel, value| Reading { channel, value: Ok(value), node_time_s: None };
            let readings = vec![
                reading(Channel::TrussAlong, Value::Angle(Angle(noise * 5e-4))),
                reading(Channel::HeadLoad, Value::Force(Force(planned[node] + noise * 5.0))),
            ];
            (Mono(i as u64 * 50_000 / towers as u64), Input::Packet(Packet { node, readings, seq: None }))
        })
        .collect()
}

#[divan::bench(args = [2, 4, 8, 16], sample_count = 10, sample_size = 1)]
fn packet(bencher: Bencher, towers: usize) {
    let (plan, kit) = rig(towers);
    bencher
        .counter(ItemsCount::new(PACKETS))
        .with_inputs(|| {
            let mut watch = Watch::new(&plan, &kit, Phrases::default()).unwrap();
            let all = packets(&watch, towers);
            watch.step(Mono(0), &Input::Step(StepSet { step: Step::Raise, by: None }));
            for (at, input) in &all[..400] {
                watch.step(*at, input);
            }
            (watch, all)
        })
        .bench_local_values(|(mut watch, all)| {
            for (at, input) in &all[400..] {
                divan::black_box(watch.step(*at, input));
            }
            (watch, all)
        });
}
