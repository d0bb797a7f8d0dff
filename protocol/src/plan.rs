//! The plan: what is lifted, on what, how level it must stay. Keys and defaults: docs/forms.md, "Plan".
//!
//! These are the values after parsing; the reader with its messages is in the modules below.

use crate::units::{Angle, Duration, Force, Length, LineLoad, Rigidity, Speed, Stiffness};
use crate::words::Step;

/// A whole plan. Indices (`piece`, `tower`) point into its own lists.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Title of the lift.
    pub title: String,
    /// Site, one word for topics.
    pub site: String,
    /// Revision, 1 if not stated.
    pub revision: u32,
    /// Who planned it.
    pub planner: Option<String>,
    /// Units shown on pages.
    pub units: ShownUnits,
    /// Height of the heads while people work on the truss.
    pub working_height: Length,
    /// Height of the heads at trim.
    pub trim_height: Length,
    /// Speed of a head while cranking up.
    pub pace: Speed,
    /// Speed of a head while lowering; 1.4 times `pace` if not stated.
    pub pace_down: Speed,
    /// From the word to still hands; 3 s if not stated.
    pub reaction: Duration,
    /// Handling factor; 1.10 if not stated.
    pub allowance: f64,
    /// True where +y is upstage.
    pub upstage_is_y: bool,
    /// Whether people may be under it at rest.
    pub people_under_at_rest: bool,
    /// Phrase file, relative to the plan.
    pub phrases: Option<String>,
    /// Truss pieces, in plan order.
    pub pieces: Vec<Piece>,
    /// Towers, in plan order.
    pub towers: Vec<Tower>,
    /// Loads, each one item or one spread.
    pub loads: Vec<Load>,
    /// Cables on the truss and tails.
    pub cables: Vec<Cable>,
    /// How level it must stay.
    pub tolerance: Tolerance,
    /// Limits changed by a named person.
    pub overrides: Vec<Override>,
}

/// Units shown on pages.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ShownUnits {
    /// Pounds in place of kilograms.
    pub pounds: bool,
    /// Feet and inches in place of metres and millimetres.
    pub feet: bool,
}

/// Where a weight comes from, and so how far it may be off (one standard deviation as a share of the weight).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Source {
    /// Weighed: 1 %.
    Weighed,
    /// Maker's data: 2 %.
    Maker,
    /// Label: 5 %.
    Label,
    /// Guess: 20 %. The default.
    Guess,
    /// A band typed into the plan, as a share.
    Band(f64),
}

impl Source {
    /// The band as a share of the weight.
    pub fn band(self) -> f64 {
        match self {
            Source::Weighed => 0.01,
            Source::Maker => 0.02,
            Source::Label => 0.05,
            Source::Guess => 0.20,
            Source::Band(share) => share,
        }
    }
}

/// One straight piece of truss.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Id.
    pub id: String,
    /// Plan coordinates of its `from` end, m.
    pub from: [Length; 2],
    /// Plan coordinates of its `to` end, m.
    pub to: [Length; 2],
    /// Self-weight.
    pub weight: LineLoad,
    /// Source of the self-weight.
    pub source: Source,
    /// EI, where known.
    pub bending: Option<Rigidity>,
    /// GJ, where known.
    pub torsion: Option<Rigidity>,
    /// Whether the `from` end is hinged to its neighbour.
    pub hinged_from: bool,
    /// Whether the `to` end is hinged to its neighbour.
    pub hinged_to: bool,
    /// Depth of the section; 290 mm if not stated.
    pub depth: Length,
    /// Width of the section; 290 mm if not stated.
    pub width: Length,
    /// Maker's allowable loads by span, in rising span.
    pub table: Vec<TableRow>,
}

impl Piece {
    /// Length of the piece.
    pub fn length(&self) -> Length {
        Length((self.to[0].0 - self.from[0].0).hypot(self.to[1].0 - self.from[1].0))
    }
}

/// A row of the maker's table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TableRow {
    /// Span between towers.
    pub span: Length,
    /// Allowable spread load.
    pub spread: Option<LineLoad>,
    /// Allowable load at the centre.
    pub centre: Option<Force>,
}

/// One tower.
#[derive(Clone, Debug, PartialEq)]
pub struct Tower {
    /// Id, as painted.
    pub id: String,
    /// Spoken name; the id if not stated.
    pub name: String,
    /// Index into `Plan::pieces`.
    pub piece: usize,
    /// Place along the piece, from its `from` end.
    pub at: Length,
    /// Rated load by height, in rising height; one row with an endless `to` where it does not change.
    pub rated: Vec<RatedTo>,
    /// Below this it does not come down by itself.
    pub least: Force,
    /// Weight of the adapter: counts against `rated`, not in the share.
    pub adapter: Force,
    /// Height of the head collapsed; the working height if not stated.
    pub collapsed: Length,
    /// Height of the head at full extension; the trim height if not stated.
    pub full: Length,
    /// Heights of the head at which a pin goes in, rising.
    pub pins: Vec<Length>,
    /// Width of the cradle along the truss; 0 if not stated.
    pub cradle: Length,
    /// From the mast to the tipping line.
    pub footprint: Option<Length>,
    /// Weight of the tower.
    pub weight: Option<Force>,
    /// Rise of the head for one turn of the crank.
    pub per_turn: Length,
    /// Vertical stiffness on the rope; 100 N/mm if not stated.
    pub rope_stiffness: Stiffness,
    /// Vertical stiffness on the pins; 400 N/mm if not stated.
    pub pin_stiffness: Stiffness,
}

