//! Tests of the intake: each rule of the wire, from both of its sides, through the lines of a trace.

use super::*;
use crate::kit::{Transport, WireUnit};
use crate::reading::Value;
use crate::units::{Angle, Force, Length, Voltage};
use crate::xdr::checksum;

fn fitted(channel: Channel, unit: Option<WireUnit>) -> Fitted {
    Fitted {
        channel,
        piece: None,
        at: None,
        unit,
        sign: -1.0, // must not matter here: signs are the watch's
        range: None,
        calibration: Calibration::None,
        calibrated: None,
        zero: None,
        proved: None,
        rope_ratio: 1.0,
        register: None,
        battery_limits: None,
    }
}

fn node(id: &str, channels: &[(Channel, Option<WireUnit>)], map: &[(&str, Channel)]) -> Node {
    Node {
        id: id.to_owned(),
        tower: "A".to_owned(),
        over: Transport::Mqtt,
        rate_hz: 20.0,
        still_rate_hz: 20.0,
        map: map.iter().map(|&(name, channel)| (name.to_owned(), channel)).collect(),
        channels: channels.iter().map(|&(channel, unit)| fitted(channel, unit)).collect(),
    }
}

/// n1 has a tilt (degrees where no unit), a load, a battery and the name T1; n2 has a tilt, load and height.
fn intake() -> Intake {
    use Channel::*;
    let mut n1 = node("n1", &[(TrussAlong, Some(WireUnit::Deg)), (HeadLoad, None), (Battery, None)], &[("T1", TrussAlong)]);
    n1.channels.push(Fitted { calibration: Calibration::Scale(0.01), ..fitted(RopeLoad, None) });
    let n2 = node("n2", &[(TrussAlong, None), (HeadLoad, None), (Height, None)], &[("TILT", TrussAlong)]);
    let kit = Kit { broker: None, own_broker: false, login_file: None, said: false, nodes: vec![n1, n2] };
    Intake::new(&kit)
}

/// What a line gives: each reading as text, then the reasons of what was refused.
fn seen(intake: &mut Intake, line: &str) -> (Vec<String>, Vec<&'static str>) {
    let line = TraceLine::parse(line).unwrap_or_else(|fault| panic!("{line}: {fault}"));
    let taken = intake.take(&line);
    let mut readings = Vec::new();
    for input in &taken.inputs {
        let Input::Packet(packet) = input else { panic!("{input:?}") };
        for r in &packet.readings {
            let value = match r.value {
                Ok(Value::Angle(Angle(v))) => format!("{:.6} rad", v),
                Ok(Value::Force(Force(v))) => format!("{v:.3} N"),
                Ok(Value::Length(Length(v))) => format!("{v:.4} m"),
                Ok(Value::Voltage(Voltage(v))) => format!("{v:.3} V"),
                Ok(Value::Raw(v)) => format!("{v} raw"),
                Err(none) => format!("{none:?}"),
            };
            readings.push(format!("{} {} {value}", packet.node, r.channel));
        }
    }
    (readings, taken.refused.iter().map(|r| r.reason.word()).collect())
}

fn check(line: &str, readings: &[&str], refused: &[&str]) {
    let (got, not) = seen(&mut intake(), line);
    assert_eq!((got, not), (readings.iter().map(|r| (*r).to_owned()).collect(), refused.to_vec()), "{line}");
}

