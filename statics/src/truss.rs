//! The truss itself: moments and shear along it against the maker's table typed into the plan, sag, end slopes.
//!
//! A table tells what a truss of a span carries evenly spread or at its centre; so it is known to take the moment `q L²/8`
//! or `F L/4` and the shear `q L/2` or `F/2`. A span between two rows takes the longer row's figures; one beyond the last
//! row is not covered: nothing is extrapolated. Tables are of payload: the truss's own moment is allowed on top.

use crate::linear::Linear;
use crate::model::{JOIN_M, Model};
use serde::Serialize;

/// Moment, shear and height along a piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Diagram {
    /// Index of the piece.
    pub piece: usize,
    /// Places, m from its `from` end.
    pub x_m: Vec<f64>,
    /// Bending moment, N m, sagging positive.
    pub moment_nm: Vec<f64>,
    /// Shear dM/dx, N.
    pub shear_n: Vec<f64>,
    /// Height above the level line, m.
    pub height_m: Vec<f64>,
    /// Slope, rad.
    pub slope_rad: Vec<f64>,
}

/// One span between supports, or an overhang.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Span {
    /// Index of the piece.
    pub piece: usize,
    /// Begin, m from the piece's `from` end.
    pub from_m: f64,
    /// End, m.
    pub to_m: f64,
    /// True where only one end is held.
    pub overhang: bool,
    /// Largest sagging moment, N m, and its place, m.
    pub sagging: Peak,
    /// Largest hogging moment (negative), N m, and its place, m.
    pub hogging: Peak,
    /// Largest shear, N, and its place, m.
    pub shear: Peak,
    /// Sag below the line between its ends (below the held end's height for an overhang), m, and its place.
    pub sag: Peak,
    /// Slope at its begin and end, rad.
    pub end_slopes_rad: [f64; 2],
    /// What the maker's table allows; `None`: no table, or it does not reach this span.
    pub allowed: Option<Allowed>,
    /// Why not checked, where it is not.
    pub unchecked: Option<&'static str>,
}

/// A largest value and where.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Peak {
    /// The value.
    pub value: f64,
    /// Where, m from the piece's `from` end.
    pub at_m: f64,
}

/// What the table allows on a span, the truss's own weight added.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Allowed {
    /// Span of the row used, m.
    pub row_m: f64,
    /// Moment of the row's loads, N m.
    pub payload_moment_nm: f64,
    /// The same and the truss's own, N m.
    pub moment_nm: f64,
    /// Shear of the row's loads and the truss's own, N.
    pub shear_n: f64,
    /// Largest moment over what is allowed.
    pub moment_use: f64,
    /// Largest shear over what is allowed.
    pub shear_use: f64,
}

/// Places between two stations; fine enough that a peak between them is off by less than 0.1 %.
const STEPS: usize = 48;

impl Model {
    /// Moments, shear, heights along each piece as it stands at these offsets.
    pub fn diagrams(&self, linear: &Linear, offsets_m: &[f64]) -> Vec<Diagram> {
        let lying = linear.lying(offsets_m);
        (0..self.plan.pieces.len())
            .map(|piece| {
                let x_m = self.places(piece);
                let at: Vec<_> = x_m.iter().map(|x| lying.at(piece, *x)).collect();
                Diagram {
                    piece,
                    moment_nm: at.iter().map(|a| a.moment_nm).collect(),
                    shear_n: at.iter().map(|a| a.shear_n).collect(),
                    height_m: at.iter().map(|a| a.w_m).collect(),
                    slope_rad: at.iter().map(|a| a.slope_rad).collect(),
                    x_m,
                }
            })
            .collect()
    }

    /// Places worth looking at: evenly between stations, and on both sides of whatever makes a jump.
    fn places(&self, piece: usize) -> Vec<f64> {
        let len = self.plan.pieces[piece].length().0;
        let mut x: Vec<f64> = Vec::new();
        for s in self.stretches.iter().filter(|s| s.piece == piece) {
            x.extend((0..=STEPS).map(|i| s.x0 + s.beam.len * i as f64 / STEPS as f64));
            // The end of a stretch is the begin of the next: just before it is where the shear is largest.
            x.push(s.x0 + s.beam.len - 1e-7);
        }
        for item in self.items.iter().filter(|i| i.piece == piece) {
            if let raisewatch_protocol::plan::Hung::Point { at, .. } = item.hung {
                x.extend([at.0, at.0 + 1e-7]);
            }
        }
        x.retain(|v| (0.0..=len).contains(v));
        x.sort_by(f64::total_cmp);
        x.dedup();
        x
    }

    /// Spans and overhangs of all pieces with what they carry, checked against the maker's table.
    pub fn spans(&self, linear: &Linear, offsets_m: &[f64]) -> Vec<Span> {
        self.spans_of(&self.diagrams(linear, offsets_m))
    }

