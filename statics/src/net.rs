//! Where pieces are cut and joined: nodes, and which unknowns each end of a stretch has.

use crate::element::Element;
use crate::model::{ASSUMED_BENDING, ASSUMED_TORSION, Assumed, JOIN_M, Mixed, Stretch};
use raisewatch_protocol::plan::Plan;

/// Stations on a piece closer than this are one: a shorter stretch would be all rounding.
const SAME_M: f64 = 0.003;

/// The nodes of a plan. Unknowns: `3 i`, `3 i + 1`, `3 i + 2` are height, slope along and slope across the frame of node
/// `i`; hinges add one each after them.
pub(crate) struct Net {
    nodes: Vec<Node>,
    /// By piece: places of its nodes, rising.
    stations: Vec<Vec<(f64, usize)>>,
    /// By tower: its node.
    towers: Vec<usize>,
    hinges: usize,
}

struct Node {
    at: [f64; 2],
    /// Direction of `slope along`; across is to its left.
    frame: [f64; 2],
    /// Whether cradles hold it against rotation about the truss.
    held: bool,
}

impl Net {
    /// Cuts a plan that was found sound.
    pub fn new(plan: &Plan) -> Self {
        let mut net = Net { nodes: Vec::new(), stations: Vec::new(), towers: Vec::new(), hinges: 0 };
        for p in &plan.pieces {
            let ends = [net.end([p.from[0].0, p.from[1].0]), net.end([p.to[0].0, p.to[1].0])];
            net.stations.push(vec![(0.0, ends[0]), (p.length().0, ends[1])]);
        }
        net.hinges = plan.pieces.iter().map(|p| usize::from(p.hinged_from) + usize::from(p.hinged_to)).sum();
        net.butts(plan);
        for t in &plan.towers {
            let node = net.station(plan, t.piece, t.at.0);
            net.towers.push(node);
        }
        net.frames(plan);
        net
    }

    /// The node of an end: that of another end within reach, or a new one.
    fn end(&mut self, at: [f64; 2]) -> usize {
        let near = |n: &Node| (n.at[0] - at[0]).hypot(n.at[1] - at[1]) <= JOIN_M;
        self.nodes.iter().position(near).unwrap_or_else(|| {
            self.nodes.push(Node { at, frame: [1.0, 0.0], held: false });
            self.nodes.len() - 1
        })
    }

    /// Ends that meet the run of another piece join it there.
    fn butts(&mut self, plan: &Plan) {
        for node in 0..self.nodes.len() {
            for (piece, p) in plan.pieces.iter().enumerate() {
                if self.stations[piece].iter().any(|s| s.1 == node) {
                    continue;
                }
                let (len, d) = (p.length().0, direction(plan, piece));
                let [dx, dy] = [self.nodes[node].at[0] - p.from[0].0, self.nodes[node].at[1] - p.from[1].0];
                let (along, off) = (dx * d[0] + dy * d[1], dy * d[0] - dx * d[1]);
                if off.abs() <= JOIN_M && along > 0.0 && along < len {
                    insert(&mut self.stations[piece], along, node);
                }
            }
        }
    }

    /// The node at a place of a piece.
    fn station(&mut self, plan: &Plan, piece: usize, x: f64) -> usize {
        if let Some(s) = self.stations[piece].iter().find(|s| (s.0 - x).abs() <= SAME_M) {
            return s.1;
        }
        let (from, d) = (plan.pieces[piece].from, direction(plan, piece));
        self.nodes.push(Node { at: [from[0].0 + d[0] * x, from[1].0 + d[1] * x], frame: [1.0, 0.0], held: false });
        insert(&mut self.stations[piece], x, self.nodes.len() - 1);
        self.nodes.len() - 1
    }

