//! Tests of what is said about what arrives; every proposal is tried: the kit lines are read, the pack is taken by them.

use super::*;
use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::trace::TraceLine;

/// The kit lines in what was printed.
fn kit_in(out: &[String]) -> String {
    let from = out.iter().position(|line| line.contains("kit lines")).unwrap_or_else(|| panic!("no kit lines in {out:#?}"));
    out[from + 1..].iter().take_while(|line| line.starts_with("    ")).map(|line| format!("{}\n", &line[4..])).collect()
}

/// The channels that a kit takes from a line of a trace.
fn taken(kit: &str, line: &str) -> Vec<&'static str> {
    let kit = Kit::read(kit, "heard.toml").unwrap_or_else(|mistakes| panic!("{mistakes}\n{kit}"));
    let taken = Intake::new(&kit).take(&TraceLine::parse(line).unwrap());
    assert_eq!(taken.refused, [], "{line}");
    let Some(Input::Packet(packet)) = taken.inputs.first() else { panic!("{taken:?}") };
    packet.readings.iter().map(|r| r.value.map(|_| r.channel.word()).unwrap()).collect()
}

fn said(out: &[String], words: &str) -> bool {
    out.iter().any(|line| line.contains(words))
}

#[test]
fn senml_is_understood_and_its_kit_lines_take_it() {
    let mut ear = Ear::default();
    let pack = r#"[{"bn":"n7/","n":"T1_tilt","v":0.2},{"n":"head-load","u":"N","v":951},{"n":"seq","u":"count","v":4}]"#;
    let out = ear.publish("raisewatch/hall/n7/readings", pack.as_bytes(), false, 0.0);
    assert!(said(&out, "understood: SenML: T1_tilt 0.2 (no unit), head-load 951 N"), "{out:#?}");
    let line = format!(r#"{{"t_ms":0,"node":"n7","senml":{pack}}}"#);
    assert_eq!(taken(&kit_in(&out), &line), ["truss-along", "head-load"]);
    // The same again is printed, its kit lines are not.
    let again = ear.publish("raisewatch/hall/n7/readings", pack.as_bytes(), false, 0.1);
    assert!(again.len() == 2 && !said(&again, "kit lines"), "{again:#?}");
    let mut rate = Vec::new();
    for n in 2..40 {
        rate.extend(ear.publish("raisewatch/hall/n7/readings", pack.as_bytes(), false, f64::from(n) * 0.1));
    }
    assert_eq!(rate.iter().filter(|line| line.contains("rate = \"10 Hz\"")).count(), 1);
}

#[test]
fn an_object_of_its_own_is_told_what_to_send() {
    let mut ear = Ear::default();
    let out = ear.publish("sensors/tower1/state", br#"{"imu":{"pitch_deg":0.12},"load_kN":0.951,"temp":21}"#, false, 0.0);
    assert!(said(&out, "cannot be taken as it is: a JSON object"), "{out:#?}");
    assert!(said(&out, "raisewatch/SITE/tower1/readings"), "{out:#?}");
    let pack = out.iter().find(|line| line.trim_start().starts_with("[{")).unwrap().trim();
    assert!(pack.contains(r#""u":"N","v":951.0"#), "{pack}");
    let line = format!(r#"{{"t_ms":0,"node":"tower1","senml":{pack}}}"#);
    assert_eq!(taken(&kit_in(&out), &line), ["truss-along", "head-load"]);
}

#[test]
fn a_bare_number_takes_its_name_from_the_topic() {
    let out = Ear::default().publish("hall/tower2/load", b"97.5", false, 0.0);
    assert!(said(&out, "a bare number") && said(&out, r#"[{"n":"load","u":"N","v":97.5}]"#), "{out:#?}");
    assert!(kit_in(&out).contains("id = \"tower2\""), "{out:#?}");
}

#[test]
fn what_would_be_refused_is_said() {
    let check = |topic: &str, payload: &[u8], retained, words: &str| {
        let out = Ear::default().publish(topic, payload, retained, 0.0);
        assert!(said(&out, words), "{words} not in {out:#?}");
    };
    let readings = "raisewatch/hall/n1/readings";
    check(readings, br#"[{"n":"head-load","u":"N","v":1}]"#, true, "refused: retained");
    check(readings, br#"[{"n":"head-load","u":"kN","v":1}]"#, false, "unit `kN` would be refused");
    check(readings, br#"[{"n":"n2/head-load","u":"N","v":1}]"#, false, "the pack names `n2`, the topic `n1`");
    check(readings, br#"[{"n":"head-load","v":"1"}]"#, false, "refused: SenML record 1, `v`");
    check(readings, br#"{"rssi":-60}"#, false, "nothing in it looks like");
    check(readings, br#"{"load":"#, false, "JSON that is broken");
    check(readings, b"951;0.2", false, "cannot be taken: text");
    check(readings, b"\xff\x00", false, "bytes ff 00");
    check(readings, b"", false, "cannot be taken: nothing");
    check("raisewatch/hall/n1/presence", b"online", true, "understood: presence");
    check("raisewatch/hall/call/spotter", b"{}", true, "no topic of a node");
    check("a\nb", b"\x1b[2J", false, "\\u{1b}[2J"); // a terminal is not to be steered from outside
}

#[test]
fn sentences_and_other_lines_on_a_port() {
    let mut ear = Ear::default();
    let out = ear.line("/dev/ttyUSB1", 9600, b"$YXXDR,A,0.12,D,TA,N,982,N,HL*75", 0.0);
    assert!(said(&out, "understood: XDR"), "{out:#?}");
    let line = r#"{"t_ms":0,"node":"n1","xdr":"$YXXDR,A,0.12,D,TA,N,982,N,HL*75"}"#;
    assert_eq!(taken(&kit_in(&out), line), ["truss-along", "head-load"]);
    let own = "YXXDR,N,982,N,B7.CELL2";
    let own = format!("${own}*{:02X}", checksum(own));
    let out = ear.line("/dev/ttyUSB1", 9600, own.as_bytes(), 0.0);
    let line = format!(r#"{{"t_ms":0,"node":"","xdr":"{own}"}}"#);
    assert_eq!(taken(&kit_in(&out), &line), ["head-load"]);
    let out = ear.line("/dev/ttyUSB1", 9600, b"$YXXDR,A,0.12,D,TA,N,982,N,HL*74", 0.0);
    assert!(said(&out, "checksum 74, expected 75"), "{out:#?}");
    let out = Ear::default().line("/dev/ttyUSB1", 9600, br#"{"pitch":0.12,"load_kg":100}"#, 0.0);
    let sentence = out.iter().find(|line| line.trim().starts_with("$YXXDR")).unwrap().trim().to_owned();
    assert!(sentence.contains("A,0.12,D,TA") && sentence.contains("N,980.665,N,HL"), "{sentence}");
    let line = format!(r#"{{"t_ms":0,"node":"n1","xdr":"{sentence}"}}"#);
    assert_eq!(taken(&kit_in(&out), &line).len(), 2);
    let out = Ear::default().line("/dev/ttyUSB1", 9600, b"\xf8\xe0\x00", 0.0);
    assert!(said(&out, "is 9600 baud right?"), "{out:#?}");
}
