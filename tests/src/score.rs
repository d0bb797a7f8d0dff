//! What a run is worth: held against what must and must not be said, with the truth for a clock.

use crate::drive::Run;
use crate::scenario::{Must, Onset, Scenario};
use crate::watcher::Told;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::plan::{Plan, Tower};
use raisewatch_protocol::told::{Call, Finding};
use raisewatch_protocol::words::{CallState, LifeState, Word};
use raisewatch_simulator::{Head, Truth};

/// The worth of one run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// Everything that must be said was said at all.
    pub detected: bool,
    /// And in time.
    pub in_time: bool,
    /// Nobody was held or stopped who had nothing to do with it.
    pub right_tower: bool,
    /// From the truth to the first word that must come, s.
    pub delay_s: Option<f64>,
    /// Words spoken to the crew that nothing asked for.
    pub false_words: usize,
    /// What went against what must not be.
    pub broken: Vec<String>,
}

impl Score {
    /// Whether it passes.
    pub fn pass(&self) -> bool {
        self.detected && self.in_time && self.right_tower && self.broken.is_empty()
    }
}

/// A call that is spoken to the crew: an order, to the spotter or a tower.
fn spoken(call: &Call) -> bool {
    let order = matches!(call.call, Word::Hold | Word::Up | Word::Down | Word::Easy | Word::Stop | Word::Pin);
    order && call.to != "lead" && call.state != CallState::Over
}

/// All orders spoken to the crew, in order.
pub fn orders(run: &Run) -> impl Iterator<Item = &Call> {
    run.told.iter().filter_map(|told| match told {
        Told::Call(call) if spoken(call) => Some(call),
        _ => None,
    })
}

/// All that the spotter is told: orders, and that all is level or nothing can be claimed.
fn to_spotter(run: &Run) -> impl Iterator<Item = &Call> {
    run.told.iter().filter_map(|told| match told {
        Told::Call(call) if call.to == "spotter" && call.state != CallState::Over => Some(call),
        _ => None,
    })
}

fn raised(run: &Run) -> impl Iterator<Item = &Finding> {
    run.told.iter().filter_map(|told| match told {
        Told::Finding(finding) if finding.state == LifeState::Raised => Some(finding),
        _ => None,
    })
}

/// When the truth comes to `onset`, if ever.
pub fn moment(onset: &Onset, run: &Run, plan: &Plan) -> Option<Mono> {
    let first = |holds: &dyn Fn(&Truth) -> bool| run.truth.iter().find(|t| holds(t)).map(|t| t.t);
    match onset {
        Onset::At(at) => Mono::from_ms(at.0 * 1000.0),
        Onset::Fault(number) => run.truth.last()?.begun.iter().find(|(i, _)| i + 1 == *number).map(|(_, at)| *at),
        Onset::Step(step) => first(&|t| t.step == *step),
        Onset::Rake(by) => first(&|t| t.rake_m() >= by.0),
        Onset::Line(tower, by) => {
            let factors = others(plan, tower)?;
            first(&|t| if by.0 < 0.0 { out_of_line(t, &factors) <= by.0 } else { out_of_line(t, &factors) >= by.0 })
        }
        Onset::Lean(tower, by) => {
            let start = run.truth.first()?.head(tower)?.lean_rad;
            first(&|t| t.head(tower).is_some_and(|h| (h.lean_rad[0] - start[0]).hypot(h.lean_rad[1] - start[1]) >= by.0))
        }
        Onset::RopeSlack(tower) => first(&|t| t.head(tower).is_some_and(|h| h.rope_n < 0.3 * h.share_n)),
        Onset::Under(tower, limit) => first(&|t| t.head(tower).is_some_and(|h| h.share_n < *limit)),
        Onset::OverRating(tower) => over_rating(tower, run),
    }
}

