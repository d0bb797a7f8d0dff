//! Which head fell, of three and more: the one whose fall explains what shares and boxes have done since before the blow.
//!
//! In a stiff line the neighbours take the load, and the hardest blow is theirs: the head that fell *loses* share, whatever the others
//! ring like. What a head that falls by `d` does to all shares is one column of the statics' stiffness, and no more than its whole share
//! can come off it; what rings with the truss (its total, its moments) is no fall and is left out. A head is named where it explains the
//! shares better than any other beyond their doubt, else where it was the first to lose its load.

use super::bend::parts;
use super::scope::Scope;
use crate::condition::Known;
use crate::estimate::loads::over as load_over;
use std::cmp::Ordering::Equal;

/// A fall explains so much of the shares' change, and the total stays by as much.
const EXPLAINS: f64 = 0.7;
/// Stiffness of pins, ropes and truss against the plan's: so much of the pattern of shares is the plan's own doubt, and of its size.
const PLAN: (f64, f64) = (0.12, 0.2);
/// Which head lost its load first is asked for so long, s.
const LOST_S: f64 = 2.0;
/// The shares' change is no chance.
const SURE: f64 = 4.0;
/// The least fall that counts, mm: pin clearance is 5 to 10 mm (docs/trade.md section 1.8); and of a head whose truss a stiff line holds
/// up, the part of its share that is gone.
const LEAST_MM: f64 = 7.0;
const GONE: f64 = 0.7;
/// A cell may show so much more than the whole share gone: by its span, its zero and by what stuck to the cradle.
const ALL: f64 = 1.2;
/// What explains the shares leaves of them no more than two standard deviations, squared; the best is better than the next by as much.
const BETTER: f64 = 4.0;
/// Noise of one mean share at least, N: resolution.
const LEAST_N: f64 = 5.0;

/// How well the fall, or the rise, of one head explains it.
#[derive(Clone, Copy, Debug)]
struct Fit {
    head: usize,
    by_mm: Known,
    /// How badly the shares agree with it, in squares of their doubt.
    misfit: f64,
}

/// What the shares show.
#[derive(Clone, Copy, Debug)]
pub enum Seen {
    /// A fall by so much, mm, of this head where no other's would leave the same shares.
    Fell(Option<usize>, Known),
    /// Cranked shares: one head that stays behind while the others go on leaves the same.
    StaysBehind,
}

/// What the shares show since before the blow, if one head explains it. `hit`: the head with the hardest blow.
pub fn seen(scope: &Scope, hit: usize) -> Option<Seen> {
    let shares = Shares::changed(scope)?;
    let fits: Vec<Fit> = (0..scope.towers()).filter_map(|k| fit(scope, &shares, k, -1.0)).collect();
    let best = *fits.iter().min_by(|a, b| a.misfit.total_cmp(&b.misfit))?;
    let as_good = |f: &Fit| f.misfit - best.misfit < BETTER;
    let cranked = scope.up() || scope.down();
    if cranked && (0..scope.towers()).filter_map(|k| fit(scope, &shares, k, 1.0)).any(|f| as_good(&f)) {
        return Some(Seen::StaysBehind);
    }
    let alike: Vec<Fit> = fits.into_iter().filter(as_good).collect();
    let named = if alike.len() == 1 { Some(best) } else { first_lost(scope, &alike, hit) };
    Some(Seen::Fell(named.map(|f| f.head), named.unwrap_or(best).by_mm))
}

