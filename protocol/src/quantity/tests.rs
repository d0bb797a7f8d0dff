use super::*;

fn si<Q: Measure>(text: &str) -> f64 {
    read::<Q>(text).unwrap_or_else(|f| panic!("{text}: found {}; expected {}", f.found, f.expected)).si()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * b.abs().max(1e-12)
}

#[test]
fn the_ways_people_write_lengths() {
    for (text, m) in [
        ("12m", 12.0),
        ("12 metres", 12.0),
        (" 1.2 m ", 1.2),
        ("25 mm", 0.025),
        ("1 1/8 in", 1.125 * 0.0254),
        ("1/8 in", 0.125 * 0.0254),
        ("1⅛ in", 1.125 * 0.0254),
        ("½ in", 0.0127),
        ("6 ft 6 in", 1.9812), // checks/units.toml, conversion
        ("6' 6\"", 1.9812),
        ("6'6\"", 1.9812),
        ("6 ft 6 1/2 in", 78.5 * 0.0254),
        ("-6 ft 6 in", -1.9812),
        ("− 0.5 m", -0.5),
        ("+.5 m", 0.5),
        ("1e3 mm", 1.0),
        ("1.5e-1 m", 0.15),
        ("2 yd", 1.8288),
    ] {
        assert!(near(si::<Length>(text), m), "{text}");
    }
}

#[test]
fn every_measure_has_its_units() {
    assert!(near(si::<Force>("500 lb"), 500.0 * 0.45359237 * 9.80665));
    assert!(near(si::<Force>("2.5 kN"), 2500.0));
    assert!(near(si::<Force>("2 lb 8 oz"), 2.5 * 0.45359237 * 9.80665));
    assert!(near(si::<Force>("1 t"), 9806.65));
    assert!(near(si::<LineLoad>("0.62 kg/m"), 0.62 * 9.80665));
    assert!(near(si::<LineLoad>("2.34 kg/m"), 2.34 * 9.80665));
    assert!(near(si::<LineLoad>("12 lb/ft"), 12.0 * 14.593_902_937_206_364));
    assert!(near(si::<LineLoad>("0.62 kg per metre"), 0.62 * 9.80665));
    assert!(near(si::<LineLoad>("30 N/m"), 30.0));
    assert!(near(si::<Stiffness>("100 N/mm"), 1e5));
    for ei in ["1.7 MN m2", "1.7 MN m^2", "1.7 MN·m²", "1.7MNm2", "1700 kN m2", "1700 kNm²", "200 GPa 850 cm4"] {
        let found = read::<Rigidity>(ei);
        assert_eq!(found.is_ok(), !ei.contains("850"), "{ei}: {found:?}");
        assert!(found.map_or(true, |r| near(r.0, 1.7e6)), "{ei}");
    }
    assert!(near(si::<Rigidity>("2 GPa cm4"), 20.0));
    assert!(near(si::<Angle>("0.5 deg"), 0.5_f64.to_radians()) && near(si::<Angle>("-10°"), -(10.0_f64.to_radians())));
    assert!(near(si::<Angle>("5 mrad"), 0.005));
    assert!(near(si::<Speed>("25 mm/s"), 0.025) && near(si::<Speed>("5 ft/min"), 0.0254));
    assert!(near(si::<Duration>("12 h"), 43_200.0) && near(si::<Duration>("1 h 30 min"), 5400.0));
    assert!(near(si::<Frequency>("20 Hz"), 20.0) && near(si::<Frequency>("2 /s"), 2.0));
    assert!(near(si::<Voltage>("3600 mV"), 3.6));
    assert!(near(si::<Share>("5 %"), 0.05) && near(si::<Share>("60%"), 0.6));
}

#[test]
fn what_is_not_a_quantity_says_why() {
    use Kind::*;
    for (text, kind) in [
        ("", Empty),
        ("  ", Empty),
        ("heavy", NoNumber),
        ("m 12", NoNumber),
        ("--3 mm", NoNumber),
        ("NaN m", NoNumber),
        ("inf m", NoNumber),
        (".", NoNumber),
        ("1/0 in", NoUnit),
        ("12", NoUnit),
        ("6 ft 6", NoUnit),
        ("1,5 m", Comma),
        ("1,500 mm", Comma),
        ("12 furlong", UnknownUnit),
        ("12 Kg", UnknownUnit),
        ("12 m/", UnknownUnit),
        ("12 m//s", UnknownUnit),
        ("12 m9", UnknownUnit),
        ("12 m0", UnknownUnit),
        ("12 ²", UnknownUnit),
        ("1 ton", AmbiguousUnit),
        ("1 M", AmbiguousUnit),
        ("6 in 6 ft", NotAdding),
        ("6 ft -6 in", NotAdding),
        ("6 ft 6 kg", NotAdding),
        ("6 m 6 m", NotAdding),
        ("1e999 m", NotFinite),
        ("5000 m", TooLarge),
        ("5 kg", WrongDimension),
        ("5 m2", WrongDimension),
        ("5 %", WrongDimension),
    ] {
        let found = read::<Length>(text);
        let kind_found = found.as_ref().err().map(|f| f.kind);
        assert!(kind_found == Some(kind) || (text == "1/0 in" && kind_found.is_some()), "{text}: {found:?}");
    }
    assert_eq!(read::<Length>("12 Kg").unwrap_err().expected, "perhaps `kg`: a length, as \"1.2 m\"");
    // A length is never taken for a force, nor a mass for a length; only a mass is weighed.
    assert_eq!(read::<Force>("5 m").unwrap_err().kind, WrongDimension);
    assert_eq!(read::<Force>("5 kg/m").unwrap_err().kind, WrongDimension);
    assert_eq!(read::<Speed>("25 mm").unwrap_err().kind, WrongDimension);
}

proptest::proptest! {
    #[test]
    fn arbitrary_text_never_panics(text in ".{0,40}") {
        let _ = parse(&text);
    }

    #[test]
    fn near_quantities_never_panic(text in "[-+−]?[0-9 ]{0,3}[./½,e]{0,2}[0-9]{0,3} ?(kg|m|mm|ft|in|'|\"|N|%|/|\\^|²| |-|9){0,6}") {
        let _ = parse(&text);
    }

    /// What is printed in a unit reads back as itself.
    #[test]
    fn a_decimal_in_metres_reads_back(mm in -900_000_i64..900_000) {
        let text = format!("{} m", mm as f64 / 1000.0);
        proptest::prop_assert!((si::<Length>(&text) - mm as f64 / 1000.0).abs() < 1e-12);
    }
}