/// Factors by which the cranks give how far that of `tower` stands above the others: its own is one. In line the line of its
/// neighbours (an end: the mean of the others), in a ring the plane that fits the others best.
fn others(plan: &Plan, tower: &str) -> Option<Vec<f64>> {
    let at: Vec<[f64; 2]> = plan.towers.iter().map(|t| place(plan, t)).collect();
    let (n, own) = (at.len(), plan.towers.iter().position(|t| t.id == tower)?);
    let mut factors = vec![0.0; n];
    factors[own] = 1.0;
    let cross = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1]);
    let in_line = at.iter().all(|p| cross(at[0], at[n - 1], *p).abs() < 0.3 * (at[n - 1][0] - at[0][0]).hypot(at[n - 1][1] - at[0][1]));
    if in_line && (own == 0 || own == n - 1) {
        (0..n).filter(|j| *j != own).for_each(|j| factors[j] = -1.0 / (n as f64 - 1.0));
    } else if in_line {
        let far = |j: usize| (at[j][0] - at[own][0]).hypot(at[j][1] - at[own][1]);
        let (before, after) = (far(own - 1), far(own + 1));
        factors[own - 1] = -after / (before + after);
        factors[own + 1] = -before / (before + after);
    } else {
        plane(&at, own, &mut factors);
    }
    Some(factors)
}

/// Least squares of a plane through all places but `own`, as its height there (normal equations, solved by Cramer's rule).
fn plane(at: &[[f64; 2]], own: usize, factors: &mut [f64]) {
    let rest = || (0..at.len()).filter(|j| *j != own);
    let n = rest().count() as f64;
    let mean = |k: usize| rest().map(|j| at[j][k]).sum::<f64>() / n;
    let (x0, y0) = (mean(0), mean(1));
    let of = |j: usize| (at[j][0] - x0, at[j][1] - y0);
    let sum = |f: &dyn Fn((f64, f64)) -> f64| rest().map(|j| f(of(j))).sum::<f64>();
    let (xx, yy, xy) = (sum(&|(x, _)| x * x), sum(&|(_, y)| y * y), sum(&|(x, y)| x * y));
    let whole = xx * yy - xy * xy;
    let (x, y) = of(own);
    for j in rest() {
        let (u, v) = of(j);
        let slopes = ((u * yy - v * xy) / whole, (v * xx - u * xy) / whole);
        factors[j] = -(1.0 / n + slopes.0 * x + slopes.1 * y);
    }
}

fn place(plan: &Plan, tower: &Tower) -> [f64; 2] {
    let piece = &plan.pieces[tower.piece];
    let part = tower.at.0 / piece.length().0;
    [0, 1].map(|k| piece.from[k].0 + part * (piece.to[k].0 - piece.from[k].0))
}

fn out_of_line(truth: &Truth, factors: &[f64]) -> f64 {
    truth.heads.iter().zip(factors).map(|(head, factor)| factor * head.crank_m).sum()
}

fn over_rating(tower: &str, run: &Run) -> Option<Mono> {
    let share = |t: &Truth| t.head(tower).map_or(0.0, |h: &Head| h.share_n);
    let at = run.truth.windows(50).find(|w| w.iter().map(share).sum::<f64>() / 50.0 > 2224.1)?;
    at.last().map(|t| t.t)
}

/// When what must be said was said: the first that fits and is not too early.
fn met(must: &Must, onset: Mono, run: &Run) -> Option<Mono> {
    let from = onset.0.saturating_sub((must.early.0 * 1e6) as u64);
    let says = |text: &str| must.text.as_ref().is_none_or(|part| text.contains(part.as_str()));
    let fits_tower = |tower: Option<&str>| must.tower.is_empty() || tower.is_some_and(|t| must.tower.iter().any(|own| own == t));
    if must.word.is_empty() {
        let fits = |f: &&Finding| {
            must.kind.contains(&f.kind)
                && must.severity.is_none_or(|s| s == f.severity)
                && fits_tower(f.tower.as_deref())
                && says(&f.text)
                && f.t_ms.0 >= from
        };
        return raised(run).find(fits).map(|f| f.t_ms);
    }
    let fits = |c: &&Call| {
        must.word.contains(&c.call)
            && (must.kind.is_empty() || c.reason.is_some_and(|k| must.kind.contains(&k)))
            && fits_tower(c.tower.as_deref())
            && says(&c.text)
            && must.then.is_none_or(|then| c.then.iter().any(|t| t.call == then))
            && c.t_ms.0 >= from
    };
    to_spotter(run).find(fits).map(|c| c.t_ms)
}

