//! Tests of the NMEA 0183 codec: published sentences, and streams that are cut, noisy, wrong.

use super::*;
use proptest::prelude::*;

/// Every `[[valid]]` of tests/checks/nmea.toml, whose sources are named there sentence by sentence.
#[test]
fn the_published_sentences() {
    let checks: toml::Table = toml::from_str(include_str!("../../tests/checks/nmea.toml")).unwrap();
    for case in checks["valid"].as_array().unwrap() {
        let text = case["sentence"].as_str().unwrap();
        let sentence = Sentence::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert_eq!(Some(sentence.talker), case["talker"].as_str(), "{text}");
        assert_eq!(Some(sentence.stray() as i64), case["stray_fields"].as_integer(), "{text}");
        let quads: Vec<Vec<&str>> = sentence.quads().map(|q| vec![q.kind, q.value, q.unit, q.name]).collect();
        let expected: Vec<Vec<&str>> =
            case["quads"].as_array().unwrap().iter().map(|q| q.as_array().unwrap().iter().map(|f| f.as_str().unwrap()).collect()).collect();
        assert_eq!(quads, expected, "{text}");
    }
}

/// Every `[[refuse]]` of the same file: no reading, or only those before the fault, and the fault told.
#[test]
fn the_published_refusals() {
    let checks: toml::Table = toml::from_str(include_str!("../../tests/checks/nmea.toml")).unwrap();
    let refuse = checks["refuse"].as_array().unwrap();
    assert_eq!(refuse.len(), 6);
    for case in refuse {
        let text = case["sentence"].as_str().unwrap();
        let whole = Sentence::parse(text).is_ok_and(|s| s.stray() == 0 && s.readings().all(|r| r.is_ok()));
        assert!(!whole, "{text}: {}", case["why"]);
    }
    let told = |i: usize| Sentence::parse(refuse[i]["sentence"].as_str().unwrap());
    assert_eq!(told(0), Err(XdrFault::WrongSum { stated: 0x42, worked_out: 0x41 }));
    assert_eq!(told(3), Err(XdrFault::NoSum));
    assert_eq!(told(4), Err(XdrFault::NoStart));
    assert!(matches!(told(5), Err(XdrFault::TooLong { .. })));
}

#[test]
fn shifted_fields_end_the_sentence() {
    let checks = "$HCXDR,A,171,D,PITCH,A,-37,D,ROLL,G,367,,MAGX,G,2420,MAGY,G,-8984,,MAGZ*6D";
    let readings: Vec<_> = Sentence::parse(checks).unwrap().readings().collect();
    assert_eq!(readings.len(), 4, "three good groups, then the shifted one, then no more");
    assert!(readings[..3].iter().all(Result::is_ok));
    assert!(matches!(readings[3], Err(QuadFault::Shifted(q)) if q.value == "2420" && q.unit == "MAGY"));
}

#[test]
fn a_null_field_is_nothing_and_odd_numbers_are_refused() {
    let value = |text: &str| {
        let body = format!("IIXDR,N,{text},N,HL");
        let sentence = format!("${body}*{:02X}", checksum(&body));
        let all: Vec<_> = Sentence::parse(&sentence).unwrap().readings().map(|r| r.map(|(_, v)| v).ok()).collect();
        assert_eq!(all.len(), 1, "{text}");
        all[0]
    };
    assert_eq!(value(""), Some(None));
    assert_eq!(value("-0012.50"), Some(Some(-12.5)));
    assert_eq!(value("+7"), Some(Some(7.0)));
    for odd in ["inf", "nan", "1e5", "0x10", "--1", "1.2.3", ".", "-", " 1", "1 "] {
        assert_eq!(value(odd), None, "{odd}");
    }
}

#[test]
fn the_sentence_of_the_forms() {
    let sentence = Sentence::parse("$YXXDR,A,0.12,D,TA,N,982,N,HL*75\r\n").unwrap();
    let all: Vec<_> = sentence.readings().map(|r| r.map(|(q, v)| (q.name, q.kind, q.unit, v)).unwrap()).collect();
    assert_eq!(all, [("TA", "A", "D", Some(0.12)), ("HL", "N", "N", Some(982.0))]);
}

