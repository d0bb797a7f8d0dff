//! The real program at a real broker: packs are heard, what is retained is refused, a broker that goes and comes back is
//! noticed, a wrong password is told once, a flood of rubbish drowns nothing; a broker and a port at the same time.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use anyhow::Context;
use raisewatch_tests::node::{Feeder, Lift, PLAN, pack, sentence};
use raisewatch_tests::program::{Mosquitto, Program};
use rumqttc::{Client, MqttOptions, QoS};
use std::process::Command;

const SITE: &str = "harbour-lane";

fn kit(broker: &Mosquitto, more: &str) -> String {
    let node = |id: &str, tower: &str, at: &str| {
        format!(
            "[[node]]\nid = \"{id}\"\ntower = \"{tower}\"\nover = \"mqtt\"\nrate = \"20 Hz\"\n\
             [node.channel.truss-along]\npiece = \"front\"\nat = \"{at}\"\n[node.channel.head-load]\n"
        )
    };
    format!("broker = \"{}\"\n{more}\n{}{}", broker.url(), node("n1", "A", "1 m"), node("n2", "B", "7 m"))
}

/// A client of the tests, which connects again by itself for as long as it lives.
fn client(broker: &Mosquitto, id: &str, login: Option<(&str, &str)>) -> Client {
    let mut options = MqttOptions::new(id, "127.0.0.1", broker.port);
    if let Some((user, password)) = login {
        options.set_credentials(user, password);
    }
    let (client, mut wire) = Client::new(options, 64);
    std::thread::spawn(move || {
        for polled in wire.iter() {
            match polled {
                Err(rumqttc::ConnectionError::RequestsDone) => return,
                // The broker is away: not at once again.
                Err(_) => std::thread::sleep(std::time::Duration::from_millis(50)),
                Ok(_) => {}
            }
        }
    });
    client
}

fn readings(node: &str) -> String {
    format!("raisewatch/{SITE}/{node}/readings")
}

fn node(broker: &Mosquitto, id: &'static str, login: Option<(&str, &str)>) -> anyhow::Result<Feeder> {
    let client = client(broker, id, login);
    Feeder::start(move |n| {
        // Full while the broker is away: that reading is lost, as at a real node.
        let _ = client.try_publish(readings(id), QoS::AtMostOnce, false, pack(n));
        true
    })
}

