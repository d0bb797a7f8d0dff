//! What nodes put on the wire: SenML packs and NMEA 0183 XDR sentences.

use raisewatch_protocol::words::Channel;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// One value on its way: name on the wire, channel, value, unit (none where the kit knows it).
#[derive(Clone, Debug, PartialEq)]
pub struct Sent {
    /// Name.
    pub name: String,
    /// Channel.
    pub channel: Channel,
    /// Value.
    pub value: f64,
    /// SenML unit.
    pub unit: Option<&'static str>,
}

/// Decimals worth sending. Seven significant places are more than any converter here has.
fn tidy(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// A SenML pack (RFC 8428): packet number, then one record a channel; base name the node, base time its own clock.
pub fn senml(node: &str, node_time_s: f64, seq: u64, values: &[Sent]) -> Value {
    let mut pack =
        vec![json!({ "bn": format!("{node}/"), "bt": (node_time_s * 1000.0).round() / 1000.0, "n": "seq", "u": "count", "v": seq })];
    pack.extend(values.iter().map(|sent| match sent.unit {
        Some(unit) => json!({ "n": sent.name, "u": unit, "v": tidy(sent.value) }),
        None => json!({ "n": sent.name, "v": tidy(sent.value) }),
    }));
    Value::Array(pack)
}

/// Longest sentence, from `$` to the line end. Source: NMEA 0183, 82 characters.
const LONGEST: usize = 82;

/// XDR sentences with checksum, as few as hold all values; `prefix` is `NODE.` on a shared port.
pub fn xdr(prefix: &str, values: &[Sent]) -> Vec<String> {
    let mut sentences = Vec::new();
    let mut body = String::from("YXXDR");
    for sent in values {
        let group = group(prefix, sent);
        if body.len() + group.len() + 6 > LONGEST && body.len() > 5 {
            sentences.push(closed(&body));
            body = String::from("YXXDR");
        }
        body.push_str(&group);
    }
    if body.len() > 5 {
        sentences.push(closed(&body));
    }
    sentences
}

fn group(prefix: &str, sent: &Sent) -> String {
    let (sort, unit, value) = match (sent.channel, sent.unit) {
        (_, None) => ("G", "", format!("{:.4}", sent.value)),
        (Channel::HeadLoad | Channel::RopeLoad, _) => ("N", "N", format!("{:.1}", sent.value)),
        (Channel::Height, _) => ("D", "M", format!("{:.4}", sent.value)),
        (Channel::Battery, _) => ("U", "V", format!("{:.2}", sent.value)),
        _ => ("A", "D", format!("{:.3}", sent.value.to_degrees())),
    };
    format!(",{sort},{value},{unit},{prefix}{}", sent.name)
}

fn closed(body: &str) -> String {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    let mut sentence = format!("${body}*");
    // Writing to a String cannot fail.
    let _ = write!(sentence, "{sum:02X}");
    sentence
}

/// Code of a channel in a transducer name. Source: docs/forms.md, "Wire".
pub fn code(channel: Channel) -> &'static str {
    match channel {
        Channel::TrussAlong => "TA",
        Channel::TrussAcross => "TX",
        Channel::MastAlong => "MA",
        Channel::MastAcross => "MX",
        Channel::HeadLoad => "HL",
        Channel::RopeLoad => "RL",
        Channel::Height => "HT",
        Channel::Battery => "BV",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sent(channel: Channel, value: f64, unit: &'static str) -> Sent {
        Sent { name: code(channel).to_owned(), channel, value, unit: Some(unit) }
    }

    /// Source: the example line of docs/forms.md.
    #[test]
    fn a_sentence_reads_as_the_forms_say() {
        let values = [sent(Channel::TrussAlong, 0.12_f64.to_radians(), "rad"), sent(Channel::HeadLoad, 982.0, "N")];
        assert_eq!(closed("YXXDR,A,0.12,D,TA,N,982,N,HL"), "$YXXDR,A,0.12,D,TA,N,982,N,HL*75");
        assert_eq!(xdr("", &values), ["$YXXDR,A,0.120,D,TA,N,982.0,N,HL*5B"]);
    }

    #[test]
    fn long_packets_become_several_sentences_none_too_long() {
        let values: Vec<_> = [Channel::TrussAlong, Channel::TrussAcross, Channel::MastAlong, Channel::MastAcross]
            .into_iter()
            .map(|c| sent(c, -0.123_456, "rad"))
            .chain([sent(Channel::HeadLoad, 12_345.6, "N"), sent(Channel::Height, 4.5, "m")])
            .collect();
        let sentences = xdr("stage-left.", &values);
        assert!(sentences.len() >= 2 && sentences.iter().all(|s| s.len() + 2 <= LONGEST), "{sentences:?}");
        assert_eq!(sentences.join("").matches("stage-left.").count(), values.len());
    }
}
