//! What would cure a plan: each cure is tried on the plan and only told if nothing is left against it.

use crate::faults::{Fault, FaultKind, Verdict, Words};
use crate::model::{Bearing, Model};
use crate::sheet::Sheet;
use raisewatch_protocol::plan::{Hung, Lies, Load, Plan, Source};
use raisewatch_protocol::units::{Force, Length};

/// Looks for cures of each fault.
pub(crate) fn find(plan: &Plan, offsets_m: &[f64], verdict: &mut Verdict) {
    let words = Words { pounds: plan.units.pounds, feet: plan.units.feet };
    let faults = verdict.faults.clone();
    // Each try weighs the whole plan anew, which grows with the towers: the bound keeps a large, bad plan under a second or so.
    let tries = std::cell::Cell::new((1000 / plan.towers.len().max(1)).max(60));
    for fault in &mut verdict.faults {
        let try_on = |changed: &Plan| -> bool {
            if tries.get() == 0 {
                return false;
            }
            tries.set(tries.get() - 1);
            let offsets: Vec<f64> = (0..changed.towers.len()).map(|i| offsets_m.get(i).copied().unwrap_or(0.0)).collect();
            Sheet::faults(changed, &offsets).is_ok_and(|left| better(&faults, &left, fault))
        };
        let mut cures = Vec::new();
        cures.extend(moved(plan, fault, &words, &try_on));
        cures.extend(lighter(plan, fault, &words, &try_on));
        cures.extend(ballast(plan, fault, &words, &try_on));
        cures.extend(one_more(plan, fault, &words, &try_on));
        cures.extend(by_hand(plan, fault, &words));
        fault.cures = cures;
    }
}

/// Whether a change does away with `cured` and brings nothing new.
fn better(before: &[Fault], after: &[Fault], cured: &Fault) -> bool {
    let same = |a: &Fault, b: &Fault| a.kind == b.kind && a.tower == b.tower && a.piece == b.piece;
    after.iter().all(|f| !same(f, cured) && before.iter().any(|b| same(b, f)))
}

/// The nearest place along its piece for one tower, by half metres, else by tenths.
fn moved(plan: &Plan, fault: &Fault, words: &Words, try_on: &dyn Fn(&Plan) -> bool) -> Vec<String> {
    if matches!(fault.kind, FaultKind::TooHigh | FaultKind::NoTolerance) {
        return Vec::new();
    }
    let mut best: Option<(f64, String)> = None;
    for (i, tower) in plan.towers.iter().enumerate() {
        let len = plan.pieces[tower.piece].length().0;
        for step in [0.5, 0.1] {
            let count = ((len / step).floor() as usize).min(1000);
            let mut places: Vec<f64> = (0..=count).map(|k| k as f64 * step).filter(|x| (x - tower.at.0).abs() > 1e-6).collect();
            places.sort_by(|a, b| (a - tower.at.0).abs().total_cmp(&(b - tower.at.0).abs()));
            let found = places.into_iter().take(TRIES).find(|x| {
                let mut changed = plan.clone();
                changed.towers[i].at = Length(*x);
                try_on(&changed)
            });
            if let Some(x) = found {
                let far = (x - tower.at.0).abs();
                if best.as_ref().is_none_or(|b| far < b.0) {
                    best = Some((far, format!("move tower {} to {}", tower.id, words.length(x))));
                }
                break;
            }
        }
    }
    best.map(|b| b.1).into_iter().collect()
}

/// Places tried for one tower: a truss is seldom longer than 20 m, and a tower is not moved farther than 10.
const TRIES: usize = 40;

/// Weight off: of the load that does most to the tower, else of all that hangs, else of everything.
fn lighter(plan: &Plan, fault: &Fault, words: &Words, try_on: &dyn Fn(&Plan) -> bool) -> Vec<String> {
    use FaultKind::{MayBeOver, Over, OverOnEdge, Truss};
    if !matches!(fault.kind, Over | MayBeOver | OverOnEdge | Truss) {
        return Vec::new();
    }
    let one = fault.tower.and_then(|tower| off_one(plan, tower, fault, words, try_on));
    one.or_else(|| off_all(plan, words, try_on)).into_iter().collect()
}