/// Nodes speak in real time, so a machine that is very slow may hear a gap: until the last act a lift stays in `rig`, where
/// only half a minute is silence.
const SILENT: [&str; 2] = [r#""kind":"silent""#, r#""state":"raised""#];

#[test]
fn a_broker_that_goes_and_comes_back_is_noticed() -> anyhow::Result<()> {
    let (lift, broker) = (Lift::new()?, Mosquitto::start("")?);
    let (mut one, _two) = (node(&broker, "n1", None)?, node(&broker, "n2", None)?);
    let mut watch = lift.watch(PLAN, &kit(&broker, ""), &[])?;
    watch.has_or_says(&["broker: listening"])?;
    one.has_sent(30)?;
    assert!(!watch.drain().iter().any(|line| line.contains(SILENT[0])), "{}", watch.said.join("\n"));
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    let port = broker.port;
    broker.kill()?;
    watch.says(&SILENT)?;
    watch.says(&SILENT)?;
    let _again = Mosquitto::start_at(port, "")?;
    // Subscribed anew, nodes connected anew: both are heard, and both stops stay latched.
    watch.says(&[SILENT[0], r#""state":"latched""#])?;
    watch.says(&[SILENT[0], r#""state":"latched""#])?;
    watch.signal("TERM")?;
    assert!(watch.ended()?.success(), "{}", watch.said.join("\n"));
    assert_eq!(watch.said.iter().filter(|line| line.contains("broker: back")).count(), 1);
    lift.replays_to(&watch.said)
}

fn contains(data: &[u8], word: &str) -> bool {
    String::from_utf8_lossy(data).contains(word)
}

/// What a broker kept from yesterday must not look live.
#[test]
fn what_is_retained_is_refused() -> anyhow::Result<()> {
    let (lift, broker) = (Lift::new()?, Mosquitto::start("")?);
    for id in ["n1", "n2"] {
        broker.publish(&readings(id), &pack(1), &["-r"])?;
    }
    broker.publish(&format!("raisewatch/{SITE}/said"), r#"{"said":"release","by":"yesterday"}"#, &["-r", "-q", "1"])?;
    let mut watch = lift.watch(PLAN, &kit(&broker, "said = true"), &[])?;
    watch.has_or_says(&["broker: listening"])?;
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    watch.says(&[r#""kind":"never-heard""#, r#""severity":"stop""#, r#""state":"raised""#])?;
    watch.signal("TERM")?;
    assert!(watch.ended()?.success(), "{}", watch.said.join("\n"));
    let bytes = std::fs::read(lift.recording()?)?;
    let of = |channel: &str| -> anyhow::Result<Vec<String>> {
        let all = mcap::MessageStream::new(&bytes)?.collect::<Result<Vec<_>, _>>()?;
        let of = all.iter().filter(|message| message.channel.topic == channel);
        Ok(of.map(|message| String::from_utf8_lossy(&message.data).into_owned()).collect())
    };
    let refused = of("refused")?;
    assert_eq!(refused.iter().filter(|line| line.contains(r#""reason":"retained""#)).count(), 3, "{refused:?}");
    assert!(!of("input")?.iter().any(|line| line.contains("senml") || line.contains("yesterday")));
    Ok(())
}

#[test]
fn a_wrong_password_is_told_once_and_a_right_one_is_taken() -> anyhow::Result<()> {
    let lift = Lift::new()?;
    let passwords = lift.path("passwords");
    let made = Command::new("mosquitto_passwd").args(["-b", "-c", &passwords, "crew", "right-one"]).status();
    assert!(made.context("mosquitto_passwd (tests/setup)")?.success());
    let broker = Mosquitto::start(&format!("allow_anonymous false\npassword_file {passwords}"))?;
    let wrong = [("RAISEWATCH_MQTT_USER", "crew"), ("RAISEWATCH_MQTT_PASSWORD", "wrong-one")];
    let mut watch = lift.watch(PLAN, &kit(&broker, ""), &wrong)?;
    let told = watch.has_or_says(&["broker", "refuses the connection"])?;
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    watch.says(&[r#""kind":"never-heard""#, r#""severity":"stop""#])?;
    watch.signal("TERM")?;
    watch.ended()?;
    let times = watch.said.iter().filter(|line| line.contains("broker: the broker refuses")).count();
    assert_eq!(times, 1, "each change once, not each try: {told}");
    assert!(!watch.said.iter().any(|line| line.contains("wrong-one")), "a password is never printed");

    // The same by the kit's login-file, with the right one.
    let lift = Lift::new()?;
    std::fs::write(lift.path("broker.login"), "crew\nright-one\n")?;
    let mut one = node(&broker, "n1", Some(("crew", "right-one")))?;
    let mut watch = lift.watch(PLAN, &kit(&broker, "login-file = \"broker.login\""), &[])?;
    watch.has_or_says(&["broker: listening"])?;
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    watch.says(&[r#""kind":"never-heard""#, r#""severity":"stop""#, r#""tower":"B""#])?;
    one.has_sent(5)?;
    watch.signal("TERM")?;
    assert!(watch.ended()?.success());
    let bytes = std::fs::read(lift.recording()?)?;
    let heard = mcap::MessageStream::new(&bytes)?
        .filter_map(Result::ok)
        .any(|message| message.channel.topic == "input" && contains(&message.data, "senml"));
    assert!(heard, "with the right password n1 is heard");
    Ok(())
}

#[test]
fn a_flood_of_rubbish_drowns_nothing() -> anyhow::Result<()> {
    let (lift, broker) = (Lift::new()?, Mosquitto::start("")?);
    let (mut one, mut two) = (node(&broker, "n1", None)?, node(&broker, "n2", None)?);
    let mut watch = lift.watch(PLAN, &kit(&broker, ""), &[])?;
    watch.has_or_says(&["broker: listening"])?;
    one.has_sent(10)?;
    let flood = client(&broker, "flood", None);
    let huge = "x".repeat(300 * 1024);
    for n in 0..1000 {
        let rubbish = [
            (readings("n1"), "hello".to_owned()),
            (readings("n1"), r#"{"load":951}"#.to_owned()),
            (readings("n2"), r#"[{"n":"n1/head-load","u":"N","v":1}]"#.to_owned()),
            (readings("n2"), r#"[{"n":"head-load","u":"kN","v":1}]"#.to_owned()),
            (readings(&format!("x{n}")), pack(n)),
            (format!("raisewatch/{SITE}/n1/presence"), "maybe".to_owned()),
        ];
        for (topic, text) in rubbish {
            flood.publish(topic, QoS::AtMostOnce, false, text)?;
        }
        if n % 200 == 0 {
            flood.publish(readings("n1"), QoS::AtMostOnce, false, huge.clone())?;
        }
    }
    one.has_sent(20)?;
    two.has_sent(20)?;
    assert!(!watch.drain().iter().any(|line| line.contains(SILENT[0])), "{}", watch.said.join("\n"));
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    drop(two);
    // Still watching after the flood.
    watch.says(&[SILENT[0], SILENT[1], r#""tower":"B""#])?;
    watch.signal("TERM")?;
    assert!(watch.ended()?.success(), "{}", watch.said.join("\n"));
    let counted = lift.replayed()?;
    for words in [
        ["refused of n1", "not-understood"],
        ["refused of n2", "other-node"],
        ["refused of n2", "wrong-unit"],
        ["(others)", "unknown-node"],
    ] {
        assert!(counted.iter().any(|line| words.iter().all(|word| line.contains(word))), "{words:?} not in {counted:?}");
    }
    lift.replays_to(&watch.said)
}

#[test]
fn a_broker_and_a_port_at_the_same_time() -> anyhow::Result<()> {
    let (lift, broker) = (Lift::new()?, Mosquitto::start("")?);
    let mut one = node(&broker, "n1", None)?;
    let mut two = Feeder::port(&lift.path("n2"), |n| sentence("", n))?;
    let port = format!("over = \"xdr\"\nport = \"{}\"\nbaud = 115200", lift.path("n2"));
    let kit = kit(&broker, "");
    let (first, second) = kit.split_once("id = \"n2\"").context("the kit has two nodes")?;
    let mut watch = lift.watch(PLAN, &format!("{first}id = \"n2\"{}", second.replace("over = \"mqtt\"", &port)), &[])?;
    watch.has_or_says(&["broker: listening"])?;
    one.has_sent(30)?;
    two.has_sent(30)?;
    assert!(!watch.drain().iter().any(|line| line.contains(SILENT[0])), "{}", watch.said.join("\n"));
    watch.types(r#"{"step":"raise","by":"lead"}"#)?;
    drop(one);
    watch.says(&[SILENT[0], SILENT[1], r#""tower":"A""#])?;
    drop(two);
    watch.has_or_says(&[SILENT[0], SILENT[1], r#""tower":"B""#])?;
    watch.signal("TERM")?;
    assert!(watch.ended()?.success(), "{}", watch.said.join("\n"));
    lift.replays_to(&watch.said)
}

#[test]
fn presence_and_words_come_from_the_broker() -> anyhow::Result<()> {
    let (lift, broker) = (Lift::new()?, Mosquitto::start("")?);
    let (mut one, _two) = (node(&broker, "n1", None)?, node(&broker, "n2", None)?);
    let mut watch = lift.watch(PLAN, &kit(&broker, "said = true"), &[])?;
    watch.has_or_says(&["broker: listening"])?;
    one.has_sent(5)?;
    let said = format!("raisewatch/{SITE}/said");
    broker.publish(&said, r#"{"said":"stop","by":"Mara"}"#, &["-q", "1"])?;
    watch.says(&[r#""kind":"stop-said""#, r#""state":"raised""#])?;
    broker.publish(&said, r#"{"said":"go"}"#, &["-q", "1"])?;
    broker.publish(&format!("raisewatch/{SITE}/n1/presence"), "offline", &[])?;
    broker.publish(&said, r#"{"said":"stop","by":"Ivo"}"#, &["-q", "1"])?;
    one.has_sent(5)?;
    watch.signal("TERM")?;
    assert!(watch.ended()?.success(), "{}", watch.said.join("\n"));
    lift.replays_to(&watch.said)
}

#[test]
fn hear_prints_what_a_broker_carries() -> anyhow::Result<()> {
    let (lift, broker) = (Lift::new()?, Mosquitto::start("")?);
    let mut hear = Program::raisewatch(lift.folder(), &["hear", "--broker", &broker.url(), "--count", "3"])?;
    hear.says(&["listening to #"])?;
    broker.publish("raisewatch/hall/n1/readings", &pack(1), &[])?;
    hear.says(&["understood: SenML"])?;
    hear.says(&["[[node]]"])?;
    broker.publish("lab/box3/state", r#"{"tilt":0.3,"kg":92}"#, &[])?;
    hear.says(&["cannot be taken as it is"])?;
    hear.says(&["raisewatch/SITE/box3/readings"])?;
    broker.publish("raisewatch/hall/n1/presence", "online", &["-r"])?;
    hear.says(&["understood: presence"])?;
    assert!(hear.ended()?.success());
    Ok(())
}
