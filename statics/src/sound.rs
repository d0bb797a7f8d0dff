//! Whether a plan's numbers can be reckoned with. The plan's reader tells people with line and column; this guards the
//! sums against plans made by code.

use crate::model::StaticsError;
use raisewatch_protocol::plan::{Hung, Lies, Plan};

/// Refuses what would end in a division by zero or a number that is none.
pub(crate) fn check(plan: &Plan) -> Result<(), StaticsError> {
    if plan.pieces.is_empty() {
        return Err(StaticsError::Empty("[[piece]]"));
    }
    if plan.towers.is_empty() {
        return Err(StaticsError::Empty("[[tower]]"));
    }
    for p in &plan.pieces {
        let name = |what: &str| format!("{what} of piece \"{}\"", p.id);
        positive(name("length"), p.length().0)?;
        finite(name("weight"), p.weight.0)?;
        positive(name("bending"), p.bending.map_or(1.0, |v| v.0))?;
        positive(name("torsion"), p.torsion.map_or(1.0, |v| v.0))?;
    }
    for (i, t) in plan.towers.iter().enumerate() {
        on_piece(plan, format!("tower {}", t.id), t.piece, t.at.0)?;
        positive(format!("rope-stiffness of tower {}", t.id), t.rope_stiffness.0)?;
        positive(format!("pin-stiffness of tower {}", t.id), t.pin_stiffness.0)?;
        let place = |t: &raisewatch_protocol::plan::Tower| {
            let p = &plan.pieces[t.piece];
            let share = t.at.0 / p.length().0;
            [0, 1].map(|i| p.from[i].0 + (p.to[i].0 - p.from[i].0) * share)
        };
        let here = place(t);
        let same = plan.towers[..i].iter().find(|o| {
            let there = place(o);
            (here[0] - there[0]).hypot(here[1] - there[1]) <= crate::model::JOIN_M
        });
        if let Some(other) = same {
            return Err(StaticsError::SamePlace { a: other.id.clone(), b: t.id.clone() });
        }
    }
    for l in &plan.loads {
        let what = || format!("load \"{}\"", l.name);
        finite(format!("hang of {}", what()), l.hang.0)?;
        finite(format!("across of {}", what()), l.across.0)?;
        match l.hung {
            Hung::Point { at, weight } => {
                finite(format!("weight of {}", what()), weight.0)?;
                on_piece(plan, what(), l.piece, at.0)?;
            }
            Hung::Spread { from, to, first, last } => {
                finite(format!("weight of {}", what()), first.0 + last.0)?;
                on_piece(plan, what(), l.piece, from.0)?;
                on_piece(plan, what(), l.piece, to.0)?;
                positive(format!("length of {}", what()), to.0 - from.0)?;
            }
        }
    }
    for c in &plan.cables {
        let what = || format!("cable \"{}\"", c.name);
        let (places, weight, length) = match c.lies {
            Lies::Along { from, to, weight } => ([from.0, to.0], weight.0, to.0 - from.0),
            Lies::Coil { at, weight } => ([at.0, at.0], weight.0, 1.0),
            Lies::Tail { at, weight } => ([at.0, at.0], weight.0, 1.0),
        };
        finite(format!("weight of {}", what()), weight)?;
        positive(format!("length of {}", what()), length)?;
        for at in places {
            on_piece(plan, what(), c.piece, at)?;
        }
    }
    Ok(())
}

fn finite(what: String, found: f64) -> Result<(), StaticsError> {
    if found.is_finite() { Ok(()) } else { Err(StaticsError::Number { what, expected: "a number", found }) }
}

fn positive(what: String, found: f64) -> Result<(), StaticsError> {
    if found.is_finite() && found > 0.0 { Ok(()) } else { Err(StaticsError::Number { what, expected: "more than zero", found }) }
}

fn on_piece(plan: &Plan, what: String, piece: usize, at_m: f64) -> Result<(), StaticsError> {
    let Some(p) = plan.pieces.get(piece) else {
        return Err(StaticsError::OffPiece { what, at_m, length_m: 0.0, piece: format!("number {piece}") });
    };
    let length_m = p.length().0;
    // A place read as "26 ft 3 in" on an 8 m piece may miss the end by rounding.
    if (-1e-6..=length_m + 1e-6).contains(&at_m) {
        Ok(())
    } else {
        Err(StaticsError::OffPiece { what, at_m, length_m, piece: p.id.clone() })
    }
}
