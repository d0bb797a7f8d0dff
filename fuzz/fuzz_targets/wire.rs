//! Any bytes as a trace line, a SenML pack, a serial stream: no panic, bounded memory, and what reads back is what was read.

#![no_main]

use libfuzzer_sys::fuzz_target;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::trace::{Arrival, TraceLine};
use raisewatch_protocol::xdr::{Frame, Framer, MAX_SENTENCE, Sentence};

const KIT: &str = include_str!("../../docs/examples/harbour-lane.kit.toml");

fuzz_target!(|bytes: &[u8]| {
    let kit = Kit::read(KIT, "kit.toml").expect("the example kit");
    let mut intake = Intake::new(&kit);
    let mut take = |what: Arrival| {
        let taken = intake.take(&TraceLine { t_ms: Mono(0), what });
        assert!(taken.inputs.len() <= kit.nodes.len());
    };
    let mut framer = Framer::default();
    framer.feed(bytes, |frame| match frame {
        Frame::Sentence(text) => {
            assert!(text.len() <= MAX_SENTENCE);
            let _ = Sentence::parse(text).map(|sentence| sentence.readings().count());
            take(Arrival::Xdr { node: "n1".into(), xdr: text.into() });
        }
        Frame::Noise(noise) => assert!(noise.len() <= MAX_SENTENCE),
    });
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(senml) = serde_json::from_str(text) {
        take(Arrival::Senml { node: "n1".into(), senml });
    }
    if let Ok(line) = TraceLine::parse(text) {
        let again = TraceLine::parse(&line.to_json()).expect("what is printed reads again");
        assert_eq!(again.t_ms, line.t_ms);
    }
});