/// Rated load up to a height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatedTo {
    /// Up to this height of the head (endless: infinite).
    pub to: Length,
    /// The rated load.
    pub load: Force,
}

impl Tower {
    /// Rated load at this height of the head; the last row holds above the table.
    pub fn rated_at(&self, height: Length) -> Force {
        let row = self.rated.iter().find(|r| height.0 <= r.to.0 + 1e-9).or(self.rated.last());
        row.map_or(Force(0.0), |r| r.load)
    }
}

/// Something that hangs: one item at one place, or one spread load. `count`, `spacing` and lists are resolved.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// Name in the plan.
    pub name: String,
    /// Index into `Plan::pieces`.
    pub piece: usize,
    /// What hangs where.
    pub hung: Hung,
    /// Where its weight comes from.
    pub source: Source,
    /// How far its weight hangs below the truss line.
    pub hang: Length,
    /// How far it sits to +y of the truss line.
    pub across: Length,
}

/// A weight at a place, or spread along a stretch that may vary linearly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Hung {
    /// At one place.
    Point {
        /// From the `from` end.
        at: Length,
        /// Its weight.
        weight: Force,
    },
    /// From one place to another.
    Spread {
        /// Begin.
        from: Length,
        /// End.
        to: Length,
        /// Weight per length at the begin.
        first: LineLoad,
        /// Weight per length at the end.
        last: LineLoad,
    },
}

/// Cable: lying on the truss, or a tail that hangs to the floor.
#[derive(Clone, Debug, PartialEq)]
pub struct Cable {
    /// Name in the plan.
    pub name: String,
    /// Index into `Plan::pieces`.
    pub piece: usize,
    /// Where its weight comes from.
    pub source: Source,
    /// How it lies.
    pub lies: Lies,
}

/// How a cable lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lies {
    /// Along the truss, evenly, all runs together.
    Along {
        /// Begin.
        from: Length,
        /// End.
        to: Length,
        /// Weight per length of all runs.
        weight: LineLoad,
    },
    /// A spare coil at one place.
    Coil {
        /// Place.
        at: Length,
        /// Weight.
        weight: Force,
    },
    /// Hanging to the floor: grows with the height of the truss.
    Tail {
        /// Place.
        at: Length,
        /// Weight per length of all runs.
        weight: LineLoad,
    },
}

/// A pair of limits with the share of each below which it clears. Each limit is in the unit of its row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits<Q> {
    /// Warn limit.
    pub warn: Q,
    /// Stop limit; absent where there is none.
    pub stop: Option<Q>,
    /// Clears below this share of the limit; 0.60 if not stated.
    pub clear: f64,
}

/// One row of a tolerance: not stated (docs/trade.md section 4's row holds), switched off, or limits.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Row<Q> {
    /// Not stated: the default row holds.
    #[default]
    Default,
    /// `"none"`: switched off.
    Off,
    /// Typed.
    Typed(Limits<Q>),
}

/// A rake limit typed as a height difference or as an angle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RakeLimit {
    /// Height difference between two heads.
    Height(Length),
    /// Slope between two heads.
    Slope(Angle),
}

/// A limit typed as a force or as a share of the whole weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LoadLimit {
    /// A force.
    Force(Force),
    /// A share of the whole weight (0.05 is 5 %).
    Share(f64),
}

/// The tolerance rows of one table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ToleranceRows {
    /// Largest height difference between two heads.
    pub rake: Row<RakeLimit>,
    /// An inner head out of the chord of the ends.
    pub line: Row<Length>,
    /// Ring: one corner above the plane of the other three.
    pub twist: Row<Length>,
    /// Mast plumb.
    pub lean: Row<Angle>,
    /// Rotation about the truss.
    pub roll: Row<Angle>,
    /// Measured less expected share.
    pub share: Row<LoadLimit>,
    /// Total less planned.
    pub total: Row<LoadLimit>,
}

/// How level it must stay.
#[derive(Clone, Debug, PartialEq)]
#[allow(clippy::large_enum_variant)] // one value in a plan; a box would only burden its readers
pub enum Tolerance {
    /// Worked out by the statics.
    FromStatics,
    /// Typed, for all steps and for single ones.
    Typed {
        /// For all steps.
        all: ToleranceRows,
        /// For single steps; a row here wins.
        steps: Vec<(Step, ToleranceRows)>,
    },
}

/// A limit changed by a named person; never past never-exceed.
#[derive(Clone, Debug, PartialEq)]
pub struct Override {
    /// `step.row.warn` or `step.row.stop`.
    pub limit: String,
    /// The value as typed, with unit.
    pub value: String,
    /// Who.
    pub by: String,
    /// Why.
    pub reason: String,
}