/// Three in line have one pattern of shares only: what the fall of one end leaves, the fall of the other leaves too. Boxes ring with the
/// truss for longer than there is. But the head that falls lets go at once; the other end swings off its cradle half a swing later.
fn first_lost(scope: &Scope, alike: &[Fit], hit: usize) -> Option<Fit> {
    let lost = |f: &Fit| {
        let c = scope.est.loads().head[f.head]?;
        let at_s = scope.est.loads().cell(c)?.lost.0;
        (scope.now_s() - at_s < LOST_S).then_some((at_s, scope.setup.channels[c].period_s))
    };
    let earlier = |a: &&Fit, b: &&Fit| lost(a).map(|l| l.0).partial_cmp(&lost(b).map(|l| l.0)).unwrap_or(Equal);
    let struck = alike.iter().find(|f| f.head == hit).copied();
    // What did not fall freely kept its load, and took the blow.
    let Some(first) = alike.iter().filter(|f| lost(f).is_some()).min_by(earlier).copied() else { return struck };
    let (at_s, period_s) = lost(&first)?;
    // What the hardest blow does not bear out must be earlier by a whole sample.
    let later = |f: &Fit| lost(f).map_or(first.head == hit, |(later_s, other_s)| later_s - at_s >= period_s.max(other_s));
    (first.head == hit || alike.iter().filter(|f| f.head != first.head).all(later)).then_some(first)
}

/// What the shares have done since before the blow, in the combinations that only offsets change.
struct Shares {
    held: Vec<f64>,
    before: Vec<f64>,
    noise_n: f64,
}

impl Shares {
    fn changed(scope: &Scope) -> Option<Shares> {
        let n = scope.towers();
        let (mut change, mut before, mut noise_n) = (Vec::with_capacity(n), Vec::with_capacity(n), LEAST_N);
        for j in 0..n {
            let c = scope.est.loads().head[j].filter(|&c| scope.health[c].usable())?;
            let cell = scope.est.loads().cell(c)?;
            let (now, then) = (cell.mean(load_over::FAST)?, cell.mean(load_over::BEFORE)?);
            change.push(now.value - then.value);
            before.push(then.value);
            noise_n = noise_n.max(then.spread / (now.count as f64).sqrt());
        }
        let size = change.iter().map(|c| c * c).sum::<f64>().sqrt();
        let total: f64 = change.iter().sum();
        let held: Vec<f64> = parts(scope.est.sums(), &change).collect();
        let sure = dot(&held, &held) > (SURE * noise_n).powi(2);
        let as_before = total.abs() < (1.0 - EXPLAINS) * size + 2.0 * noise_n * (n as f64).sqrt();
        (sure && as_before).then_some(Shares { held, before, noise_n })
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// `way`: -1 for a fall, 1 for a rise against the others.
fn fit(scope: &Scope, shares: &Shares, k: usize, way: f64) -> Option<Fit> {
    let column: Vec<f64> = (0..scope.towers()).map(|j| scope.est.sums().stiffness_n_per_m(j, k)).collect();
    let gone_m = ALL * shares.before[k].max(0.0) / column[k].max(1.0);
    let most_m = if way < 0.0 { gone_m } else { f64::INFINITY };
    let column: Vec<f64> = parts(scope.est.sums(), &column).collect();
    let (own, whole) = (dot(&column, &column), dot(&shares.held, &shares.held));
    if own <= 0.0 {
        return None;
    }
    let by_m = (way * dot(&column, &shares.held) / own).clamp(0.0, most_m);
    let left: f64 = column.iter().zip(&shares.held).map(|(c, h)| (h - way * c * by_m).powi(2)).sum();
    let counts = way > 0.0 || by_m * 1e3 >= LEAST_MM || by_m > GONE / ALL * most_m;
    if by_m <= 0.0 || !counts || left > (1.0 - EXPLAINS) * whole {
        return None;
    }
    let misfit = left / (shares.noise_n.powi(2) + (PLAN.0 * PLAN.0) * whole);
    if misfit > BETTER {
        return None;
    }
    let sigma = shares.noise_n.hypot(PLAN.1 * whole.sqrt()) / own.sqrt();
    let by_mm = Known { value: way * by_m * 1e3, sigma: sigma * 1e3 };
    Some(Fit { head: k, by_mm, misfit })
}
