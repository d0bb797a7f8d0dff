//! What must fit between the parts of a plan: pieces that meet, towers that stand apart, how far the heads reach.

use super::mistake::Kind;
use super::plan_read::PieceRead;
use super::plan_tower::TowerRead;
use super::table::Tab;
use crate::units::Length;

/// Ends of pieces within this distance join.
const JOIN_M: f64 = 0.010;
/// Towers nearer than this stand on each other's outriggers.
const APART_M: f64 = 0.050;

fn away(a: [Length; 2], b: [Length; 2]) -> f64 {
    (a[0].0 - b[0].0).hypot(a[1].0 - b[1].0)
}

/// Reports every piece that is not joined, end to end, with the first one.
pub(super) fn pieces_meet(top: &Tab<'_, '_>, pieces: &[PieceRead]) {
    let Some(ends) = pieces.iter().map(|p| p.ends).collect::<Option<Vec<_>>>() else { return };
    if ends.is_empty() {
        return;
    }
    let mut joined = vec![false; ends.len()];
    joined[0] = true;
    // At most one piece joins in each round that changes anything.
    for _ in 0..ends.len() {
        for i in 0..ends.len() {
            let touches = |j: usize| ends[i].iter().any(|a| ends[j].iter().any(|b| away(*a, *b) <= JOIN_M));
            joined[i] |= (0..ends.len()).any(|j| joined[j] && touches(j));
        }
    }
    for (piece, _) in pieces.iter().zip(&joined).filter(|(_, joined)| !**joined) {
        let id = piece.id.clone().unwrap_or_default();
        let found = "ends that meet no end of the other pieces";
        top.reader.tell(Kind::PieceApart, piece.span.clone(), format!("piece {id}"), found, "an end within 10 mm of another piece's end");
    }
}

/// Where the towers stand in plan, in their order; `None` for one that could not be read.
fn stands(pieces: &[PieceRead], towers: &[TowerRead]) -> Vec<Option<[Length; 2]>> {
    let stand = |t: &TowerRead| {
        let [from, to] = pieces.get(t.piece?)?.ends?;
        let length = away(from, to);
        let part = if length > 0.0 { t.at?.0 / length } else { 0.0 };
        Some([from[0] + (to[0] - from[0]) * part, from[1] + (to[1] - from[1]) * part])
    };
    towers.iter().map(stand).collect()
}

/// Reports towers at one place.
pub(super) fn towers_apart(top: &Tab<'_, '_>, pieces: &[PieceRead], towers: &[TowerRead]) {
    let stands = stands(pieces, towers);
    for (i, (tower, stand)) in towers.iter().zip(&stands).enumerate() {
        let Some(here) = stand else { continue };
        let other = stands[..i].iter().position(|s| s.is_some_and(|s| away(s, *here) < APART_M));
        if let Some(other) = other {
            let name = |t: &TowerRead| t.id.clone().unwrap_or_default();
            let found = format!("the place of tower {}", name(&towers[other]));
            top.reader.tell(
                Kind::TowersTogether,
                tower.span.clone(),
                format!("tower {}", name(tower)),
                found,
                "towers at least 50 mm apart",
            );
        }
    }
}

/// Distance of the two heads farthest apart; `None` unless two towers could be read.
pub(super) fn reach(pieces: &[PieceRead], towers: &[TowerRead]) -> Option<Length> {
    let stands: Vec<_> = stands(pieces, towers).into_iter().flatten().collect();
    let pairs = stands.iter().flat_map(|a| stands.iter().map(|b| away(*a, *b)));
    pairs.reduce(f64::max).filter(|d| *d >= APART_M).map(Length)
}