/// Whether a word that fits came before it would have been asked for: a crew that obeys it puts the truth off.
fn said_before(must: &Must, onset: Mono, run: &Run) -> bool {
    let from = onset.0.saturating_sub((must.early.0 * 1e6) as u64);
    let named = |c: &Call| must.tower.is_empty() || c.tower.as_ref().is_some_and(|t| must.tower.contains(t));
    let fits =
        |c: &&Call| must.word.contains(&c.call) && (must.kind.is_empty() || c.reason.is_some_and(|k| must.kind.contains(&k))) && named(c);
    to_spotter(run).find(fits).is_some_and(|c| c.t_ms.0 < from)
}

/// Whether a finding of this kind says where it is, near enough.
fn placed(must: &Must, run: &Run) -> bool {
    let Some(position) = must.position else { return true };
    let of_kind = run.told.iter().filter_map(|told| match told {
        Told::Finding(f) if must.kind.contains(&f.kind) => f.position_m,
        _ => None,
    });
    let places: Vec<f64> = of_kind.collect();
    !places.is_empty() && places.iter().all(|p| (p - position.0).abs() <= must.position_within.0)
}

/// Scores one run. `unwatched` plays the same seed with nobody watching: a crew that obeys a word in good time may keep the
/// truth from coming to what the word was for, for a while or for ever, and then it is the unwatched lift that says when it
/// would have.
pub fn score(scenario: &Scenario, run: &Run, unwatched: impl Fn() -> anyhow::Result<Run>) -> anyhow::Result<Score> {
    let mut score = Score { detected: true, in_time: true, right_tower: true, ..Score::default() };
    let mut onsets: Vec<Option<Mono>> = scenario.must.iter().map(|must| moment(&must.from, run, &scenario.plan)).collect();
    let put_off = |(must, onset): (&Must, &Option<Mono>)| onset.is_none_or(|at| said_before(must, at, run));
    if scenario.must.iter().zip(&onsets).any(put_off) {
        let other = unwatched()?;
        for (must, own) in scenario.must.iter().zip(&mut onsets) {
            let alone = moment(&must.from, &other, &scenario.plan);
            *own = match *own {
                Some(at) if said_before(must, at, run) => alone.filter(|alone| *alone < at).or(Some(at)),
                own => own.or(alone),
            };
        }
    }
    for (number, (must, onset)) in scenario.must.iter().zip(&onsets).enumerate() {
        let Some(onset) = *onset else {
            score.broken.push(format!("must {}: the truth never came to it", number + 1));
            continue;
        };
        let Some(at) = met(must, onset, run) else {
            score.detected = false;
            continue;
        };
        let delay = at.s() - onset.s();
        score.in_time &= delay <= must.within.0;
        if !placed(must, run) {
            score.broken.push(format!("must {}: not placed within {} m", number + 1, must.position_within.0));
        }
        if number == 0 {
            score.delay_s = Some(delay);
        }
    }
    must_not(scenario, run, &mut score);
    count_false(scenario, run, &onsets, &mut score);
    Ok(score)
}