#[test]
fn other_sentences_are_named() {
    for (text, tag) in [("$GPGLL,1*4D", "GPGLL"), ("$XDR*4E", "XDR"), ("$IIXDRX*16", "IIXDRX"), ("$*00", "")] {
        assert_eq!(Sentence::parse(text).map(|_| ()), Err(XdrFault::NotXdr { tag }), "{text}");
    }
    assert!(matches!(Sentence::parse("$IIXDR,N,1,N,T\u{e9}*00"), Err(XdrFault::BadCharacter { .. })));
    assert!(matches!(Sentence::parse("$IIXDR,N,1,N,T*+1"), Err(XdrFault::NoSum)), "a sign is no hexadecimal digit");
}

fn frames(framer: &mut Framer, bytes: &[u8]) -> Vec<String> {
    let mut all = Vec::new();
    framer.feed(bytes, |frame| {
        all.push(match frame {
            Frame::Sentence(text) => text.to_owned(),
            Frame::Noise(bytes) => format!("noise:{}", bytes.len()),
        });
    });
    all
}

#[test]
fn streams() {
    let s = "$YXXDR,A,0.12,D,TA,N,982,N,HL*75";
    let check = |reads: &[&[u8]], expected: &[&str]| {
        let mut framer = Framer::default();
        let all: Vec<String> = reads.iter().flat_map(|bytes| frames(&mut framer, bytes)).collect();
        assert_eq!(all, expected);
    };
    let line = format!("{s}\r\n").into_bytes();
    check(&[&line], &[s]);
    check(&[b"\xff\x00noise", &line], &["noise:7", s]); // noise first
    check(&[&line[..9], &line[9..]], &[s]); // cut in two
    check(&[&line[..33], &line[33..]], &[s]); // cut between CR and LF
    check(&[&[line.clone(), line.clone()].concat()], &[s, s]); // two in one read
    check(&[&line[..12], &line], &["noise:12", s]); // broken off by the next
    check(&[s.as_bytes(), b"\n"], &[s]); // LF alone
    check(&[b"hello\r\n", &line], &["noise:5", s]); // text of another kind
    check(&[b"$A\xffB\r\n", &line], &["noise:4", s]); // a byte that is no text
    check(&[&[b'x'; 200], &line], &["noise:82", "noise:82", "noise:36", s]); // never ending, bounded
    let long = [b"$".as_slice(), &[b'y'; 100], b"\r\n"].concat();
    check(&[&long, &line], &["noise:82", "noise:19", s]); // too long
}

#[test]
fn a_break_gives_up_what_is_held() {
    let mut framer = Framer::default();
    assert!(frames(&mut framer, b"$YXXDR,A").is_empty());
    let mut held = 0;
    framer.broken(|frame| held += matches!(frame, Frame::Noise(bytes) if bytes.len() == 8) as usize);
    assert_eq!((held, frames(&mut framer, b"A\r\n")), (1, vec!["noise:1".to_owned()]));
}

proptest! {
    /// Any bytes, cut anywhere: nothing is lost, nothing is invented, nothing panics.
    #[test]
    fn any_bytes_are_accounted_for(bytes in prop::collection::vec(prop_oneof![any::<u8>(), Just(b'$'), Just(b'\n')], 0..400), cut in 0usize..400) {
        let (first, second) = bytes.split_at(cut.min(bytes.len()));
        let mut seen = Vec::new();
        let mut take = |frame: Frame<'_>| match frame {
            Frame::Sentence(text) => { let _ = Sentence::parse(text); seen.extend_from_slice(text.as_bytes()) }
            Frame::Noise(noise) => seen.extend_from_slice(noise),
        };
        let mut framer = Framer::default();
        framer.feed(first, &mut take);
        framer.feed(second, &mut take);
        framer.broken(&mut take);
        let plain: Vec<u8> = bytes.iter().copied().filter(|b| !b"\r\n".contains(b)).collect();
        prop_assert_eq!(seen, plain);
    }

    /// One flipped bit in a sentence never gives another reading: the sum or the form refuses it.
    #[test]
    fn one_flipped_bit_is_noticed(at in 1usize..32, bit in 0u8..7) {
        let mut bytes = b"$YXXDR,A,0.12,D,TA,N,982,N,HL*75".to_vec();
        bytes[at] ^= 1 << bit;
        if let Ok(text) = core::str::from_utf8(&bytes) {
            prop_assert!(Sentence::parse(text).is_err(), "{}", text);
        }
    }
}
