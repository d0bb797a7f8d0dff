//! Plans made by code, in the units of the worked shows.
#![allow(dead_code, missing_docs)] // each test uses its own part of it

use raisewatch_protocol::plan::{
    Cable, Hung, Lies, Load, Piece, Plan, RatedTo, Row, ShownUnits, Source, TableRow, Tolerance, ToleranceRows, Tower,
};
use raisewatch_protocol::units::{Duration, Force, Length, LineLoad, POUND_KG, Rigidity, STANDARD_GRAVITY, Speed, Stiffness};

pub const G: f64 = STANDARD_GRAVITY;

pub fn kg(kg: f64) -> Force {
    Force::from_kg(kg)
}

pub fn lb(lb: f64) -> Force {
    Force::from_kg(lb * POUND_KG)
}

pub fn plan() -> Plan {
    Plan {
        title: "test".into(),
        site: "test".into(),
        revision: 1,
        planner: None,
        units: ShownUnits::default(),
        working_height: Length(1.2),
        trim_height: Length(5.0),
        pace: Speed(0.025),
        pace_down: Speed(0.035),
        reaction: Duration(3.0),
        allowance: 1.10,
        upstage_is_y: true,
        people_under_at_rest: false,
        phrases: None,
        pieces: vec![],
        towers: vec![],
        loads: vec![],
        cables: vec![],
        tolerance: Tolerance::FromStatics,
        overrides: vec![],
    }
}

pub fn piece(id: &str, from: [f64; 2], to: [f64; 2], kg_per_m: f64, ei: f64, gj: f64) -> Piece {
    Piece {
        id: id.into(),
        from: from.map(Length),
        to: to.map(Length),
        weight: LineLoad(kg_per_m * G),
        source: Source::Maker,
        bending: Some(Rigidity(ei)),
        torsion: Some(Rigidity(gj)),
        hinged_from: false,
        hinged_to: false,
        depth: Length(0.29),
        width: Length(0.29),
        table: vec![],
    }
}

pub fn tower(id: &str, piece: usize, at: f64) -> Tower {
    Tower {
        id: id.into(),
        name: id.into(),
        piece,
        at: Length(at),
        rated: vec![RatedTo { to: Length(f64::INFINITY), load: lb(500.0) }],
        least: lb(15.0),
        adapter: Force(0.0),
        collapsed: Length(1.2),
        full: Length(5.2),
        pins: vec![Length(2.6), Length(4.2), Length(5.0)],
        cradle: Length(0.0),
        footprint: Some(Length(0.75)),
        weight: Some(kg(65.0)),
        per_turn: Length(0.025),
        rope_stiffness: Stiffness(100e3),
        pin_stiffness: Stiffness(400e3),
    }
}

pub fn point(name: &str, piece: usize, at: f64, weight: Force) -> Load {
    Load {
        name: name.into(),
        piece,
        hung: Hung::Point { at: Length(at), weight },
        source: Source::Weighed,
        hang: Length(0.0),
        across: Length(0.0),
    }
}

pub fn spread(name: &str, piece: usize, from: f64, to: f64, n_per_m: f64) -> Load {
    let q = LineLoad(n_per_m);
    let hung = Hung::Spread { from: Length(from), to: Length(to), first: q, last: q };
    Load { name: name.into(), piece, hung, source: Source::Weighed, hang: Length(0.0), across: Length(0.0) }
}

pub fn along(name: &str, from: f64, to: f64, weight: Force, source: Source) -> Cable {
    Cable {
        name: name.into(),
        piece: 0,
        source,
        lies: Lies::Along { from: Length(from), to: Length(to), weight: LineLoad(weight.0 / (to - from)) },
    }
}

