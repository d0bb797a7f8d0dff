//! The load sheet: all that the crew chief wants to know the evening before, in numbers; printed elsewhere.

use crate::faults::{Fault, Verdict};
use crate::lift::{Shape, Station, stations};
use crate::linear::Linear;
use crate::model::{Assumed, Bearing, Model, StaticsError};
use crate::rake::{Reach, TwoTowers};
use crate::schedule::{Banded, Doubt, ScheduleLine, doubts};
use crate::stability::Stability;
use crate::tolerance::{StepLimits, limits};
use crate::truss::{Diagram, Span};
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::units::Length;
use serde::Serialize;

/// A load sheet. Towers, pieces and lines are told by their index in the plan's order.
#[derive(Clone, Debug, Serialize)]
pub struct Sheet {
    /// Title of the lift.
    pub title: String,
    /// Revision of the plan.
    pub revision: u32,
    /// Whether it may be lifted, and why not.
    pub verdict: Verdict,
    /// How the towers stand in plan.
    pub shape: Shape,
    /// Offsets of the cranks that the sheet was asked for, m; all zero but for a what-if.
    pub offsets_m: Vec<f64>,
    /// The load schedule.
    pub schedule: Vec<ScheduleLine>,
    /// The whole weight at working height.
    pub total_working: Banded,
    /// The whole weight at trim.
    pub total_trim: Banded,
    /// Centre of all that hangs at trim, plan coordinates, m.
    pub centre_m: Option<[f64; 2]>,
    /// Through the lift.
    pub stations: Vec<StationSheet>,
    /// By tower, worst of the lift.
    pub towers: Vec<TowerSheet>,
    /// What one millimetre of each tower's offset does to each share at trim: `[share][offset]`, N per mm.
    pub per_mm: PerMm,
    /// Two towers: what rake does, at working height and at trim.
    pub rake: Option<[TwoTowers; 2]>,
    /// Two towers: shares at some rakes.
    pub raked: Vec<Raked>,
    /// Three and more: how far each head may stand out of line before something gives, nearest first.
    pub reaches: Vec<Reach>,
    /// Ring: shares with one tower slack.
    pub three_legs: Vec<ThreeLegs>,
    /// Frame: level shares at trim between which the truth lies where the corners' stiffness is not known; `None` for a
    /// straight truss and where hinged corners would not hold.
    pub bounds: Option<Bounds>,
    /// Spans with sag, end slopes, moments, and the check against the maker's table, at trim on the ropes.
    pub spans: Vec<Span>,
    /// Moments, shear and height along each piece at trim on the ropes.
    pub diagrams: Vec<Diagram>,
    /// Limits by step.
    pub limits: StepLimits,
    /// Weights whose band moves a share most, most first.
    pub doubts: Vec<Doubt>,
    /// Stiffnesses that the plan does not state.
    pub assumed: Vec<Assumed>,
}

/// Shares at one height.
#[derive(Clone, Debug, Serialize)]
pub struct StationSheet {
    /// Where.
    #[serde(flatten)]
    pub station: Station,
    /// The whole weight, N.
    pub total_n: f64,
    /// By tower.
    pub towers: Vec<TowerAt>,
    /// True where the truss tips: towers that only push cannot hold it.
    pub tips: bool,
}

/// One tower at one height.
#[derive(Clone, Debug, Serialize)]
pub struct TowerAt {
    /// Share, N; negative where it would have to pull.
    pub share: Banded,
    /// Share with towers that only push, N.
    pub pushed_n: f64,
    /// Rating at this height, N.
    pub rated_n: f64,
    /// (share + adapter) / rating.
    pub use_static: f64,
    /// (allowance × share + adapter) / rating.
    pub use_allowance: f64,
    /// (allowance × (share + band) + adapter) / rating.
    pub use_band: f64,
    /// How far the head settles under its share, m.
    pub settles_m: f64,
}

