//! What a run is worth: held against what must and must not be said, with the truth for a clock.

use crate::drive::Run;
use crate::scenario::{Must, Onset, Scenario};
use crate::watcher::Told;
use raisewatch_protocol::mono::Mono;
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

fn raised(run: &Run) -> impl Iterator<Item = &Finding> {
    run.told.iter().filter_map(|told| match told {
        Told::Finding(finding) if finding.state == LifeState::Raised => Some(finding),
        _ => None,
    })
}

/// When the truth comes to `onset`, if ever.
pub fn moment(onset: &Onset, run: &Run) -> Option<Mono> {
    let first = |holds: &dyn Fn(&Truth) -> bool| run.truth.iter().find(|t| holds(t)).map(|t| t.t);
    match onset {
        Onset::At(at) => Mono::from_ms(at.0 * 1000.0),
        Onset::Fault(number) => run.truth.last()?.begun.iter().find(|(i, _)| i + 1 == *number).map(|(_, at)| *at),
        Onset::Step(step) => first(&|t| t.step == *step),
        Onset::Rake(by) => first(&|t| t.rake_m() >= by.0),
        Onset::Line(tower, by) => first(&|t| out_of_line(t, tower).is_some_and(|m| if by.0 < 0.0 { m <= by.0 } else { m >= by.0 })),
        Onset::Lean(tower, by) => {
            let start = run.truth.first()?.head(tower)?.lean_rad;
            first(&|t| t.head(tower).is_some_and(|h| (h.lean_rad[0] - start[0]).hypot(h.lean_rad[1] - start[1]) >= by.0))
        }
        Onset::RopeSlack(tower) => first(&|t| t.head(tower).is_some_and(|h| h.rope_n < 0.3 * h.share_n)),
        Onset::Under(tower, limit) => first(&|t| t.head(tower).is_some_and(|h| h.share_n < *limit)),
        Onset::OverRating(tower) => over_rating(tower, run),
    }
}

/// How far a tower's crank stands out of the middle of the others: by their mean place in the list for a line, by the plane
/// of the other three for a ring of four.
fn out_of_line(truth: &Truth, tower: &str) -> Option<f64> {
    let at = truth.heads.iter().position(|h| h.tower == tower)?;
    let crank = |i: usize| truth.heads[i].crank_m;
    match truth.heads.len() {
        4 => Some(crank(at) - crank((at + 1) % 4) - crank((at + 3) % 4) + crank((at + 2) % 4)),
        n if at > 0 && at + 1 < n => Some(crank(at) - (crank(at - 1) + crank(at + 1)) / 2.0),
        _ => truth.above_others_m(tower),
    }
}

fn over_rating(tower: &str, run: &Run) -> Option<Mono> {
    let share = |t: &Truth| t.head(tower).map_or(0.0, |h: &Head| h.share_n);
    let at = run.truth.windows(50).find(|w| w.iter().map(share).sum::<f64>() / 50.0 > 2224.1)?;
    at.last().map(|t| t.t)
}

/// When what must be said was said: the first that fits and is not too early.
fn met(must: &Must, onset: Mono, run: &Run) -> Option<Mono> {
    let from = onset.0.saturating_sub((must.early.0 * 1e6) as u64);
    let fits_tower = |tower: Option<&str>| must.tower.is_empty() || tower.is_some_and(|t| must.tower.iter().any(|own| own == t));
    if must.word.is_empty() {
        let fits = |f: &&Finding| {
            must.kind.contains(&f.kind)
                && must.severity.is_none_or(|s| s == f.severity)
                && fits_tower(f.tower.as_deref())
                && f.t_ms.0 >= from
        };
        return raised(run).find(fits).map(|f| f.t_ms);
    }
    let fits = |c: &&Call| {
        must.word.contains(&c.call)
            && (must.kind.is_empty() || c.reason.is_some_and(|k| must.kind.contains(&k)))
            && fits_tower(c.tower.as_deref())
            && must.then.is_none_or(|then| c.then.iter().any(|t| t.call == then))
            && c.t_ms.0 >= from
    };
    orders(run).filter(|c| c.to == "spotter").find(fits).map(|c| c.t_ms)
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
/// truth from ever coming to what the word was for, and then it is the unwatched lift that says when it would have.
pub fn score(scenario: &Scenario, run: &Run, unwatched: impl Fn() -> anyhow::Result<Run>) -> anyhow::Result<Score> {
    let mut score = Score { detected: true, in_time: true, right_tower: true, ..Score::default() };
    let mut onsets: Vec<Option<Mono>> = scenario.must.iter().map(|must| moment(&must.from, run)).collect();
    if onsets.contains(&None) {
        let other = unwatched()?;
        onsets = onsets.iter().zip(&scenario.must).map(|(own, must)| own.or_else(|| moment(&must.from, &other))).collect();
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
        let held = call.tower.as_ref().filter(|t| call.call == Word::Hold && not.holds.contains(*t));
        if let Some(tower) = held {
            broken(format!("held {tower}"));
            score.right_tower = false;
        }
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