fn off_one(plan: &Plan, tower: usize, fault: &Fault, words: &Words, try_on: &dyn Fn(&Plan) -> bool) -> Option<String> {
    let model = Model::new(plan).ok()?;
    let linear = model.standing(&model.on(Bearing::Rope, plan.trim_height));
    let mut loads: Vec<(usize, f64)> = (plan.loads.iter().enumerate())
        .filter_map(|(i, l)| match l.hung {
            Hung::Point { at, weight } if weight.0 > 0.0 => Some((i, linear.point_across(l.piece, at.0, l.across.0).share_per_n[tower])),
            _ => None,
        })
        .filter(|(_, effect)| *effect > 0.05)
        .collect();
    loads.sort_by(|a, b| b.1.total_cmp(&a.1));
    for (i, effect) in loads.into_iter().take(3) {
        let less = |off: f64| {
            let mut changed = plan.clone();
            if let Hung::Point { weight, .. } = &mut changed.loads[i].hung {
                weight.0 -= off;
            }
            changed
        };
        let most = weight_of(&plan.loads[i].hung);
        let least = round_up(fault.amount / plan.allowance / effect, words.pounds);
        // The band and the cradle's edge go with the weight, so more than the least may be asked; all of it may leave a
        // tower too light. Growing steps find some amount that cures, halving the smallest near it.
        let steps = [1.0, 1.25, 1.6, 2.0, 2.5, 3.2, 4.0, 5.0].map(|k| least * k);
        let Some(k) = steps.iter().position(|off| *off <= most && try_on(&less(*off))) else { continue };
        let (mut low, mut high) = (steps[k.saturating_sub(1)], steps[k]);
        for _ in 0..if k == 0 { 0 } else { 8 } {
            let middle = (low + high) / 2.0;
            if try_on(&less(middle)) { high = middle } else { low = middle }
        }
        let off = round_up(high, words.pounds).min(most);
        if let Hung::Point { at, .. } = plan.loads[i].hung {
            return Some(format!("take {} off {} at {}", words.weight(off), plan.loads[i].name, words.length(at.0)));
        }
    }
    None
}

/// No single load is heavy enough: all of them by the same share, or truss and cable too.
fn off_all(plan: &Plan, words: &Words, try_on: &dyn Fn(&Plan) -> bool) -> Option<String> {
    let model = Model::new(plan).ok()?;
    let hung: f64 = plan.loads.iter().map(|l| weight_of(&l.hung)).sum();
    for percent in 1..=95 {
        let keep = 1.0 - f64::from(percent) / 100.0;
        let mut changed = plan.clone();
        for l in &mut changed.loads {
            scale(&mut l.hung, keep);
        }
        if try_on(&changed) {
            return Some(format!("take {} off what hangs, evenly", words.weight(hung * (1.0 - keep))));
        }
    }
    let whole = model.total(plan.trim_height).0;
    for percent in 1..=95 {
        let keep = 1.0 - f64::from(percent) / 100.0;
        let mut changed = plan.clone();
        changed.pieces.iter_mut().for_each(|p| p.weight.0 *= keep);
        changed.loads.iter_mut().for_each(|l| scale(&mut l.hung, keep));
        for c in &mut changed.cables {
            match &mut c.lies {
                Lies::Along { weight, .. } | Lies::Tail { weight, .. } => weight.0 *= keep,
                Lies::Coil { weight, .. } => weight.0 *= keep,
            }
        }
        if try_on(&changed) {
            return Some(format!("{} less in all, truss and cable included: lift it in parts", words.weight(whole * (1.0 - keep))));
        }
    }
    None
}

/// Weight at a tower that is too light.
fn ballast(plan: &Plan, fault: &Fault, words: &Words, try_on: &dyn Fn(&Plan) -> bool) -> Vec<String> {
    let (Some(tower), true) = (fault.tower, matches!(fault.kind, FaultKind::Uplift | FaultKind::Light)) else {
        return Vec::new();
    };
    let Ok(model) = Model::new(plan) else { return Vec::new() };
    let t = &plan.towers[tower];
    let effect = model.standing(&model.on(Bearing::Rope, plan.trim_height)).point(t.piece, t.at.0).share_per_n[tower];
    if effect <= 0.05 {
        return Vec::new();
    }
    let extra = round_up(fault.amount / effect, words.pounds);
    let mut changed = plan.clone();
    changed.loads.push(Load {
        name: "ballast".into(),
        piece: t.piece,
        hung: Hung::Point { at: t.at, weight: Force(extra) },
        source: Source::Weighed,
        hang: Length(0.0),
        across: Length(0.0),
    });
    if try_on(&changed) { vec![format!("hang {} more at tower {}", words.weight(extra), t.id)] } else { Vec::new() }
}