/// One tower over the whole lift.
#[derive(Clone, Debug, Serialize)]
pub struct TowerSheet {
    /// Id.
    pub id: String,
    /// Spoken name.
    pub name: String,
    /// Index of its piece.
    pub piece: usize,
    /// Place along it, m.
    pub at_m: f64,
    /// Place in plan coordinates, m.
    pub place_m: [f64; 2],
    /// Index of the station where it is used most.
    pub worst: usize,
    /// Index of the station where it carries least.
    pub lightest: usize,
    /// What it must carry to come down by itself, N.
    pub least_n: f64,
    /// Height of the heads at which the growing tails bring it to its rating with the allowance, m; `None` where they do not
    /// within its reach.
    pub full_at_m: Option<f64>,
    /// The same for twice its least load.
    pub light_at_m: Option<f64>,
    /// How it stands at trim.
    pub stability: Stability,
}

/// Sensitivity in the three ways a head can bear.
#[derive(Clone, Debug, Serialize)]
pub struct PerMm {
    /// By the cranks, on ropes.
    pub rope: Vec<Vec<f64>>,
    /// By the pins.
    pub pins: Vec<Vec<f64>>,
    /// By the heads themselves.
    pub heads: Vec<Vec<f64>>,
}

/// Two towers raked.
#[derive(Clone, Debug, Serialize)]
pub struct Raked {
    /// Rake, degrees; the second tower high.
    pub deg: f64,
    /// Height difference, m.
    pub difference_m: f64,
    /// Shares by hanging weights alone, N.
    pub shares_n: [f64; 2],
    /// Share of each tower as the higher with cradles on edge, N.
    pub on_edge_n: [f64; 2],
    /// What the masts are drawn together, m.
    pub portal_m: f64,
}

/// A frame's shares with corners and sides rigid on equal ropes, and with every corner hinged, N.
#[derive(Clone, Debug, Serialize)]
pub struct Bounds {
    /// A rigid frame on its ropes.
    pub rigid_n: Vec<f64>,
    /// Each side a beam on two supports.
    pub hinged_n: Vec<f64>,
}

/// A ring with one tower slack.
#[derive(Clone, Debug, Serialize)]
pub struct ThreeLegs {
    /// The slack tower.
    pub slack: usize,
    /// Shares, N; negative where the truss would rock.
    pub shares_n: Vec<f64>,
    /// The tower used most then.
    pub worst: usize,
    /// Its use, without the allowance.
    pub use_static: f64,
}

