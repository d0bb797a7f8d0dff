//! The truss as an elastic body: beams that bend and twist, joined at their ends, resting on the towers' heads.
//!
//! Everything small is linear, so the body is solved once for each thing that can act (a head moved by a metre, the
//! planned load, a newton here or there) and kept as columns of influence. Solved here in the simulator's own words: the
//! watch's statics must not be its own judge.
//!
//! Degrees of freedom at each place: `z`, and the two gradients of `z` along the plan's axes.

use nalgebra::{DMatrix, DVector};
use raisewatch_protocol::plan::{Hung, Lies, Piece, Plan};

/// A place on a piece, m from its `from` end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Index of the piece.
    pub piece: usize,
    /// Along it, m.
    pub at_m: f64,
}

/// What something that acts does to everything that is looked at.
#[derive(Clone, Debug)]
pub struct Influence {
    /// Upward force of each tower on the truss, N per unit.
    pub share: Vec<f64>,
    /// Height of each watched place, m per unit.
    pub z: Vec<f64>,
    /// Slope along its piece at each watched place, rad per unit.
    pub along: Vec<f64>,
    /// Slope across its piece at each watched place, rad per unit.
    pub across: Vec<f64>,
}

/// The solved body.
#[derive(Clone, Debug)]
pub struct Truss {
    /// A head moved up by one metre; per tower.
    pub head: Vec<Influence>,
    /// The whole planned load without tails.
    pub load: Influence,
    /// One metre of each tail hanging free; per tail, in plan order.
    pub tail: Vec<Influence>,
    /// One newton upwards at each watched place.
    pub point: Vec<Influence>,
    /// A joint that opens at each watched place: the slope after it greater by a radian than the slope before it.
    pub kink: Vec<Influence>,
    /// One newton metre about the across axis in the middle of each piece (`to` end pressed down).
    pub moment: Vec<Influence>,
    /// Weight times hang of what hangs rigidly from each piece, N m.
    pub hanging_nm: Vec<f64>,
    /// Whether all pieces lie on one line.
    pub in_line: bool,
}

/// Why a truss cannot be solved.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("the truss of plan \"{title}\" cannot stand on its towers: it can move freely")]
pub struct Loose {
    title: String,
}

/// What the plan leaves open, from the depth of the section. Source: 290 mm box truss 1.7 MN m² and 0.2 MN m², common
/// practice, no source; EI grows with the square of the depth.
fn rigidity(piece: &Piece, softer: f64) -> (f64, f64) {
    let ratio = (piece.depth.0 / 0.29).powi(2);
    let bending = piece.bending.map_or(1.7e6 * ratio, |r| r.0);
    let torsion = piece.torsion.map_or(0.2e6 * ratio, |r| r.0);
    (bending * softer, torsion * softer)
}

struct Mesh<'a> {
    plan: &'a Plan,
    freedoms: usize,
}

/// Degrees of freedom of one end of an element: indices of z, dz/dx, dz/dy.
type Joint = [usize; 3];

struct Body {
    stiffness: DMatrix<f64>,
    joints: Vec<Vec<(f64, Joint)>>,
    towers: Vec<usize>,
}

/// Places nearer to each other than this are one: a beam of a tenth of a millimetre would be so stiff that nothing is left of
/// the numbers (a piece of 4.9998 m whose middle is not quite at the lamp that hangs at 2.5 m).
const SAME_PLACE_M: f64 = 1e-3;
/// Ends of pieces within this join. Source: docs/forms.md, "Plan".
const JOIN_M: f64 = 0.010;

fn direction(piece: &Piece) -> (f64, f64) {
    let length = piece.length().0;
    ((piece.to[0].0 - piece.from[0].0) / length, (piece.to[1].0 - piece.from[1].0) / length)
}

fn places_of(plan: &Plan, index: usize, watched: &[Place]) -> Vec<f64> {
    let length = plan.pieces[index].length().0;
    let mut places = vec![0.0, length, length / 2.0];
    places.extend(plan.towers.iter().filter(|t| t.piece == index).map(|t| t.at.0));
    places.extend(watched.iter().filter(|p| p.piece == index).map(|p| p.at_m));
    for load in plan.loads.iter().filter(|l| l.piece == index) {
        match load.hung {
            Hung::Point { at, .. } => places.push(at.0),
            Hung::Spread { from, to, .. } => places.extend([from.0, to.0]),
        }
    }
    for cable in plan.cables.iter().filter(|c| c.piece == index) {
        match cable.lies {
            Lies::Along { from, to, .. } => places.extend([from.0, to.0]),
            Lies::Coil { at, .. } | Lies::Tail { at, .. } => places.push(at.0),
        }
    }
    places.iter_mut().for_each(|p| *p = p.clamp(0.0, length));
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < SAME_PLACE_M);
    places
}