fn must_not(scenario: &Scenario, run: &Run, score: &mut Score) {
    let not = &scenario.must_not;
    let mut broken = |text: String| {
        if !score.broken.contains(&text) {
            score.broken.push(text);
        }
    };
    for call in orders(run) {
        if not.spoken || not.words.contains(&call.call) || call.reason.is_some_and(|k| not.spoken_kinds.contains(&k)) {
            let about = call.reason.map_or("", |k| k.word());
            broken(format!("spoken: {} {} ({about})", call.call, call.tower.as_deref().unwrap_or("all")));
        }
        // Where all hold, each tower is told so, and nobody is named.
        let held = call.tower.as_ref().filter(|t| call.to == "spotter" && call.call == Word::Hold && not.holds.contains(*t));
        if let Some(tower) = held {
            broken(format!("held {tower}"));
            score.right_tower = false;
        }
    }
    for call in to_spotter(run).filter(|c| matches!(c.call, Word::Level | Word::None) && not.words.contains(&c.call)) {
        broken(format!("told: {}", call.text));
    }
    for finding in raised(run).filter(|f| not.kinds.contains(&f.kind)) {
        broken(format!("found {} {}", finding.kind, finding.tower.as_deref().unwrap_or("all")));
    }
    if let Some(most) = not.more_findings_than.filter(|most| raised(run).count() > *most) {
        broken(format!("{} findings, at most {most}", raised(run).count()));
    }
    let peak = run.truth.iter().map(Truth::rake_m).fold(0.0, f64::max);
    if not.rake.is_some_and(|most| peak > most.0) {
        broken(format!("rake of {:.0} mm", peak * 1000.0));
    }
}

/// Orders newly said to the spotter that neither a must nor a may asks for. An order to hold or stop that names a tower
/// which none of them names is a wrong tower.
fn count_false(scenario: &Scenario, run: &Run, onsets: &[Option<Mono>], score: &mut Score) {
    for call in orders(run).filter(|c| c.to == "spotter" && c.state == CallState::Said) {
        let tower = call.tower.as_deref();
        let named = |m: &Must| m.tower.is_empty() || tower.is_none() || m.tower.iter().any(|own| Some(own.as_str()) == tower);
        let asked = scenario.must.iter().zip(onsets).any(|(m, onset)| {
            let early = onset.is_some_and(|at| call.t_ms.s() < at.s() - m.early.0);
            m.word.contains(&call.call) && named(m) && (m.kind.is_empty() || call.reason.is_none_or(|k| m.kind.contains(&k))) && !early
        });
        let may = scenario.may.iter().any(|p| p.fits(call.call, call.reason, tower));
        if asked || may {
            continue;
        }
        score.false_words += 1;
        let wrong = matches!(call.call, Word::Hold | Word::Stop) && scenario.must.iter().any(|m| m.word.contains(&call.call) && !named(m));
        if wrong {
            score.right_tower = false;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn plan(id: &str) -> Plan {
        Scenario::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{id}.toml"))).unwrap().plan
    }

    fn near(found: Vec<f64>, wanted: &[f64]) {
        assert!(found.iter().zip(wanted).all(|(f, w)| (f - w).abs() < 1e-9), "{found:?}, expected {wanted:?}");
    }

    #[test]
    fn a_head_out_of_line_is_told_by_its_neighbours_and_one_off_the_plane_by_the_others() {
        near(others(&plan("12"), "B").unwrap(), &[-0.5, 1.0, -0.5]);
        near(others(&plan("12"), "C").unwrap(), &[-0.5, -0.5, 1.0]);
        near(others(&plan("13"), "C").unwrap(), &[1.0, -1.0, 1.0, -1.0]);
        assert_eq!(others(&plan("13"), "E"), None);
    }

    /// A plane has no height above itself, and an end that hangs by the mean of the others is one half of three.
    #[test]
    fn a_plane_is_level_with_itself() {
        let at = [[0.0, 0.0], [5.0, 0.0], [10.0, 0.0], [10.0, 4.0], [5.0, 4.0], [0.0, 4.0]];
        for own in 0..6 {
            let mut factors = vec![0.0; 6];
            factors[own] = 1.0;
            plane(&at, own, &mut factors);
            let height = |f: &dyn Fn([f64; 2]) -> f64| at.iter().zip(&factors).map(|(p, k)| k * f(*p)).sum::<f64>();
            assert!(height(&|_| 1.0).abs() < 1e-9 && height(&|p| 3.0 * p[0] - 2.0 * p[1]).abs() < 1e-9, "{own}: {factors:?}");
        }
    }
}