impl Sheet {
    /// The load sheet of a plan.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn new(plan: &Plan) -> Result<Self, StaticsError> {
        Self::at(plan, &vec![0.0; plan.towers.len()])
    }

    /// The load sheet with cranks at these offsets (m, one a tower): a what-if.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn at(plan: &Plan, offsets_m: &[f64]) -> Result<Self, StaticsError> {
        let model = Model::new(plan)?;
        let mut sheet = Self::figures(&model, offsets_m, true);
        crate::faults::judge(&model, &mut sheet);
        crate::cures::find(plan, offsets_m, &mut sheet.verdict);
        Ok(sheet)
    }

    /// Faults of a plan without looking for cures.
    pub(crate) fn faults(plan: &Plan, offsets_m: &[f64]) -> Result<Vec<Fault>, StaticsError> {
        let model = Model::new(plan)?;
        let mut sheet = Self::figures(&model, offsets_m, false);
        crate::faults::judge(&model, &mut sheet);
        Ok(sheet.verdict.faults)
    }

    /// The figures; without `whole` only those on which the verdict rests, for the many tries of a search for cures.
    fn figures(model: &Model, offsets_m: &[f64], whole: bool) -> Self {
        let plan = model.plan();
        let trim = model.standing(&model.on(Bearing::Rope, plan.trim_height));
        let schedule = if whole { model.schedule(&trim) } else { Vec::new() };
        let stations: Vec<StationSheet> = stations(plan).into_iter().map(|s| station(model, s, offsets_m)).collect();
        let per_mm = |bearing| -> Vec<Vec<f64>> {
            if !whole {
                return Vec::new();
            }
            let l = model.standing(&model.on(bearing, plan.trim_height));
            l.share_per_offset.iter().map(|row| row.iter().map(|v| v / 1000.0).collect()).collect()
        };
        let rake = model.two_towers(plan.working_height).zip(model.two_towers(plan.trim_height)).map(|(a, b)| [a, b]);
        let checked = whole || plan.pieces.iter().any(|p| !p.table.is_empty());
        let diagrams = if checked { model.diagrams(&trim, offsets_m) } else { Vec::new() };
        let limits = limits(plan, model);
        Sheet {
            title: plan.title.clone(),
            revision: plan.revision,
            verdict: Verdict::default(),
            shape: model.shape(),
            offsets_m: offsets_m.to_vec(),
            total_working: model.banded_total(plan.working_height),
            total_trim: model.banded_total(plan.trim_height),
            centre_m: model.centre_m(plan.trim_height),
            towers: towers(model, &stations),
            stations,
            per_mm: PerMm { rope: per_mm(Bearing::Rope), pins: per_mm(Bearing::Pins), heads: per_mm(Bearing::Rigid) },
            raked: rake.as_ref().map_or_else(Vec::new, |r| raked(model, &r[1])),
            rake,
            reaches: limits.reaches.clone(),
            three_legs: three_legs(model, &trim),
            bounds: if whole { bounds(model) } else { None },
            spans: model.spans_of(&diagrams),
            diagrams,
            limits,
            doubts: doubts(&schedule),
            schedule,
            assumed: model.assumed().to_vec(),
        }
    }
}

fn station(model: &Model, station: Station, offsets_m: &[f64]) -> StationSheet {
    let plan = model.plan();
    let linear = model.standing(&model.on(station.bearing, Length(station.height_m)));
    let (shares, heads, stood) = (linear.shares(offsets_m), linear.heads(offsets_m), linear.stood(offsets_m));
    let banded = model.banded_shares(&linear);
    let towers = (plan.towers.iter().enumerate())
        .map(|(i, t)| {
            let (rated, adapter) = (t.rated_at(Length(station.height_m)).0, t.adapter.0);
            let uses = |n: f64| (n + adapter) / rated;
            let share = Banded { n: shares[i], ..banded[i] };
            TowerAt {
                share,
                pushed_n: stood.shares_n[i],
                rated_n: rated,
                use_static: uses(share.n),
                use_allowance: uses(plan.allowance * share.n),
                use_band: uses(plan.allowance * (share.n + share.sigma_n)),
                settles_m: offsets_m[i] - heads[i],
            }
        })
        .collect();
    StationSheet { total_n: linear.total_n, station, towers, tips: stood.tips }
}

fn towers(model: &Model, stations: &[StationSheet]) -> Vec<TowerSheet> {
    let plan = model.plan();
    (plan.towers.iter().enumerate())
        .map(|(i, t)| {
            let by = |value: &dyn Fn(&TowerAt) -> f64| {
                // Of equals the first: the lowest height says most.
                let best =
                    (0..stations.len()).rev().max_by(|&a, &b| value(&stations[a].towers[i]).total_cmp(&value(&stations[b].towers[i])));
                best.unwrap_or(0)
            };
            let (worst, lightest) = (by(&|t| t.use_allowance), by(&|t| -t.share.n));
            let at_trim = stations.iter().rfind(|s| s.station.on == "rope").map_or(0.0, |s| s.towers[i].share.n);
            let (full_at_m, light_at_m) = by_height(model, i, stations);
            TowerSheet {
                full_at_m,
                light_at_m,
                id: t.id.clone(),
                name: t.name.clone(),
                piece: t.piece,
                at_m: t.at.0,
                place_m: model.place(t.piece, t.at.0),
                worst,
                lightest,
                least_n: t.least.0,
                stability: model.stability(i, at_trim, plan.trim_height.0),
            }
        })
        .collect()
}