impl<'a> Mesh<'a> {
    /// Numbers the degrees of freedom; ends that meet share `z`, and their gradients too unless one is hinged.
    fn number(plan: &'a Plan, watched: &[Place]) -> (Self, Vec<Vec<(f64, Joint)>>) {
        let mut freedoms = 0;
        let mut take = |n: usize| {
            freedoms += n;
            freedoms - n
        };
        let mut corners: Vec<([f64; 2], Joint)> = Vec::new();
        let mut joints = Vec::new();
        for (index, piece) in plan.pieces.iter().enumerate() {
            let places = places_of(plan, index, watched);
            let last = places.len() - 1;
            let row = places
                .iter()
                .enumerate()
                .map(|(i, &at)| {
                    let ends = [(0, &piece.from, piece.hinged_from), (last, &piece.to, piece.hinged_to)];
                    let Some((_, corner, hinged)) = ends.into_iter().find(|(end, ..)| *end == i) else {
                        let z = take(3);
                        return (at, [z, z + 1, z + 2]);
                    };
                    let here = [corner[0].0, corner[1].0];
                    let met = corners.iter().find(|(there, _)| (there[0] - here[0]).hypot(there[1] - here[1]) <= JOIN_M);
                    let joint = match met {
                        Some((_, joint)) if hinged => {
                            let own = take(2);
                            [joint[0], own, own + 1]
                        }
                        Some((_, joint)) => *joint,
                        None => {
                            let z = take(3);
                            let shared = [z, z + 1, z + 2];
                            corners.push((here, shared));
                            if hinged {
                                let own = take(2);
                                [z, own, own + 1]
                            } else {
                                shared
                            }
                        }
                    };
                    (at, joint)
                })
                .collect::<Vec<_>>();
            joints.push(row);
        }
        (Mesh { plan, freedoms }, joints)
    }

    fn assemble(&self, joints: Vec<Vec<(f64, Joint)>>, softer: f64, in_line: bool) -> Body {
        let mut k = DMatrix::zeros(self.freedoms, self.freedoms);
        for (piece, row) in self.plan.pieces.iter().zip(&joints) {
            let (bending, torsion) = rigidity(piece, softer);
            let (c, s) = direction(piece);
            for pair in row.windows(2) {
                let length = pair[1].0 - pair[0].0;
                element(&mut k, pair[0].1, pair[1].1, (c, s), length, bending, torsion);
            }
        }
        let towers: Vec<_> = self.plan.towers.iter().map(|t| joint_at(&joints[t.piece], t.at.0)).collect();
        // A cradle holds a straight truss upright; on a ring the towers do, and a corner may twist freely in its cradle.
        for (tower, joint) in self.plan.towers.iter().zip(&towers) {
            let upright = if in_line { 60e3 } else { 0.0 };
            let (c, s) = direction(&self.plan.pieces[tower.piece]);
            add_rank_one(&mut k, &[(joint[1], -s), (joint[2], c)], upright);
        }
        // A whisper of stiffness on every gradient keeps a hinged, unloaded freedom from being singular.
        for i in 0..self.freedoms {
            k[(i, i)] += 1e-3;
        }
        Body { stiffness: k, joints, towers: towers.iter().map(|j| j[0]).collect() }
    }
}

fn joint_at(row: &[(f64, Joint)], at_m: f64) -> Joint {
    let near = row.iter().min_by(|a, b| (a.0 - at_m).abs().total_cmp(&(b.0 - at_m).abs()));
    near.map_or([0; 3], |(_, joint)| *joint)
}

/// Adds `k` times the square of a sum of freedoms.
fn add_rank_one(stiffness: &mut DMatrix<f64>, parts: &[(usize, f64)], k: f64) {
    for &(i, a) in parts {
        for &(j, b) in parts {
            stiffness[(i, j)] += k * a * b;
        }
    }
}

/// Stiffness of a beam that bends, over z, slope, z, slope of its ends. Source: the cubic (Euler-Bernoulli) beam, any textbook of
/// matrix statics.
fn beam(length: f64, bending: f64) -> [[f64; 4]; 4] {
    let (l, e) = (length, bending / length.powi(3));
    // Curvature energy as two squares: with r = (w2 - w1)/l, the slopes at the ends less r.
    [
        [12.0 * e, 6.0 * l * e, -12.0 * e, 6.0 * l * e],
        [6.0 * l * e, 4.0 * l * l * e, -6.0 * l * e, 2.0 * l * l * e],
        [-12.0 * e, -6.0 * l * e, 12.0 * e, -6.0 * l * e],
        [6.0 * l * e, 2.0 * l * l * e, -6.0 * l * e, 4.0 * l * l * e],
    ]
}

