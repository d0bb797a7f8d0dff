//! The plan as a grillage: pieces cut at towers and joints, joined where their ends meet, with all that hangs on them.
//!
//! Three unknowns a node: height and two slopes. A straight truss is the case of one piece: there the cradles hold the
//! rotation about its length. Elsewhere they hold none; what only spins in its cradle (a side hinged at both ends) is
//! found while solving and held there.

use crate::element::{Element, Part};
use crate::linear::Linear;
use raisewatch_protocol::plan::{Hung, Lies, Plan, Source};
use raisewatch_protocol::units::{Length, Rigidity};

/// Bending stiffness EI where the plan states none, N m². A 290 mm box truss with 50 mm chords, 1.6 to 1.9 MN m² for the
/// chords alone, less for shear and joints. Common practice, from memory. With two towers no share depends on it.
pub const ASSUMED_BENDING: Rigidity = Rigidity(1.5e6);
/// Torsional stiffness GJ where the plan states none, N m². Common practice, from memory; only rings depend on it.
pub const ASSUMED_TORSION: Rigidity = Rigidity(0.2e6);
/// Ends closer than this join, m. docs/forms.md, "Plan".
pub const JOIN_M: f64 = 0.010;

/// Why a plan has no statics.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StaticsError {
    /// Nothing to solve.
    #[error("the plan has no {0}: expected at least one")]
    Empty(&'static str),
    /// A number that is not one, or a length or stiffness that is not positive.
    #[error("{what}: expected {expected}, found {found}")]
    Number {
        /// What, and where.
        what: String,
        /// What would be right.
        expected: &'static str,
        /// What was found.
        found: f64,
    },
    /// An index or a place that is not on the plan.
    #[error("{what} is at {at_m} m: expected 0 m to {length_m} m on piece \"{piece}\"")]
    OffPiece {
        /// What.
        what: String,
        /// Where it was put, m.
        at_m: f64,
        /// Length of the piece, m.
        length_m: f64,
        /// The piece.
        piece: String,
    },
    /// Two rigid heads at one place.
    #[error("towers {a} and {b} stand at the same place: expected them apart")]
    SamePlace {
        /// One.
        a: String,
        /// The other.
        b: String,
    },
    /// Can move without any support giving way.
    #[error(
        "nothing holds the truss at piece \"{piece}\", {at_m} m: expected towers (not all in one line) or a stiff joint that hold every piece"
    )]
    Falls {
        /// The piece that moves most.
        piece: String,
        /// Where.
        at_m: f64,
    },
}

/// A stiffness that the plan does not state and that was assumed.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Assumed {
    /// The piece.
    pub piece: String,
    /// `bending` or `torsion`.
    pub what: &'static str,
    /// The value, N m².
    pub n_m2: f64,
}

/// What a tower's head rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bearing {
    /// On the lifting rope: gives by its stiffness. The tower's offset is that of the crank: where the head would stand with
    /// nothing on it.
    Rope,
    /// On a pin: gives by its stiffness. The offset is that of the pin.
    Pins,
    /// At a given height, whatever it carries: the offset is that of the head itself, as a person with a level sees it.
    Rigid,
}

/// How the lift stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// Height of the truss above the floor: the length of the cable tails.
    pub line_height: Length,
    /// What each tower's head rests on, in the plan's order.
    pub bearing: Vec<Bearing>,
}

/// Element of a piece, with the map from its ends to the unknowns.
#[derive(Clone, Debug)]
pub(crate) struct Stretch {
    pub piece: usize,
    pub x0: f64,
    pub beam: Element,
    /// For each end unknown, the unknowns it is made of.
    pub map: [Mixed; 6],
}

/// Up to two unknowns with their factor.
pub(crate) type Mixed = [(usize, f64); 2];

/// Something with a weight: one entry of the plan.
#[derive(Clone, Debug)]
pub(crate) struct Item {
    pub line: usize,
    pub piece: usize,
    pub hung: Hung,
    pub hang_m: f64,
    pub across_m: f64,
    /// Weights are per metre of height and grow with the truss.
    pub tail: bool,
}