    /// Trusses whose pieces all lie in one line: frames along it, rotation about it held at every tower.
    fn frames(&mut self, plan: &Plan) {
        let mut group: Vec<usize> = (0..self.nodes.len()).collect();
        // Few pieces: joining until nothing changes needs no better method.
        let mut changed = true;
        while changed {
            changed = false;
            for stations in &self.stations {
                let least = stations.iter().map(|s| group[s.1]).min().unwrap_or(0);
                for s in stations {
                    changed |= group[s.1] != least;
                    group[s.1] = least;
                }
            }
        }
        for first in 0..plan.pieces.len() {
            let id = group[self.stations[first][0].1];
            let mine: Vec<usize> = (0..plan.pieces.len()).filter(|&p| group[self.stations[p][0].1] == id).collect();
            if mine[0] != first {
                continue;
            }
            let d = direction(plan, first);
            let straight = mine.iter().all(|&p| {
                let e = direction(plan, p);
                (d[0] * e[1] - d[1] * e[0]).abs() < 1e-3
            });
            if straight {
                for node in (0..self.nodes.len()).filter(|&n| group[n] == id) {
                    self.nodes[node].frame = d;
                    self.nodes[node].held = self.towers.contains(&node);
                }
            }
        }
    }

    /// The stretches, in the order of the pieces.
    pub fn stretches(&self, plan: &Plan, assumed: &mut Vec<Assumed>) -> Vec<Stretch> {
        let mut out = Vec::new();
        let mut hinge = 3 * self.nodes.len();
        for (piece, p) in plan.pieces.iter().enumerate() {
            let mut or_assumed =
                |value: Option<raisewatch_protocol::units::Rigidity>, what, standard: raisewatch_protocol::units::Rigidity| {
                    value.map_or_else(
                        || {
                            assumed.push(Assumed { piece: p.id.clone(), what, n_m2: standard.0 });
                            standard.0
                        },
                        |v| v.0,
                    )
                };
            let ei = or_assumed(p.bending, "bending", ASSUMED_BENDING);
            let gj = or_assumed(p.torsion, "torsion", ASSUMED_TORSION);
            let d = direction(plan, piece);
            let stations = &self.stations[piece];
            for (k, pair) in stations.windows(2).enumerate() {
                let mut map = [[(0, 0.0); 2]; 6];
                for (end, station) in pair.iter().enumerate() {
                    let [w, slope, roll] = self.end_map(station.1, d);
                    (map[3 * end], map[3 * end + 1], map[3 * end + 2]) = (w, slope, roll);
                    let hinged = (end == 0 && k == 0 && p.hinged_from) || (end == 1 && k + 2 == stations.len() && p.hinged_to);
                    if hinged {
                        // The hinge gives the end a slope of its own; height and rotation about the piece go through.
                        map[3 * end + 1] = [(hinge, 1.0), (hinge, 0.0)];
                        hinge += 1;
                    }
                }
                out.push(Stretch { piece, x0: pair[0].0, beam: Element { len: pair[1].0 - pair[0].0, ei, gj }, map });
            }
        }
        out
    }

    fn end_map(&self, node: usize, d: [f64; 2]) -> [Mixed; 3] {
        let [c, s] = self.nodes[node].frame;
        let (along, left) = (c * d[0] + s * d[1], c * d[1] - s * d[0]);
        let w = 3 * node;
        [[(w, 1.0), (w, 0.0)], [(w + 1, along), (w + 2, left)], [(w + 1, -left), (w + 2, along)]]
    }

    /// Unknowns in all.
    pub fn unknowns(&self) -> usize {
        3 * self.nodes.len() + self.hinges
    }

    /// Unknown of each tower's height.
    pub fn tower_w(&self) -> Vec<usize> {
        self.towers.iter().map(|n| 3 * n).collect()
    }

    /// Unknowns held at zero by cradles.
    pub fn held(&self) -> Vec<usize> {
        (0..self.nodes.len()).filter(|&n| self.nodes[n].held).map(|n| 3 * n + 2).collect()
    }

    /// Which unknowns are heights.
    pub fn is_height(&self) -> Vec<bool> {
        (0..self.unknowns()).map(|i| i < 3 * self.nodes.len() && i % 3 == 0).collect()
    }
}

fn insert(stations: &mut Vec<(f64, usize)>, x: f64, node: usize) {
    let place = stations.partition_point(|s| s.0 < x);
    stations.insert(place, (x, node));
}

fn direction(plan: &Plan, piece: usize) -> [f64; 2] {
    let p = &plan.pieces[piece];
    let len = p.length().0;
    [(p.to[0].0 - p.from[0].0) / len, (p.to[1].0 - p.from[1].0) / len]
}