/// Freedoms of z, slope, z, slope of an element's ends, with their parts.
fn parts(a: Joint, b: Joint, (c, s): (f64, f64)) -> [Vec<(usize, f64)>; 4] {
    let slope = |j: Joint| vec![(j[1], c), (j[2], s)];
    [vec![(a[0], 1.0)], slope(a), vec![(b[0], 1.0)], slope(b)]
}

/// Adds one beam element that twists too.
fn element(k: &mut DMatrix<f64>, a: Joint, b: Joint, (c, s): (f64, f64), length: f64, bending: f64, torsion: f64) {
    let parts = parts(a, b, (c, s));
    for (i, row) in beam(length, bending).iter().enumerate() {
        for (j, value) in row.iter().enumerate() {
            for &(p, x) in &parts[i] {
                for &(q, y) in &parts[j] {
                    k[(p, q)] += value * x * y;
                }
            }
        }
    }
    let twist = [(b[1], -s), (b[2], c), (a[1], s), (a[2], -c)];
    add_rank_one(k, &twist, torsion / length);
}

/// Forces that stand for a joint at `at_m` which has opened by a radian: the stretch after it begins so much steeper than the node.
/// Source: initial strains, any textbook of matrix statics.
fn opened(plan: &Plan, row: &[(f64, Joint)], place: Place, softer: f64, freedoms: usize) -> DVector<f64> {
    let mut forces = DVector::zeros(freedoms);
    let piece = &plan.pieces[place.piece];
    let node = (0..row.len()).min_by(|&a, &b| (row[a].0 - place.at_m).abs().total_cmp(&(row[b].0 - place.at_m).abs())).unwrap_or(0);
    // At the very end of a piece there is no stretch after it: the one before it ends so much flatter.
    let (from, strained, by) = if node + 1 < row.len() { (node, 1, 1.0) } else { (node.saturating_sub(1), 3, -1.0) };
    let Some(pair) = row.get(from..from + 2) else { return forces };
    let stiff = beam(pair[1].0 - pair[0].0, rigidity(piece, softer).0);
    for (i, freedoms) in parts(pair[0].1, pair[1].1, direction(piece)).iter().enumerate() {
        for &(p, x) in freedoms {
            forces[p] -= by * stiff[i][strained] * x;
        }
    }
    forces
}

/// Forces of a load that goes evenly from `first` to `last` N/m between `from` and `to`, downwards.
fn spread(forces: &mut DVector<f64>, row: &[(f64, Joint)], way: (f64, f64), from: f64, to: f64, first: f64, last: f64) {
    let reach = (to - from).max(SAME_PLACE_M);
    let per_m = |at: f64| first + (last - first) * ((at - from) / reach);
    for pair in row.windows(2).filter(|p| p[0].0 >= from - SAME_PLACE_M && p[1].0 <= to + SAME_PLACE_M) {
        let l = pair[1].0 - pair[0].0;
        let (q1, q2) = (per_m(pair[0].0), per_m(pair[1].0));
        let ends = [
            (pair[0].1, l * (7.0 * q1 + 3.0 * q2) / 20.0, l * l * (3.0 * q1 + 2.0 * q2) / 60.0),
            (pair[1].1, l * (3.0 * q1 + 7.0 * q2) / 20.0, -l * l * (2.0 * q1 + 3.0 * q2) / 60.0),
        ];
        for (joint, force, moment) in ends {
            forces[joint[0]] -= force;
            forces[joint[1]] -= moment * way.0;
            forces[joint[2]] -= moment * way.1;
        }
    }
}