/// One more tower like the one concerned.
fn one_more(plan: &Plan, fault: &Fault, words: &Words, try_on: &dyn Fn(&Plan) -> bool) -> Vec<String> {
    let Some(piece) = fault.piece.filter(|_| fault.kind != FaultKind::TooHigh) else { return Vec::new() };
    let like = fault.tower.or_else(|| plan.towers.iter().position(|t| t.piece == piece)).unwrap_or(0);
    let len = plan.pieces[piece].length().0;
    let places = (1..).map(|k| f64::from(k) * 0.5).take_while(|x| *x < len);
    for x in places.take(TRIES) {
        if plan.towers.iter().any(|t| t.piece == piece && (t.at.0 - x).abs() < 0.75) {
            continue;
        }
        let mut changed = plan.clone();
        let mut tower = plan.towers[like].clone();
        (tower.piece, tower.at, tower.id) = (piece, Length(x), "one more".into());
        changed.towers.push(tower);
        if try_on(&changed) {
            return vec![format!("one more tower at {}", words.length(x))];
        }
    }
    spaced_anew(plan, piece, like, words, try_on)
}

/// One more tower and all of the piece spaced evenly between the outermost.
fn spaced_anew(plan: &Plan, piece: usize, like: usize, words: &Words, try_on: &dyn Fn(&Plan) -> bool) -> Vec<String> {
    let mut mine: Vec<usize> = (0..plan.towers.len()).filter(|&i| plan.towers[i].piece == piece).collect();
    mine.sort_by(|&a, &b| plan.towers[a].at.0.total_cmp(&plan.towers[b].at.0));
    let (Some(&first), Some(&last)) = (mine.first(), mine.last()) else { return Vec::new() };
    let (from, to) = (plan.towers[first].at.0, plan.towers[last].at.0);
    if to - from < 1.0 {
        return Vec::new();
    }
    let place = |k: usize| from + (to - from) * k as f64 / mine.len() as f64;
    let mut changed = plan.clone();
    for (k, &i) in mine.iter().enumerate() {
        changed.towers[i].at = Length(place(k));
    }
    let mut tower = plan.towers[like].clone();
    (tower.piece, tower.at, tower.id) = (piece, Length(to), "one more".into());
    changed.towers.push(tower);
    if !try_on(&changed) {
        return Vec::new();
    }
    let places: Vec<String> = (0..=mine.len()).map(|k| words.length(place(k))).collect();
    vec![format!("one more tower, all spaced evenly: at {}", places.join(", "))]
}

/// Cures that cannot be tried on the plan.
fn by_hand(plan: &Plan, fault: &Fault, words: &Words) -> Vec<String> {
    match fault.kind {
        FaultKind::MayBeOver => vec!["weigh what is guessed: a weighed load has a band of 1 %".into()],
        FaultKind::TooHigh => {
            let least = plan.towers.iter().map(|t| t.full.0).fold(f64::INFINITY, f64::min);
            vec![format!("trim at {} or lower", words.length((least * 10.0).floor() / 10.0))]
        }
        FaultKind::TableShort => vec!["ask the maker for the longer span; nothing is extrapolated".into()],
        FaultKind::NoTolerance => vec!["towers farther apart, a finer winch, or weights that leave more reserve".into()],
        _ => Vec::new(),
    }
}

fn weight_of(hung: &Hung) -> f64 {
    match *hung {
        Hung::Point { weight, .. } => weight.0,
        Hung::Spread { from, to, first, last } => (first.0 + last.0) / 2.0 * (to.0 - from.0),
    }
}

fn scale(hung: &mut Hung, keep: f64) {
    match hung {
        Hung::Point { weight, .. } => weight.0 *= keep,
        Hung::Spread { first, last, .. } => {
            first.0 *= keep;
            last.0 *= keep;
        }
    }
}

/// Up to the next 0.1 kg or pound, N.
fn round_up(n: f64, pounds: bool) -> f64 {
    if pounds {
        Force::from_kg((Force(n).lb() - 1e-6).ceil() * raisewatch_protocol::units::POUND_KG).0
    } else {
        Force::from_kg(((Force(n).kg() - 1e-7) * 10.0).ceil() / 10.0).0
    }
}