/// Worked example 1, "Harbour Lane AGM", as docs/forms.md prints it.
pub fn harbour_lane() -> Plan {
    let mut p = plan();
    let mut front = piece("front", [0.0, 0.0], [8.0, 0.0], 8.5, 1.7e6, 0.2e6);
    front.table = vec![TableRow { span: Length(6.0), spread: Some(LineLoad(118.0 * G)), centre: Some(kg(354.0)) }];
    p.pieces = vec![front];
    p.towers = vec![tower("A", 0, 1.0), tower("B", 0, 7.0)];
    for t in &mut p.towers {
        t.cradle = Length(0.36);
    }
    for at in [0.4, 1.8, 3.2, 4.8, 6.2, 7.6] {
        let mut l = point("wash", 0, at, kg(10.4));
        l.hang = Length(0.45);
        p.loads.push(l);
    }
    for at in [2.5, 5.5] {
        let mut l = point("spot", 0, at, kg(25.6));
        (l.hang, l.source) = (Length(0.5), Source::Label);
        p.loads.push(l);
    }
    p.cables = vec![
        along("multicore", 0.0, 8.0, kg(7.7), Source::Guess),
        along("data and links", 0.0, 8.0, kg(4.9), Source::Guess),
        Cable { name: "tails".into(), piece: 0, source: Source::Guess, lies: Lies::Tail { at: Length(7.5), weight: LineLoad(2.34 * G) } },
    ];
    p
}

/// Worked example 2, "Kestrel Gala": 410 kg at 3.2 m of 6, hanging 0.45 m.
pub fn kestrel() -> Plan {
    let mut p = plan();
    p.pieces = vec![piece("front", [0.0, 0.0], [6.0, 0.0], 0.0, 1.7e6, 0.2e6)];
    p.towers = vec![tower("A", 0, 0.0), tower("B", 0, 6.0)];
    for t in &mut p.towers {
        t.cradle = Length(0.36);
    }
    let mut l = point("all", 0, 3.2, kg(410.0));
    l.hang = Length(0.45);
    p.loads = vec![l];
    p
}

/// Worked example 3, "Tanners' Yard": three towers 5 m apart.
pub fn tanners(kg_per_m: f64, point_kg: f64) -> Plan {
    let mut p = plan();
    p.pieces = vec![piece("front", [0.0, 0.0], [10.0, 0.0], kg_per_m, 1.5e6, 0.2e6)];
    p.towers = vec![tower("A", 0, 0.0), tower("B", 0, 5.0), tower("C", 0, 10.0)];
    p.loads = vec![point("point", 0, 2.5, kg(point_kg))];
    p
}

/// Worked example 4, "Moorgate Reveal": a 6 × 4 m frame, 468 kg; what is said to be symmetric is spread so.
pub fn moorgate(hinged: bool) -> Plan {
    let mut p = plan();
    let corners = [[0.0, 0.0], [6.0, 0.0], [6.0, 4.0], [0.0, 4.0]];
    for (i, id) in ["front", "right", "back", "left"].into_iter().enumerate() {
        // 180 kg of truss and 50 kg of cable over 20 m.
        let mut side = piece(id, corners[i], corners[(i + 1) % 4], 230.0 / 20.0, 1.5e6, 0.2e6);
        side.hinged_to = hinged;
        p.pieces.push(side);
    }
    for (i, id) in ["A", "B", "C", "D"].into_iter().enumerate() {
        p.towers.push(tower(id, i, 0.0));
        // Blocks 36 kg and eight washes 88 kg, symmetric: a quarter at each corner.
        p.loads.push(point("block", i, 0.0, kg(9.0)));
        p.loads.push(point("washes", i, 0.0, kg(22.0)));
    }
    p.loads.push(point("projector", 0, 4.5, kg(54.0)));
    p.loads.push(point("banner", 2, 3.0, kg(60.0)));
    p
}

/// Worked example 6, "Old Malthouse Folk Night"; tower B at `b`.
pub fn malthouse(b: f64) -> Plan {
    let mut p = plan();
    p.pieces = vec![piece("front", [0.0, 0.0], [5.0, 0.0], 6.0, 1.5e6, 0.2e6)];
    p.towers = vec![tower("A", 0, 0.5), tower("B", 0, b)];
    p.loads = vec![point("screen", 0, 4.7, kg(45.0))];
    p.cables = vec![Cable { name: "cable".into(), piece: 0, source: Source::Guess, lies: Lies::Coil { at: Length(2.5), weight: kg(8.0) } }];
    p
}

/// All rows left to their defaults.
pub fn default_rows() -> ToleranceRows {
    ToleranceRows { rake: Row::Default, ..ToleranceRows::default() }
}

/// Within half a percent of the whole weight or half the last printed digit, whichever is larger.
#[track_caller]
pub fn near(what: &str, found: f64, printed: f64, half_digit: f64, whole: f64) {
    let tolerance = half_digit.max(0.005 * whole);
    assert!((found - printed).abs() <= tolerance, "{what}: printed {printed}, found {found}, tolerance {tolerance}");
}