fn planned_forces(plan: &Plan, body: &Body, freedoms: usize) -> (DVector<f64>, Vec<f64>) {
    let mut forces = DVector::zeros(freedoms);
    let mut hanging = vec![0.0; plan.pieces.len()];
    for (piece, row) in plan.pieces.iter().zip(&body.joints) {
        spread(&mut forces, row, direction(piece), 0.0, piece.length().0, piece.weight.0, piece.weight.0);
    }
    for load in &plan.loads {
        let (row, way) = (&body.joints[load.piece], direction(&plan.pieces[load.piece]));
        let weight = match load.hung {
            Hung::Point { at, weight } => {
                let joint = joint_at(row, at.0);
                forces[joint[0]] -= weight.0;
                forces[joint[1]] += weight.0 * load.across.0 * way.1;
                forces[joint[2]] -= weight.0 * load.across.0 * way.0;
                weight.0
            }
            Hung::Spread { from, to, first, last } => {
                spread(&mut forces, row, way, from.0, to.0, first.0, last.0);
                (to.0 - from.0) * (first.0 + last.0) / 2.0
            }
        };
        hanging[load.piece] += weight * load.hang.0;
    }
    for cable in &plan.cables {
        let (row, way) = (&body.joints[cable.piece], direction(&plan.pieces[cable.piece]));
        match cable.lies {
            Lies::Along { from, to, weight } => spread(&mut forces, row, way, from.0, to.0, weight.0, weight.0),
            Lies::Coil { at, weight } => forces[joint_at(row, at.0)[0]] -= weight.0,
            Lies::Tail { .. } => {}
        }
    }
    (forces, hanging)
}

fn collinear(plan: &Plan) -> bool {
    let Some(first) = plan.pieces.first() else { return true };
    let (c, s) = direction(first);
    plan.pieces.iter().flat_map(|p| [&p.from, &p.to]).all(|end| {
        let (x, y) = (end[0].0 - first.from[0].0, end[1].0 - first.from[1].0);
        (x * -s + y * c).abs() < 0.05
    })
}

impl Truss {
    /// Solves the truss of `plan`, looking at the `watched` places; its stiffness is the plan's times `softer`.
    ///
    /// Errors: [`Loose`] if the towers cannot hold it.
    pub fn solve(plan: &Plan, watched: &[Place], softer: f64) -> Result<Self, Loose> {
        let in_line = collinear(plan);
        let (mesh, joints) = Mesh::number(plan, watched);
        let freedoms = mesh.freedoms;
        let body = mesh.assemble(joints, softer, in_line);
        let free: Vec<usize> = (0..freedoms).filter(|i| !body.towers.contains(i)).collect();
        let reduced = body.stiffness.select_rows(&free).select_columns(&free);
        let loose = || Loose { title: plan.title.clone() };
        let solver = reduced.cholesky().ok_or_else(loose)?;
        let rows: Vec<_> = watched.iter().map(|p| (joint_at(&body.joints[p.piece], p.at_m), direction(&plan.pieces[p.piece]))).collect();
        let respond = |forces: &DVector<f64>, moved: Option<usize>| {
            let mut shape = DVector::zeros(freedoms);
            if let Some(tower) = moved {
                shape[tower] = 1.0;
            }
            let push = forces - &body.stiffness * &shape;
            let solved = solver.solve(&push.select_rows(&free));
            free.iter().zip(solved.iter()).for_each(|(&i, v)| shape[i] = *v);
            let held = &body.stiffness * &shape - forces;
            Influence {
                share: body.towers.iter().map(|&i| held[i]).collect(),
                z: rows.iter().map(|(j, _)| shape[j[0]]).collect(),
                along: rows.iter().map(|(j, (c, s))| c * shape[j[1]] + s * shape[j[2]]).collect(),
                across: rows.iter().map(|(j, (c, s))| c * shape[j[2]] - s * shape[j[1]]).collect(),
            }
        };
        let none = DVector::zeros(freedoms);
        let unit = |parts: &[(usize, f64)]| {
            let mut forces = DVector::zeros(freedoms);
            parts.iter().for_each(|&(i, v)| forces[i] += v);
            forces
        };
        let (planned, hanging_nm) = planned_forces(plan, &body, freedoms);
        let head: Vec<_> = body.towers.iter().map(|&i| respond(&none, Some(i))).collect();
        if head.iter().flat_map(|h| &h.share).any(|v| !v.is_finite()) {
            return Err(loose());
        }
        let middles = plan.pieces.iter().zip(&body.joints).map(|(p, row)| (joint_at(row, p.length().0 / 2.0), direction(p)));
        let tails = plan.cables.iter().filter_map(|cable| match cable.lies {
            Lies::Tail { at, weight } => Some((joint_at(&body.joints[cable.piece], at.0)[0], -weight.0)),
            _ => None,
        });
        Ok(Truss {
            load: respond(&planned, None),
            tail: tails.map(|part| respond(&unit(&[part]), None)).collect(),
            point: rows.iter().map(|(j, _)| respond(&unit(&[(j[0], 1.0)]), None)).collect(),
            kink: watched.iter().map(|p| respond(&opened(plan, &body.joints[p.piece], *p, softer, freedoms), None)).collect(),
            moment: middles.map(|(j, (c, s))| respond(&unit(&[(j[1], -c), (j[2], -s)]), None)).collect(),
            head,
            hanging_nm,
            in_line,
        })
    }
}