/// Heights at which a tower is full or too light, by tails alone (linear in the height) and by ratings that fall with it.
fn by_height(model: &Model, i: usize, stations: &[StationSheet]) -> (Option<f64>, Option<f64>) {
    let (plan, t) = (model.plan(), &model.plan().towers[i]);
    let on_rope: Vec<_> = stations.iter().filter(|s| s.station.on == "rope").collect();
    let (Some(low), Some(high)) = (on_rope.first(), on_rope.last()) else { return (None, None) };
    let (h0, h1) = (low.station.height_m, high.station.height_m);
    let (r0, r1) = (low.towers[i].share.n, high.towers[i].share.n);
    let per_m = if h1 > h0 { (r1 - r0) / (h1 - h0) } else { 0.0 };
    let reach = t.full.0.max(h1);
    // Each stretch of one rating: from the end of the row below to its own.
    let mut full = None;
    let mut begin = h0;
    for row in &t.rated {
        let end = row.to.0.min(reach);
        let most = crate::lift::most_share(plan, t, Length(end)).0;
        let at = if r0 + per_m * (begin - h0) > most { begin } else { h0 + (most - r0) / per_m };
        if full.is_none() && end >= begin && at >= begin && at <= end {
            full = Some(at);
        }
        begin = begin.max(end);
    }
    let light = if r0 < 2.0 * t.least.0 { h0 } else { h0 + (2.0 * t.least.0 - r0) / per_m };
    (full, Some(light).filter(|h| *h >= h0 && *h <= reach))
}

/// Shares at 1, 2 and 5 degrees: what the statics say beside what the cradle may do.
fn raked(model: &Model, two: &TwoTowers) -> Vec<Raked> {
    let linear = model.standing(&model.on(Bearing::Rigid, Length(two.height_m)));
    [1.0_f64, 2.0, 5.0]
        .into_iter()
        .map(|deg| {
            let rad = deg.to_radians();
            let shift = two.hanging_n_per_rad * rad.tan();
            let level = [linear.level_shares_n[0], linear.level_shares_n[1]];
            Raked {
                deg,
                difference_m: two.span_m * rad.sin(),
                shares_n: [level[0] - shift, level[1] + shift],
                on_edge_n: [0, 1].map(|i| level[i] + shift + two.edge_n[i]),
                portal_m: two.span_m * (1.0 - rad.cos()),
            }
        })
        .collect()
}

fn bounds(model: &Model) -> Option<Bounds> {
    if model.shape() != Shape::Ring {
        return None;
    }
    let shares = |change: &dyn Fn(&mut raisewatch_protocol::plan::Piece)| {
        let mut plan = model.plan().clone();
        plan.pieces.iter_mut().for_each(change);
        let m = Model::new(&plan).ok()?;
        Some(m.standing(&m.on(Bearing::Rope, plan.trim_height)).level_shares_n)
    };
    // A million times the stiffness of a strong truss is rigid beside any rope, and leaves the sums their digits.
    let stiff = Some(raisewatch_protocol::units::Rigidity(1e12));
    Some(Bounds { rigid_n: shares(&|p| (p.bending, p.torsion) = (stiff, stiff))?, hinged_n: shares(&|p| p.hinged_to = true)? })
}

fn three_legs(model: &Model, trim: &Linear) -> Vec<ThreeLegs> {
    let plan = model.plan();
    if model.shape() != Shape::Ring {
        return Vec::new();
    }
    (0..plan.towers.len())
        .filter_map(|slack| {
            let shares_n = trim.slack(slack)?;
            let uses = |i: usize| (shares_n[i] + plan.towers[i].adapter.0) / plan.towers[i].rated_at(plan.trim_height).0;
            let worst = (0..shares_n.len()).max_by(|&a, &b| uses(a).total_cmp(&uses(b)))?;
            Some(ThreeLegs { slack, use_static: uses(worst), worst, shares_n })
        })
        .collect()
}