/// A line of the load schedule: all that shares one name and one source.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Its name in the plan.
    pub name: String,
    /// Where its weight comes from.
    pub source: Source,
    /// Items in it.
    pub count: usize,
    /// Whether it grows with height.
    pub tail: bool,
}

/// A plan ready to be weighed.
#[derive(Clone, Debug)]
pub struct Model {
    pub(crate) plan: Plan,
    pub(crate) stretches: Vec<Stretch>,
    /// Unknowns in all.
    pub(crate) unknowns: usize,
    /// Unknown of each tower's height.
    pub(crate) tower_w: Vec<usize>,
    /// Unknowns that cradles hold at zero.
    pub(crate) held: Vec<usize>,
    /// Whether an unknown is a height.
    pub(crate) is_height: Vec<bool>,
    pub(crate) items: Vec<Item>,
    lines: Vec<Line>,
    assumed: Vec<Assumed>,
}

impl Model {
    /// The grillage of a plan.
    ///
    /// # Errors
    /// A plan without pieces or towers, with numbers that are not, with something off its piece, or whose towers cannot hold
    /// the truss. A plan that [`raisewatch_protocol::plan`] has read can only fail by the last.
    pub fn new(plan: &Plan) -> Result<Self, StaticsError> {
        crate::sound::check(plan)?;
        let net = crate::net::Net::new(plan);
        let mut assumed = Vec::new();
        let stretches = net.stretches(plan, &mut assumed);
        let (items, lines) = items(plan);
        let model = Model {
            plan: plan.clone(),
            stretches,
            unknowns: net.unknowns(),
            tower_w: net.tower_w(),
            held: net.held(),
            is_height: net.is_height(),
            items,
            lines,
            assumed,
        };
        // Ropes tell whether anything can fall; the others so that no later standing can surprise a lift under way.
        for bearing in [Bearing::Rope, Bearing::Pins, Bearing::Rigid] {
            model.solve(&model.on(bearing, plan.working_height))?;
        }
        Ok(model)
    }

    /// The plan that was read in.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Stiffnesses that were assumed, to be told wherever a result depends on them.
    pub fn assumed(&self) -> &[Assumed] {
        &self.assumed
    }

    /// The load schedule's lines: pieces' self-weight first, then loads, then cables.
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// All towers on the same bearing.
    pub fn on(&self, bearing: Bearing, line_height: Length) -> Standing {
        Standing { line_height, bearing: vec![bearing; self.plan.towers.len()] }
    }

    /// The whole weight, tails at this height included.
    pub fn total(&self, line_height: Length) -> raisewatch_protocol::units::Force {
        self.items.iter().map(|i| raisewatch_protocol::units::Force(i.weight_n(line_height.0))).sum()
    }

    /// What the towers carry as it stands, and all that is linear in their offsets, from one factorization.
    ///
    /// # Panics
    /// If `standing` does not name one bearing a tower (an error of ours).
    pub fn standing(&self, standing: &Standing) -> Linear {
        match self.solve(standing) {
            Ok(linear) => linear,
            // `new` has solved it on every bearing.
            Err(e) => unreachable_by_new(&e),
        }
    }

    fn solve(&self, standing: &Standing) -> Result<Linear, StaticsError> {
        assert_eq!(standing.bearing.len(), self.plan.towers.len(), "one bearing a tower");
        Linear::new(self, standing)
    }

    /// The stretch that holds `x_m` of a piece, and the place within it; `x_m` is cut to the piece.
    pub(crate) fn find(&self, piece: usize, x_m: f64) -> (usize, f64) {
        let x = x_m.clamp(0.0, self.plan.pieces[piece].length().0);
        let mut found = (0, 0.0);
        for (i, s) in self.stretches.iter().enumerate().filter(|(_, s)| s.piece == piece) {
            if x >= s.x0 || s.x0 == 0.0 {
                found = (i, (x - s.x0).clamp(0.0, s.beam.len));
            }
        }
        found
    }
}

#[allow(clippy::panic)] // our own error: `new` refuses every plan that could come here
fn unreachable_by_new(e: &StaticsError) -> ! {
    panic!("a model that was solved before: {e}")
}

