//! Tests of what a publish is taken for. The broker itself is in the tests across crates.

use super::*;

fn publish(topic: &str, payload: &str, retain: bool) -> Publish {
    let mut publish = Publish::new(topic, QoS::AtMostOnce, payload.to_owned());
    publish.retain = retain;
    publish
}

fn seen(topic: &str, payload: &str, retain: bool) -> String {
    match understood("hall", true, &publish(topic, payload, retain)) {
        Ok(Some(what)) => TraceLine { t_ms: Mono(0), what }.to_json(),
        Ok(None) => "nothing".into(),
        Err(refusal) => refusal.reason.word().into(),
    }
}

#[test]
fn what_a_publish_is() {
    let check =
        |topic: &str, payload: &str, retain, expected: &str| assert_eq!(seen(topic, payload, retain), expected, "{topic} {payload}");
    let readings = "raisewatch/hall/n1/readings";
    check(readings, r#"[{"n":"height","u":"m","v":1.5}]"#, false, r#"{"t_ms":0,"node":"n1","senml":[{"n":"height","u":"m","v":1.5}]}"#);
    check(readings, r#"[{"n":"height","u":"m","v":1.5}]"#, true, "retained");
    check(readings, "hello", false, r#"{"t_ms":0,"node":"n1","raw":"aGVsbG8="}"#);
    check(readings, "", false, r#"{"t_ms":0,"node":"n1","raw":""}"#);
    check(readings, r#"[{"n":"a","v":NaN}]"#, false, r#"{"t_ms":0,"node":"n1","raw":"W3sibiI6ImEiLCJ2IjpOYU59XQ=="}"#);
    check(readings, &"x".repeat(MAX_PAYLOAD + 1), false, "too-long");
    let presence = "raisewatch/hall/n1/presence";
    for payload in ["online", "\"online\"", " online\n", r#"{"presence":"online"}"#] {
        check(presence, payload, true, r#"{"t_ms":0,"node":"n1","presence":"online"}"#);
    }
    check(presence, "", true, "nothing");
    check(presence, "away", false, r#"{"t_ms":0,"node":"n1","raw":"YXdheQ=="}"#);
    let said = "raisewatch/hall/said";
    check(said, r#"{"said":"stop","by":"Mara"}"#, false, r#"{"t_ms":0,"said":"stop","by":"Mara"}"#);
    check(said, r#"{"t_ms":5,"step":"raise"}"#, false, r#"{"t_ms":0,"step":"raise"}"#);
    check(said, r#"{"said":"release"}"#, true, "retained");
    check(said, r#"{"said":"go"}"#, false, "not-understood");
    check(said, r#"{"node":"n1","presence":"online"}"#, false, "not-allowed");
    check("raisewatch/hall/call/readings", "[]", false, "unknown-name");
    let refused = understood("hall", false, &publish(said, r#"{"said":"stop"}"#, false));
    assert_eq!(refused.unwrap_err().reason, Reason::NotAllowed);
}

#[test]
fn a_long_payload_is_kept_in_part() {
    let Ok(Some(Arrival::Raw { raw, .. })) = understood("hall", true, &publish("raisewatch/hall/n1/readings", &"x".repeat(9000), false))
    else {
        panic!("expected raw bytes")
    };
    assert_eq!(BASE64_STANDARD.decode(raw).unwrap().len(), KEPT);
}

#[test]
fn a_pack_reads_again_as_it_was_judged() {
    for n in 0..2000u64 {
        let number = f64::from_bits(0x3ff0_0000_0000_0000 + n * 0x0000_1234_5678_9abc);
        let pack = settled(serde_json::from_str(&format!("[{{\"n\":\"height\",\"v\":{number:?}}}]")).unwrap());
        let again: serde_json::Value = serde_json::from_str(&pack.to_string()).unwrap();
        assert_eq!(again, pack, "{number:?}");
    }
}