fn check_pack(pack: &str, readings: &[&str], refused: &[&str]) {
    check(&format!(r#"{{"t_ms":0,"node":"n1","senml":{pack}}}"#), readings, refused);
}

fn check_xdr(node: &str, groups: &str, readings: &[&str], refused: &[&str]) {
    let body = format!("YXXDR,{groups}");
    check(&format!(r#"{{"t_ms":0,"node":"{node}","xdr":"${body}*{:02X}"}}"#, checksum(&body)), readings, refused);
}

#[test]
fn the_lines_of_the_forms() {
    check(
        r#"{"t_ms":1234.5,"node":"n1","senml":[{"n":"truss-along","u":"rad","v":0.0021},{"n":"head-load","u":"N","v":951}]}"#,
        &["0 truss-along 0.002100 rad", "0 head-load 951.000 N"],
        &[],
    );
    check(
        r#"{"t_ms":1240,"node":"n2","xdr":"$YXXDR,A,0.12,D,TA,N,982,N,HL*75"}"#,
        &["1 truss-along 0.002094 rad", "1 head-load 982.000 N"],
        &[],
    );
}

#[test]
fn names_and_nodes() {
    check_pack(r#"[{"bn":"n1/","n":"head-load","u":"N","v":1}]"#, &["0 head-load 1.000 N"], &[]);
    check_pack(r#"[{"n":"n1/T1","u":"rad","v":0.5}]"#, &["0 truss-along 0.500000 rad"], &[]);
    check_pack(r#"[{"bn":"n2/","n":"head-load","u":"N","v":1}]"#, &[], &["other-node"]);
    // One record of another node refuses the whole pack: it was put together wrongly.
    check_pack(r#"[{"n":"head-load","u":"N","v":1},{"n":"n2/head-load","u":"N","v":2}]"#, &[], &["other-node"]);
    check_pack(r#"[{"n":"Head-Load","u":"N","v":1}]"#, &[], &["unknown-name"]);
    check_pack(r#"[{"n":"height","u":"m","v":1}]"#, &[], &["unknown-name"]); // n1 has none: not fitted
    check(r#"{"t_ms":0,"node":"n9","senml":[{"n":"height","u":"m","v":1}]}"#, &[], &["unknown-node"]);
}

#[test]
fn units() {
    check_pack(r#"[{"n":"T1","v":1}]"#, &["0 truss-along 0.017453 rad"], &[]); // the kit's
    check_pack(r#"[{"n":"T1","u":"rad","v":1}]"#, &["0 truss-along 1.000000 rad"], &[]); // the wire's goes first
    check_pack(r#"[{"bu":"kg","n":"head-load","v":1}]"#, &["0 head-load 9.807 N"], &[]);
    check_pack(r#"[{"n":"battery","u":"mV","v":3700}]"#, &["0 battery 3.700 V"], &[]);
    check_pack(r#"[{"n":"head-load","v":951}]"#, &["0 head-load 951.000 N"], &[]); // the channel's own
    check_pack(r#"[{"n":"rope-load","v":95100}]"#, &["0 rope-load 95100 raw"], &[]);
    // A channel in a unit that is refused is heard, but has no value: garbled, never a number.
    check_pack(r#"[{"n":"head-load","u":"kN","v":1}]"#, &["0 head-load Garbled"], &["wrong-unit"]);
    check_pack(r#"[{"n":"head-load","u":"mm","v":1}]"#, &["0 head-load Garbled"], &["wrong-unit"]);
    check_pack(
        r#"[{"n":"T1","u":"%","v":1},{"n":"head-load","u":"N","v":2}]"#,
        &["0 truss-along Garbled", "0 head-load 2.000 N"],
        &["wrong-unit"],
    );
}

#[test]
fn what_is_no_number() {
    for value in [r#""vs":"12""#, r#""vb":true"#, r#""vd":"AQI""#, r#""s":5"#] {
        check_pack(&format!(r#"[{{"n":"head-load","u":"N",{value}}}]"#), &["0 head-load Garbled"], &["not-a-number"]);
    }
    // The RFC would make a left-out value the base value: a missing reading never becomes a number.
    check_pack(r#"[{"bv":0,"n":"head-load","u":"N"}]"#, &["0 head-load Garbled"], &["not-a-number"]);
    check_pack(r#"[{"n":"head-load","u":"N","v":null}]"#, &[], &["not-understood"]);
    check_pack(r#"{"n":"head-load","u":"N","v":1}"#, &[], &["not-understood"]);
    check_pack("[]", &[], &[]);
}

#[test]
fn times() {
    let mut intake = intake();
    let mut time = |fields: &str| {
        let line = format!(r#"{{"t_ms":0,"node":"n1","senml":[{{"n":"T1","v":1,{fields}}}]}}"#);
        let taken = intake.take(&TraceLine::parse(&line).unwrap());
        match taken.inputs.first() {
            Some(Input::Packet(packet)) => Ok(packet.readings[0].node_time_s),
            _ => Err(taken.refused[0].reason),
        }
    };
    assert_eq!(time(r#""u":"deg""#), Ok(None));
    assert_eq!(time(r#""bt":1936526400.25,"t":0.5"#), Ok(Some(1_936_526_400.75)));
    assert_eq!(time(r#""t":-0.4"#), Ok(None));
    assert_eq!(time(r#""t":-1"#), Ok(None));
    assert_eq!(time(r#""t":-1.01"#), Err(Reason::Late));
    assert_eq!(time(r#""t":812.5"#), Ok(Some(812.5))); // a node that counts from its start
}

#[test]
fn records_come_in_the_order_of_their_times() {
    check_pack(
        r#"[{"n":"T1","u":"rad","t":-0.1,"v":2},{"n":"T1","u":"rad","t":-0.2,"v":1},{"n":"T1","u":"rad","v":3}]"#,
        &["0 truss-along 1.000000 rad", "0 truss-along 2.000000 rad", "0 truss-along 3.000000 rad"],
        &[],
    );
}

#[test]
fn packet_numbers() {
    let mut intake = intake();
    let mut seq = |record: &str| {
        let line = format!(r#"{{"t_ms":0,"node":"n1","senml":[{{"n":"T1","v":1}},{{"n":"seq",{record}}}]}}"#);
        match intake.take(&TraceLine::parse(&line).unwrap()).inputs.first() {
            Some(Input::Packet(packet)) => packet.seq,
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(seq(r#""u":"count","v":17"#), Some(17));
    assert_eq!(seq(r#""v":18"#), Some(18));
    for odd in [r#""u":"N","v":1"#, r#""u":"count","v":-1"#, r#""u":"count","v":1.5"#, r#""u":"count","vs":"1""#, r#""v":1e300"#] {
        assert_eq!(seq(odd), None, "{odd}");
    }
    assert_eq!(intake.counts()["n1"].values().sum::<u64>(), 5);
}

#[test]
fn xdr_names() {
    check_xdr("n2", "A,1,D,TILT", &["1 truss-along 0.017453 rad"], &[]); // by the map
    check_xdr("n2", "D,1.25,M,n2.HT", &["1 height 1.2500 m"], &[]);
    check_xdr("", "N,5,N,n1.HL,N,6,N,n2.HL,U,3.7,V,n1.BV", &["0 head-load 5.000 N", "0 battery 3.700 V", "1 head-load 6.000 N"], &[]);
    check_xdr("n2", "N,5,N,n1.HL", &[], &["other-node"]);
    check_xdr("", "N,5,N,HL", &[], &["unknown-name"]);
    check_xdr("", "N,5,N,n9.HL", &[], &["unknown-node"]);
    check_xdr("n2", "U,3.7,V,BV", &[], &["unknown-name"]); // not fitted
    check_xdr("n2", "N,5,N,head-load", &[], &["unknown-name"]); // XDR has codes
}

#[test]
fn xdr_letters_and_null_fields() {
    check_xdr("n2", "N,,N,HL,A,1,D,TA", &["1 head-load Off", "1 truss-along 0.017453 rad"], &[]);
    check_xdr("n2", "A,1,N,HL", &["1 head-load Garbled"], &["wrong-unit"]);
    check_xdr("n2", "A,1,R,TA", &["1 truss-along Garbled"], &["wrong-unit"]);
    check_xdr("n2", "N,1,,HL", &["1 head-load Garbled"], &["wrong-unit"]);
    check_xdr("n2", "N,1x,N,HL", &["1 head-load Garbled"], &["not-a-number"]);
    check_xdr("n1", "G,951,,RL", &["0 rope-load 951 raw"], &[]); // counts that the kit scales
    check_xdr("n2", "G,951,,HL", &["1 head-load Garbled"], &["wrong-unit"]);
}

#[test]
fn xdr_sentences_that_are_wrong() {
    check(r#"{"t_ms":0,"node":"n2","xdr":"$YXXDR,A,0.12,D,TA,N,982,N,HL*74"}"#, &[], &["wrong-sum"]);
    check(r#"{"t_ms":0,"node":"n2","xdr":"$YXXDR,A,0.12,D,TA"}"#, &[], &["not-understood"]);
    check_xdr("n2", &format!("A,0.{},D,TA", "1".repeat(80)), &[], &["too-long"]);
    // A stray field is told; what stood before it whole is taken.
    check_xdr("n2", "N,982,N,HL,A", &["1 head-load 982.000 N"], &["not-understood"]);
    // A missing field shifts the rest: nothing after it is taken, whatever it looks like.
    check_xdr("n2", "N,982,HL,A,0.1,D,TA,N,5,N,HL", &[], &["not-understood", "not-understood"]);
}

#[test]
fn bytes_that_are_nothing() {
    check(r#"{"t_ms":0,"node":"n1","raw":"aGVsbG8="}"#, &[], &["not-understood"]);
    check(r#"{"t_ms":0,"node":"n9","presence":"online"}"#, &[], &["unknown-node"]);
}

#[test]
fn refusals_are_counted_in_bounded_memory() {
    let mut intake = intake();
    for n in 0..10_000 {
        seen(&mut intake, &format!(r#"{{"t_ms":0,"node":"x{n}","raw":""}}"#));
    }
    seen(&mut intake, r#"{"t_ms":0,"node":"n1","raw":""}"#);
    assert!(intake.counts().len() <= 2 + NAMED + 2, "{}", intake.counts().len());
    assert_eq!(intake.counts().values().flat_map(|of| of.values()).sum::<u64>(), 10_001);
    assert_eq!(intake.counts()["n1"][&Reason::NotUnderstood], 1);
    let long = format!(r#"{{"t_ms":0,"node":"n1","senml":[{}]}}"#, vec![r#"{"n":"T1","v":1}"#; MAX_RECORDS + 1].join(","));
    assert_eq!(seen(&mut intake, &long), (vec![], vec!["too-long"]));
}

#[test]
fn people_and_links_pass() {
    let mut intake = intake();
    for line in [
        r#"{"t_ms":2000,"step":"raise","by":"lead"}"#,
        r#"{"t_ms":2100,"said":"zero","tower":"A","channel":"head-load","by":"lead"}"#,
        r#"{"t_ms":2200,"node":"n1","presence":"offline"}"#,
        r#"{"t_ms":2300,"link":"broker","state":"lost"}"#,
        r#"{"t_ms":2400,"wall":"2031-05-14T13:56:00Z"}"#,
    ] {
        let taken = intake.take(&TraceLine::parse(line).unwrap());
        assert_eq!((taken.inputs.len(), taken.refused.len()), (1, 0), "{line}");
    }
}
