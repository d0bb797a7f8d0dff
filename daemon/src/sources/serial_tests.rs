//! Tests of the serial source over pseudo-terminals: noise, cuts, a port that goes and comes back.

use super::*;
use crate::clock::Clock;
use crate::inlet::Arrived;
use raisewatch_protocol::kit::Node;
use serialport::{SerialPort, TTYPort};
use std::io::Write;
use tokio::sync::mpsc::Receiver;

const SENTENCE: &str = "$YXXDR,A,0.12,D,TA,N,982,N,HL*75";

/// The node's end of a pair, and a link by a stable name to the daemon's end.
fn plug(name: &std::path::Path) -> (TTYPort, TTYPort) {
    let (node, ours) = TTYPort::pair().unwrap();
    let _ = std::fs::remove_file(name);
    std::os::unix::fs::symlink(ours.name().unwrap(), name).unwrap();
    (node, ours)
}

/// The next thing the source says, within ten seconds.
async fn next(outlet: &mut Receiver<Arrived>) -> String {
    let arrived = tokio::time::timeout(std::time::Duration::from_secs(10), outlet.recv()).await;
    match arrived.expect("nothing came").expect("the source ended") {
        Arrived::Line { line, .. } => match line.what {
            Arrival::Xdr { node, xdr } => format!("{node}:{xdr}"),
            Arrival::Raw { node, raw } => format!("{node}:raw:{}", BASE64_STANDARD.decode(raw).unwrap().len()),
            Arrival::Link { state, .. } => format!("{state:?}"),
            other => format!("{other:?}"),
        },
        Arrived::Refused { refusal, .. } => refusal.to_string(),
    }
}

#[tokio::test]
async fn noise_cuts_and_a_port_that_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("usb-node");
    let (inlet, mut outlet) = Inlet::new(Clock::real());
    let source = SerialSource { port: name.display().to_string(), baud: 9600, node: "n2".into() };
    let task = tokio::spawn(source.run(inlet));
    // Not there yet: said once, however often it is tried.
    assert_eq!(next(&mut outlet).await, "Lost");
    let (mut node, ours) = plug(&name);
    node.write_all(b"\xff\xfe junk").unwrap();
    node.write_all(&SENTENCE.as_bytes()[..10]).unwrap();
    assert_eq!(next(&mut outlet).await, "Back");
    assert_eq!(next(&mut outlet).await, "n2:raw:7");
    node.write_all(format!("{}\r\n{SENTENCE}\r\n", &SENTENCE[10..]).as_bytes()).unwrap();
    assert_eq!(next(&mut outlet).await, format!("n2:{SENTENCE}"));
    assert_eq!(next(&mut outlet).await, format!("n2:{SENTENCE}"));
    // Unplugged in the middle of a sentence: what came of it is told, and the port is lost once.
    node.write_all(b"$YXXDR,A").unwrap();
    node.flush().unwrap();
    drop(node);
    drop(ours);
    let mut after = vec![next(&mut outlet).await];
    if after[0] != "Lost" {
        after.push(next(&mut outlet).await);
    }
    assert_eq!(after.last().unwrap(), "Lost", "{after:?}");
    let (mut node, _ours) = plug(&name);
    node.write_all(format!("{SENTENCE}\r\n").as_bytes()).unwrap();
    assert_eq!(next(&mut outlet).await, "Back");
    assert_eq!(next(&mut outlet).await, format!("n2:{SENTENCE}"));
    drop(outlet);
    node.write_all(format!("{SENTENCE}\r\n").as_bytes()).unwrap();
    assert_eq!(task.await.unwrap(), Closed);
}

#[test]
fn nodes_on_one_port_share_it() {
    let node =
        |id: &str, over| Node { id: id.into(), tower: "A".into(), over, rate_hz: 10.0, still_rate_hz: 10.0, map: vec![], channels: vec![] };
    let xdr = |port: &str| Transport::Xdr { port: port.into(), baud: 19_200 };
    let nodes = vec![node("n1", xdr("/dev/a")), node("n2", xdr("/dev/b")), node("n3", Transport::Mqtt), node("n4", xdr("/dev/a"))];
    let kit = Kit { broker: None, own_broker: false, login_file: None, said: false, nodes };
    let sources = of_kit(&kit);
    let seen: Vec<_> = sources.iter().map(|s| (s.port.as_str(), s.node.as_str(), s.baud)).collect();
    assert_eq!(seen, [("/dev/a", "", 19_200), ("/dev/b", "n2", 19_200)]);
}