    /// The same from diagrams that are there.
    pub(crate) fn spans_of(&self, diagrams: &[Diagram]) -> Vec<Span> {
        let mut spans = Vec::new();
        for d in diagrams {
            let held = self.held_at(d.piece);
            let len = self.plan.pieces[d.piece].length().0;
            let mut cuts = vec![0.0];
            cuts.extend(held.iter().copied().filter(|x| *x > JOIN_M && *x < len - JOIN_M));
            cuts.push(len);
            for pair in cuts.windows(2) {
                let is_held = |x: f64| held.iter().any(|h| (h - x).abs() <= JOIN_M);
                let overhang = !(is_held(pair[0]) && is_held(pair[1]));
                spans.push(self.span(d, pair[0], pair[1], overhang, is_held(pair[0])));
            }
        }
        spans
    }

    /// Where a piece is held: at its towers and where it joins another.
    fn held_at(&self, piece: usize) -> Vec<f64> {
        let mut held: Vec<f64> = self.plan.towers.iter().filter(|t| t.piece == piece).map(|t| t.at.0).collect();
        let mine: Vec<_> = self.stretches.iter().filter(|s| s.piece == piece).collect();
        for s in mine {
            for (end, x) in [(0, s.x0), (3, s.x0 + s.beam.len)] {
                let node = s.map[end][0].0;
                let shared = self.stretches.iter().any(|o| o.piece != piece && (o.map[0][0].0 == node || o.map[3][0].0 == node));
                if shared || self.tower_w.contains(&node) {
                    held.push(x);
                }
            }
        }
        held.sort_by(f64::total_cmp);
        held.dedup_by(|a, b| (*a - *b).abs() <= JOIN_M);
        held
    }

    fn span(&self, d: &Diagram, from_m: f64, to_m: f64, overhang: bool, from_held: bool) -> Span {
        let inside: Vec<usize> = (0..d.x_m.len()).filter(|&i| d.x_m[i] >= from_m - 1e-9 && d.x_m[i] <= to_m + 1e-9).collect();
        let best = |value: &dyn Fn(usize) -> f64| {
            let i = inside.iter().copied().max_by(|&a, &b| value(a).total_cmp(&value(b)));
            i.map_or_else(Peak::default, |i| Peak { value: value(i), at_m: d.x_m[i] })
        };
        let least = |values: &[f64]| {
            let p = best(&|i| -values[i]);
            Peak { value: -p.value, ..p }
        };
        let (first, last) = (inside.first().copied().unwrap_or(0), inside.last().copied().unwrap_or(0));
        let chord = |i: usize| {
            let (a, b) = (d.height_m[first], d.height_m[last]);
            match (overhang, from_held) {
                (false, _) => a + (b - a) * (d.x_m[i] - from_m) / (to_m - from_m),
                (true, true) => a,
                (true, false) => b,
            }
        };
        let sagging = best(&|i| d.moment_nm[i]);
        let hogging = least(&d.moment_nm);
        let shear = best(&|i| d.shear_n[i].abs());
        let largest = sagging.value.max(-hogging.value);
        let (allowed, unchecked) = self.allowed(d.piece, to_m - from_m, overhang, largest, shear.value);
        Span {
            piece: d.piece,
            from_m,
            to_m,
            overhang,
            sagging,
            hogging,
            shear,
            sag: best(&|i| chord(i) - d.height_m[i]),
            end_slopes_rad: [d.slope_rad[first], d.slope_rad[last]],
            allowed,
            unchecked,
        }
    }

    fn allowed(&self, piece: usize, span_m: f64, overhang: bool, moment_nm: f64, shear_n: f64) -> (Option<Allowed>, Option<&'static str>) {
        let p = &self.plan.pieces[piece];
        if p.table.is_empty() {
            return (None, Some("no maker's table in the plan"));
        }
        // An overhang has a table of its own with the maker; here it is held to the shortest span's moment and shear.
        let row = if overhang { p.table.first() } else { p.table.iter().find(|r| span_m <= r.span.0 + JOIN_M) };
        let Some(row) = row else {
            return (None, Some("longer than the maker's table reaches"));
        };
        let l = row.span.0;
        let both = |spread: f64, centre: f64| {
            let of = [row.spread.map(|q| q.0 * spread), row.centre.map(|f| f.0 * centre)];
            of.into_iter().flatten().fold(None, |m: Option<f64>, v| Some(m.map_or(v, |m| m.min(v))))
        };
        let most = |spread: f64, centre: f64| {
            let of = [row.spread.map(|q| q.0 * spread), row.centre.map(|f| f.0 * centre)];
            of.into_iter().flatten().fold(0.0, f64::max)
        };
        // The smaller of the two moments: each row's figures may be set by something else than bending. Shear is only
        // known from the larger.
        let Some(payload) = both(l * l / 8.0, l / 4.0) else {
            return (None, Some("the table's row has no load"));
        };
        let own = p.weight.0 * l;
        let (moment, shear) = (payload + own * l / 8.0, most(l / 2.0, 0.5) + own / 2.0);
        let allowed = Allowed {
            row_m: l,
            payload_moment_nm: payload,
            moment_nm: moment,
            shear_n: shear,
            moment_use: moment_nm / moment,
            shear_use: shear_n / shear,
        };
        (Some(allowed), None)
    }
}
