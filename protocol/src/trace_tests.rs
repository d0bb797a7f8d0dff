//! Tests of the lines of a trace: each shape there and back, each fault by its key, files with falling time.

use super::*;

/// Every line of docs/forms.md, "What goes in".
const SHOWN: &[&str] = &[
    r#"{"t_ms":1234.5,"node":"n1","senml":[{"n":"truss-along","u":"rad","v":0.0021},{"n":"head-load","u":"N","v":951}]}"#,
    r#"{"t_ms":1240,"node":"n2","xdr":"$YXXDR,A,0.12,D,TA,N,982,N,HL*75"}"#,
    r#"{"t_ms":2000,"step":"raise","by":"lead"}"#,
    r#"{"t_ms":2100,"said":"zero","tower":"A","channel":"head-load","by":"lead"}"#,
    r#"{"t_ms":2200,"node":"n1","presence":"offline"}"#,
    r#"{"t_ms":2300,"link":"broker","state":"lost"}"#,
    r#"{"t_ms":2400,"node":"n3","raw":"AQID"}"#,
    r#"{"t_ms":2500,"wall":"2031-05-14T13:56:00Z"}"#,
    r#"{"t_ms":2600,"said":"turn","tower":"B","value":1.0}"#,
    r#"{"t_ms":2700,"said":"note","value":"wind"}"#,
];

#[test]
fn every_shape_there_and_back() {
    for text in SHOWN {
        let line = TraceLine::parse(text).unwrap_or_else(|fault| panic!("{text}: {fault}"));
        assert_eq!(&line.to_json(), text);
        assert_eq!(serde_json::from_str::<TraceLine>(text).unwrap(), line);
    }
}

#[test]
fn the_order_of_the_keys_does_not_matter_and_null_is_absent() {
    let line = TraceLine::parse(r#" {"by":null,"channel":null,"said":"stop","tower":null,"t_ms":7.0004} "#).unwrap();
    assert_eq!(line.to_json(), r#"{"t_ms":7,"said":"stop"}"#);
    assert_eq!(Arrival::parse(r#"{"step":"rig"}"#).unwrap().0, None, "a person types no time");
}

#[test]
fn each_fault_names_its_key() {
    let check = |text: &str, key: &str, words: &[&str]| {
        let fault = TraceLine::parse(text).unwrap_err();
        let told = fault.to_string();
        assert_eq!(fault.key, key, "{told}");
        assert!(words.iter().all(|word| told.contains(word)), "{told} lacks one of {words:?}");
    };
    check(r#"{"t_ms":1,"step":"up"}"#, "step", &["test-lift", "\"up\""]);
    check(r#"{"t_ms":1,"said":"go"}"#, "said", &["known-weight", "\"go\""]);
    check(r#"{"t_ms":1,"said":"zero","channel":"load"}"#, "channel", &["head-load", "\"load\""]);
    check(r#"{"t_ms":"1","step":"rig"}"#, "t_ms", &["number", "\"1\""]);
    check(r#"{"t_ms":-1,"step":"rig"}"#, "t_ms", &["not negative", "-1"]);
    check(r#"{"step":"rig"}"#, "t_ms", &["no such key"]);
    check(r#"{"t_ms":1,"node":"n1"}"#, "t_ms", &["`senml`", "none"]);
    check(r#"{"t_ms":1,"senml":[]}"#, "node", &["id of a node", "no such key"]);
    check(r#"{"t_ms":1,"node":"","senml":[]}"#, "node", &["id of a node", "empty"]);
    check(r#"{"t_ms":1,"node":"n1","presence":"away"}"#, "presence", &["offline", "\"away\""]);
    check(r#"{"t_ms":1,"link":"broker"}"#, "state", &["lost", "no such key"]);
    check(r#"{"t_ms":1,"link":"broker","state":"gone"}"#, "state", &["back", "\"gone\""]);
    check(r#"{"t_ms":1,"wall":"noon"}"#, "wall", &["2031", "\"noon\""]);
    check(r#"{"t_ms":1,"step":"rig","who":"lead"}"#, "who", &["no such key", "`by`"]);
    check(r#"{"t_ms":1,"step":"rig","tower":"A"}"#, "tower", &["beside `step`"]);
    check(r#"{"t_ms":1,"step":"rig","said":"stop"}"#, "said", &["beside `step`", "both"]);
    check(r#"{"t_ms":1,"t_ms":2,"step":"rig"}"#, "line", &["duplicate", "t_ms"]);
    check(r#"{"t_ms":1,"step":"rig""#, "line", &["JSON", "column"]);
    check(r#"[1]"#, "line", &["object", "[1]"]);
    check(r#"{"t_ms":1,"said":"height","value":true}"#, "value", &["number or a text", "true"]);
    check(r#"{"t_ms":1,"node":"n1","senml":[{"n":"a","v":NaN}]}"#, "line", &["JSON"]);
}

#[test]
fn files_name_the_line() {
    let read = |text: &str| Lines::new(text.as_bytes()).collect::<Result<Vec<_>, _>>();
    assert_eq!(read("\n{\"t_ms\":1,\"step\":\"rig\"}\r\n\n{\"t_ms\":1,\"step\":\"raise\"}").unwrap().len(), 2);
    let falling = read("{\"t_ms\":5,\"step\":\"rig\"}\n\n{\"t_ms\":4.999,\"step\":\"rig\"}\n").unwrap_err();
    assert_eq!((falling.line, falling.key.as_str(), falling.found.as_str()), (3, "t_ms", "4.999"));
    let bad = read("{\"t_ms\":5,\"step\":\"rig\"}\n{\"t_ms\":6,\"step\":\"fly\"}\n").unwrap_err();
    assert!(bad.to_string().starts_with("line 2: `step`: expected one of rig"), "{bad}");
    let bytes: Vec<_> = Lines::new(&b"\xff\n{\"t_ms\":1,\"step\":\"rig\"}\n"[..]).collect();
    assert_eq!(bytes.iter().map(Result::is_ok).collect::<Vec<_>>(), [false, true], "one bad line does not hide the next");
}

#[test]
fn a_line_without_end_is_refused_in_bounded_memory() {
    let mut lines = Lines::new(std::io::BufReader::new(std::io::repeat(b'x')));
    assert!(lines.next().unwrap().unwrap_err().expected.contains("bytes"));
}