impl Item {
    /// Its weight with tails of this length, N.
    pub fn weight_n(&self, line_height_m: f64) -> f64 {
        let n = match self.hung {
            Hung::Point { weight, .. } => weight.0,
            Hung::Spread { from, to, first, last } => (first.0 + last.0) / 2.0 * (to.0 - from.0),
        };
        n * self.grown(line_height_m)
    }

    fn grown(&self, line_height_m: f64) -> f64 {
        if self.tail { line_height_m } else { 1.0 }
    }

    /// What of it hangs on the stretch, weights as they are with tails of this length.
    pub fn part_on(&self, stretch: &Stretch, last: bool, line_height_m: f64) -> Option<Part> {
        if stretch.piece != self.piece {
            return None;
        }
        let (begin, end) = (stretch.x0, stretch.x0 + stretch.beam.len);
        let (grown, turn) = (self.grown(line_height_m), -self.across_m);
        match self.hung {
            Hung::Point { at, weight } => {
                let on = at.0 >= begin && (at.0 < end || (last && at.0 <= end + JOIN_M));
                let n = weight.0 * grown;
                on.then(|| Part::Point { at: (at.0 - begin).min(stretch.beam.len), n, torque: n * turn })
            }
            Hung::Spread { from, to, first, last } => {
                let (a, b) = (from.0.max(begin), to.0.min(end));
                if b <= a {
                    return None;
                }
                let q = |x: f64| grown * (first.0 + (last.0 - first.0) * (x - from.0) / (to.0 - from.0));
                let (qa, qb) = (q(a), q(b));
                Some(Part::Spread { from: a - begin, to: b - begin, first: qa, last: qb, torque_first: qa * turn, torque_last: qb * turn })
            }
        }
    }
}

impl Item {
    /// Its weight as lumps (place on the piece, N): exact for anything linear over a spread load.
    pub fn lumps(&self, line_height: Length) -> Vec<(f64, f64)> {
        let grown = self.grown(line_height.0);
        match self.hung {
            Hung::Point { at, weight } => vec![(at.0, weight.0 * grown)],
            // A stretch at a time would be exact for bent slopes too; a quarter of the load each is within 1 % of what is
            // itself a correction of a few newtons.
            Hung::Spread { from, to, first, last } => (0..4)
                .map(|i| {
                    let s = (f64::from(i) + 0.5) / 4.0;
                    let x = from.0 + (to.0 - from.0) * s;
                    (x, grown * (first.0 + (last.0 - first.0) * s) * (to.0 - from.0) / 4.0)
                })
                .collect(),
        }
    }
}

fn items(plan: &Plan) -> (Vec<Item>, Vec<Line>) {
    let mut items = Vec::new();
    let mut lines: Vec<Line> = Vec::new();
    for (piece, p) in plan.pieces.iter().enumerate() {
        lines.push(Line { name: format!("truss {}", p.id), source: p.source, count: 1, tail: false });
        let hung = Hung::Spread { from: Length(0.0), to: p.length(), first: p.weight, last: p.weight };
        items.push(Item { line: lines.len() - 1, piece, hung, hang_m: 0.0, across_m: 0.0, tail: false });
    }
    let truss = lines.len();
    for load in &plan.loads {
        let line = lines[truss..].iter().position(|l| l.name == load.name && l.source == load.source).map_or_else(
            || {
                lines.push(Line { name: load.name.clone(), source: load.source, count: 0, tail: false });
                lines.len() - 1
            },
            |i| i + truss,
        );
        lines[line].count += 1;
        items.push(Item { line, piece: load.piece, hung: load.hung, hang_m: load.hang.0, across_m: load.across.0, tail: false });
    }
    for cable in &plan.cables {
        let (hung, tail) = match cable.lies {
            Lies::Along { from, to, weight } => (Hung::Spread { from, to, first: weight, last: weight }, false),
            Lies::Coil { at, weight } => (Hung::Point { at, weight }, false),
            // N/m times the height gives N: kept as the weight of one metre.
            Lies::Tail { at, weight } => (Hung::Point { at, weight: raisewatch_protocol::units::Force(weight.0) }, true),
        };
        lines.push(Line { name: cable.name.clone(), source: cable.source, count: 1, tail });
        items.push(Item { line: lines.len() - 1, piece: cable.piece, hung, hang_m: 0.0, across_m: 0.0, tail });
    }
    (items, lines)
}
