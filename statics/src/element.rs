//! One stretch of a piece between two nodes: Euler-Bernoulli bending and St Venant torsion, with whatever hangs on it.
//!
//! `w` is the height above the level line (m, up), `slope` = dw/dx along the piece (rad, `to` end up), `roll` the
//! rotation about the piece (rad, y side up). Moment is positive sagging, shear = dM/dx. End unknowns in the order
//! `[w, slope, roll]` of the begin, then of the end. Stiffness: e.g. Przemieniecki, *Theory of Matrix Structural
//! Analysis* (1968), section 5.6; effects inside the stretch by Macaulay's brackets, exact for every load below.

/// What hangs on a stretch; positions from its begin, m; weights down, N; torques about the piece in the sense of `roll`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Part {
    /// A weight at a place, with its torque, N m.
    Point { at: f64, n: f64, torque: f64 },
    /// A weight per length that varies linearly, N/m, with a torque per length, N m/m.
    Spread { from: f64, to: f64, first: f64, last: f64, torque_first: f64, torque_last: f64 },
}

/// What the truss does at one place.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct At {
    /// Height above the level line, m.
    pub w_m: f64,
    /// Slope along the piece, rad.
    pub slope_rad: f64,
    /// Rotation about the piece, rad.
    pub roll_rad: f64,
    /// Bending moment, N m, sagging positive.
    pub moment_nm: f64,
    /// Shear force dM/dx, N.
    pub shear_n: f64,
    /// Torsion GJ·d(roll)/dx, N m.
    pub torsion_nm: f64,
}

/// Length and stiffness of a stretch.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Element {
    pub len: f64,
    pub ei: f64,
    pub gj: f64,
}

/// Gauss-Legendre, three points on [0, 1]: exact to the fifth degree, and the highest here is the fourth.
const GAUSS: [(f64, f64); 3] = [(0.112_701_665_379_258_3, 5.0 / 18.0), (0.5, 8.0 / 18.0), (0.887_298_334_620_741_7, 5.0 / 18.0)];

impl Element {
    /// Stiffness, 6 × 6.
    pub fn stiffness(&self) -> [[f64; 6]; 6] {
        let (l, t) = (self.len, self.gj / self.len);
        let c = self.ei / (l * l * l);
        let mut k = [[0.0; 6]; 6];
        let bend = [
            [12.0, 6.0 * l, -12.0, 6.0 * l],
            [6.0 * l, 4.0 * l * l, -6.0 * l, 2.0 * l * l],
            [-12.0, -6.0 * l, 12.0, -6.0 * l],
            [6.0 * l, 2.0 * l * l, -6.0 * l, 4.0 * l * l],
        ];
        let dof = [0, 1, 3, 4];
        for (i, row) in bend.iter().enumerate() {
            for (j, v) in row.iter().enumerate() {
                k[dof[i]][dof[j]] = c * v;
            }
        }
        (k[2][2], k[2][5], k[5][2], k[5][5]) = (t, -t, -t, t);
        k
    }

    /// Shape functions at `x`: what each end unknown gives to `w` and `roll` there.
    fn shapes(&self, x: f64) -> ([f64; 6], [f64; 6]) {
        let s = x / self.len;
        let w = [1.0 - 3.0 * s * s + 2.0 * s * s * s, x * (1.0 - s) * (1.0 - s), 0.0, s * s * (3.0 - 2.0 * s), x * s * (s - 1.0), 0.0];
        let roll = [0.0, 0.0, 1.0 - s, 0.0, 0.0, s];
        (w, roll)
    }

    /// Adds the forces that `part` puts on the ends (up, and in the sense of slope and roll). Exact: for a prismatic beam
    /// the clamped-end forces are the shape functions weighted by the load.
    pub fn end_loads(&self, part: &Part, out: &mut [f64; 6]) {
        let mut add = |at: f64, n: f64, torque: f64| {
            let (w, roll) = self.shapes(at);
            for i in 0..6 {
                out[i] += -n * w[i] + torque * roll[i];
            }
        };
        match *part {
            Part::Point { at, n, torque } => add(at, n, torque),
            Part::Spread { from, to, first, last, torque_first, torque_last } => {
                for (s, weight) in GAUSS {
                    let ds = weight * (to - from);
                    let (q, t) = (first + (last - first) * s, torque_first + (torque_last - torque_first) * s);
                    add(from + (to - from) * s, q * ds, t * ds);
                }
            }
        }
    }

    /// What the stretch does at `x`, from the motion of its ends and what hangs on it. At a point load the shear is that
    /// just before it.
    pub fn at(&self, x: f64, ends: &[f64; 6], parts: &[Part]) -> At {
        let mut loads = [0.0; 6];
        for part in parts {
            self.end_loads(part, &mut loads);
        }
        let k = self.stiffness();
        let force = |i: usize| k[i].iter().zip(ends).map(|(k, u)| k * u).sum::<f64>() - loads[i];
        // Forces on the begin: V = EI w''' , M = EI w'' = -(moment in the sense of slope), T = GJ roll' = -(torque).
        let mut here = At { shear_n: force(0), moment_nm: -force(1), torsion_nm: -force(2), ..At::default() };
        let (v0, m0, t0) = (here.shear_n, here.moment_nm, here.torsion_nm);
        here.moment_nm += v0 * x;
        let mut ei_slope = m0 * x + v0 * x * x / 2.0;
        let mut ei_w = m0 * x * x / 2.0 + v0 * x * x * x / 6.0;
        let mut gj_roll = t0 * x;
        let mut past = |at: f64, n: f64, torque: f64| {
            let d = x - at;
            if d > 0.0 {
                here.shear_n -= n;
                here.moment_nm -= n * d;
                ei_slope -= n * d * d / 2.0;
                ei_w -= n * d * d * d / 6.0;
                here.torsion_nm -= torque;
                gj_roll -= torque * d;
            }
        };
        for part in parts {
            match *part {
                Part::Point { at, n, torque } => past(at, n, torque),
                Part::Spread { from, to, first, last, torque_first, torque_last } => {
                    let end = to.min(x);
                    if end <= from {
                        continue;
                    }
                    for (s, weight) in GAUSS {
                        let place = from + (end - from) * s;
                        let along = (place - from) / (to - from);
                        let ds = weight * (end - from);
                        let (q, t) = (first + (last - first) * along, torque_first + (torque_last - torque_first) * along);
                        past(place, q * ds, t * ds);
                    }
                }
            }
        }
        here.w_m = ends[0] + ends[1] * x + ei_w / self.ei;
        here.slope_rad = ends[1] + ei_slope / self.ei;
        here.roll_rad = ends[2] + gj_roll / self.gj;
        here
    }
}
