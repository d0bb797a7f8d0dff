//! The real program on real pseudo-terminals: nodes that speak XDR are heard, a replug is noticed, noise is refused and
//! counted, many nodes share a port; and the recording replays to the lines that were said live.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_tests::node::{Feeder, Lift, PLAN, sentence};

/// A kit of two nodes on two ports, by names that stay.
fn kit(lift: &Lift) -> String {
    let node = |id: &str, tower: &str, at: &str| {
        let port = lift.path(id);
        format!(
            "[[node]]\nid = \"{id}\"\ntower = \"{tower}\"\nover = \"xdr\"\nport = \"{port}\"\nbaud = 115200\nrate = \"20 Hz\"\n\
             [node.channel.truss-along]\npiece = \"front\"\nat = \"{at}\"\n[node.channel.head-load]\n"
        )
    };
    format!("{}{}", node("n1", "A", "1 m"), node("n2", "B", "7 m"))
}

#[test]
fn a_replug_is_noticed_both_ways() -> anyhow::Result<()> {
    let lift = Lift::new()?;
    let mut one = Feeder::port(&lift.path("n1"), |n| sentence("", n))?;
    let two = Feeder::port(&lift.path("n2"), |n| sentence("", n))?;
    let mut watch = lift.watch(PLAN, &kit(&lift), &[])?;
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    one.has_sent(20)?;
    // Unplugged while the truss moves: the watch says so, and the port is lost once.
    drop(two);
    watch.says(&[r#""kind":"silent""#, r#""severity":"stop""#, r#""tower":"B""#, r#""state":"raised""#])?;
    watch.says(&[r#""call":"stop""#, r#""to":"B""#])?;
    // Plugged in again under its name: it is heard again, and the stop stays until it is released.
    let mut two = Feeder::port(&lift.path("n2"), |n| sentence("", n))?;
    watch.says(&[r#""kind":"silent""#, r#""tower":"B""#, r#""state":"latched""#])?;
    two.has_sent(5)?;
    watch.signal("TERM")?;
    assert!(watch.ended()?.success(), "{:?}", watch.said);
    let said = |words: &str| watch.said.iter().filter(|line| line.contains("n2") && line.contains(words)).count();
    assert_eq!((said("trying again"), said(": back")), (1, 1), "each change once:\n{}", watch.said.join("\n"));
    lift.replays_to(&watch.said)
}

#[test]
fn noise_is_refused_counted_and_drowns_nothing() -> anyhow::Result<()> {
    let lift = Lift::new()?;
    let mut one = Feeder::port(&lift.path("n1"), |n| sentence("", n))?;
    // A line that picks up noise: bytes that are no text, a wrong sum, half a sentence, a line without end, between good ones.
    let mut two = Feeder::port(&lift.path("n2"), |n| {
        let mut bytes = vec![0xff, 0x00, 0x7f, b'\n'];
        bytes.extend(b"$YXXDR,N,9999,N,HL*00\r\n$YXXDR,A,0.1");
        bytes.extend(std::iter::repeat_n(b'x', 300));
        bytes.extend(sentence("", n));
        bytes
    })?;
    let mut watch = lift.watch(PLAN, &kit(&lift), &[])?;
    // Through all that, both are heard; silence comes only when one of them really stops.
    one.has_sent(60)?;
    two.has_sent(60)?;
    assert!(!watch.drain().iter().any(|line| line.contains(r#""kind":"silent""#)), "{}", watch.said.join("\n"));
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    drop(one);
    watch.says(&[r#""kind":"silent""#, r#""tower":"A""#, r#""state":"raised""#])?;
    watch.signal("TERM")?;
    assert!(watch.ended()?.success());
    let counted = lift.replayed()?;
    let refused = counted.iter().find(|line| line.contains("refused of n2")).cloned().unwrap_or_default();
    assert!(refused.contains("wrong-sum") && refused.contains("not-understood"), "{counted:?}");
    lift.replays_to(&watch.said)
}

#[test]
fn two_nodes_share_a_port() -> anyhow::Result<()> {
    let lift = Lift::new()?;
    let mut both = Feeder::port(&lift.path("bus"), |n| [sentence("n1.", n), sentence("n2.", n)].concat())?;
    let shared = kit(&lift).replace(&lift.path("n1"), &lift.path("bus")).replace(&lift.path("n2"), &lift.path("bus"));
    let mut watch = lift.watch(PLAN, &shared, &[])?;
    both.has_sent(30)?;
    assert!(!watch.drain().iter().any(|line| line.contains(r#""kind":"silent""#)), "{}", watch.said.join("\n"));
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    drop(both);
    let first = watch.says(&[r#""kind":"silent""#, r#""state":"raised""#])?;
    let second = watch.says(&[r#""kind":"silent""#, r#""state":"raised""#])?;
    assert!(first.contains(r#""tower":"A""#) != second.contains(r#""tower":"A""#), "one of each: {first} {second}");
    watch.signal("TERM")?;
    assert!(watch.ended()?.success());
    lift.replays_to(&watch.said)
}

#[test]
fn hear_prints_what_a_port_says() -> anyhow::Result<()> {
    let lift = Lift::new()?;
    let mut port = raisewatch_tests::node::plug(&lift.path("n1"))?;
    let path = lift.path("n1");
    let mut hear = raisewatch_tests::program::Program::raisewatch(lift.folder(), &["hear", "--port", &path, "--count", "2"])?;
    hear.says(&["listening to"])?;
    assert!(port.says(b"{\"pitch\":0.12,\"load_kg\":97}\r\n$YXXDR,A,0.12,D,TA,N,982,N,HL*75\r\n"));
    hear.says(&["cannot be taken as it is"])?;
    hear.says(&["$YXXDR,"])?;
    hear.says(&["understood: XDR"])?;
    assert!(hear.ended()?.success());
    Ok(())
}
