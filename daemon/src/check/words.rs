//! The sheet's sentences, alike in the terminal and on paper.

use super::show::{Show, number, percent};
use raisewatch_protocol::plan::{Plan, ShownUnits};
use raisewatch_protocol::words::Step;
use raisewatch_statics::lift::Shape;
use raisewatch_statics::sheet::{Sheet, StationSheet};
use raisewatch_statics::tolerance::{Limit, Origin};

/// Stands on every sheet.
pub const ADVISES: &str = "Advises only; no safety function. The maker’s manual, the competent person and local codes hold.";
/// Where no fault was found.
pub const NOTHING_AGAINST: &str = "Nothing found against it. The lead decides.";
/// Where no cure was found either.
pub const NO_CURE: &str = "none found by moving one tower, taking weight off or adding a tower: plan it anew";

/// A sentence begins with a capital.
pub fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// The limits of height while it moves, and what governs them; why there are none, where none are left.
pub fn heights(sheet: &Sheet, show: Show) -> Vec<String> {
    if let Some(why) = &sheet.limits.refused {
        return vec![format!("{}.", sentence(why))];
    }
    let mut out = vec![];
    let raise = sheet.limits.step(Step::Raise);
    let heights = [
        (&raise.rake, if sheet.shape == Shape::Two { "between the heads" } else { "between any two heads" }),
        (&raise.line, "for an inner head out of the line of the ends"),
        (&raise.twist, "for one corner above the plane of the other three"),
    ];
    for (limit, what) in heights.into_iter().filter_map(|(l, w)| Some((l.as_ref()?, w))) {
        out.push(format!(
            "Moving: hold at {}{} {what}. {}",
            show.offset_both(limit.warn),
            stop(limit, |m| show.offset_both(m)),
            governs(limit)
        ));
    }
    out
}

/// Limits while it moves and while it stands, what governs, what the reaction takes.
pub fn how_level(plan: &Plan, sheet: &Sheet, show: Show) -> Vec<String> {
    let mut out = heights(sheet, show);
    let raise = sheet.limits.step(Step::Raise);
    let stand = sheet.limits.step(Step::Stand);
    if let Some(limit) = stand.rake.as_ref().filter(|l| Some(l.warn) != raise.rake.as_ref().map(|r| r.warn)) {
        out.push(format!("Standing: look at {}{} between heads.", show.offset_both(limit.warn), stop(limit, |m| show.offset_both(m))));
    }
    let degrees = |rad: f64| format!("{}°", number(rad.to_degrees(), 1));
    for (limit, what) in [(&raise.lean, "Masts out of plumb since they were set up"), (&raise.roll, "Truss rolled about its length")] {
        if let Some(limit) = limit {
            out.push(format!("{what}: warn at {}{}.", degrees(limit.warn), stop(limit, degrees)));
        }
    }
    for (limit, what) in [(&raise.share, "A share off what it should be at these heights"), (&raise.total, "The whole off the plan")] {
        if let Some(limit) = limit {
            out.push(format!("{what}: warn at {}{}.", show.weight(limit.warn), stop(limit, |n| show.weight(n))));
        }
    }
    let reaction = show.offset_both(sheet.limits.reaction_m);
    out.push(format!("From the word to still hands, {} s, a head still travels {reaction}.", number(plan.reaction.0, 1)));
    out
}

fn stop(limit: &Limit, show: impl Fn(f64) -> String) -> String {
    limit.stop.map_or_else(String::new, |stop| format!(", stop at {}", show(stop)))
}

fn governs(limit: &Limit) -> String {
    match &limit.origin {
        Origin::Override { by, reason } => format!("Changed by {by}: {reason}."),
        _ if limit.reason.is_empty() => String::new(),
        _ => format!("Governs: {}.", limit.reason),
    }
}

/// What rake (two towers) or heads out of line (more) do to the shares.
pub fn rake(plan: &Plan, sheet: &Sheet, show: Show) -> Vec<String> {
    let mut out = vec![];
    let name = |i: usize| sheet.towers[i].name.as_str();
    for raked in &sheet.raked {
        let [a, b] = raked.shares_n;
        out.push(format!(
            "{}° ({}) with {} high: {} {}, {} {} by what hangs; on the edge of its cradle {} {}, as the high one {} {}; masts drawn together {}.",
            number(raked.deg, 0),
            show.offset(raked.difference_m),
            name(1),
            name(0),
            show.weight(a),
            name(1),
            show.weight(b),
            name(1),
            show.weight(raked.on_edge_n[1]),
            name(0),
            show.weight(raked.on_edge_n[0]),
            show.offset(raked.portal_m)
        ));
    }
    if sheet.shape != Shape::Two {
        for k in 0..sheet.towers.len() {
            let moved: Vec<String> =
                (0..sheet.towers.len()).map(|j| format!("{} {}", name(j), signed(show, 10.0 * sheet.per_mm.rope[j][k]))).collect();
            out.push(format!("{} 10 mm higher on its rope: {} {}.", name(k), moved.join(", "), show.weight_unit()));
        }
    }
    for reach in &sheet.reaches {
        let what = match reach.gives {
            "rating" => format!("{} reaches its rating with the allowance", name(reach.tower)),
            "least" => format!("{} is down to twice its least", name(reach.tower)),
            _ => "the truss reaches its maker's table".to_owned(),
        };
        let direction = if reach.m >= 0.0 { "above" } else { "below" };
        out.push(format!("{} {} {direction} the line of the others: {what}.", name(reach.head), show.offset_both(reach.m.abs())));
    }
    if let Some(bounds) = &sheet.bounds {
        let all = |n: &[f64]| -> String {
            let shares: Vec<String> = n.iter().enumerate().map(|(j, n)| format!("{} {}", name(j), show.weight(*n))).collect();
            shares.join(", ")
        };
        out.push(format!("Level, were the frame rigid: {}.", all(&bounds.rigid_n)));
        out.push(format!("Level, were its corners hinged: {}. The truth lies between.", all(&bounds.hinged_n)));
    }
    for legs in &sheet.three_legs {
        let shares: Vec<String> = (0..sheet.towers.len()).map(|j| format!("{} {}", name(j), show.weight(legs.shares_n[j]))).collect();
        out.push(format!(
            "With {} slack: {}; {} at {} of its rating.",
            name(legs.slack),
            shares.join(", "),
            name(legs.worst),
            percent(legs.use_static)
        ));
    }
    if sheet.shape == Shape::Two && plan.towers.iter().all(|t| t.cradle.0 == 0.0) {
        out.push("No cradle width is in the plan: cradles bearing on one edge are not counted.".into());
    }
    out
}

fn signed(show: Show, n: f64) -> String {
    let text = show.bare_weight(n);
    if text.starts_with('−') || text.trim_matches(['0', '.']).is_empty() { text } else { format!("+{text}") }
}

/// Each span: moment, use of the maker's table, sag, end slopes.
pub fn truss(plan: &Plan, sheet: &Sheet, show: Show) -> Vec<String> {
    let mut out = vec![];
    for span in &sheet.spans {
        let peak = if span.sagging.value >= -span.hogging.value { span.sagging } else { span.hogging };
        let checked = match (&span.allowed, span.unchecked) {
            (Some(a), _) => format!(
                "{} of the moment and {} of the shear that the maker’s table allows at {}",
                percent(a.moment_use),
                percent(a.shear_use),
                show.length(a.row_m)
            ),
            (None, Some(why)) => format!("not checked: {why}"),
            (None, None) => "not checked".into(),
        };
        let what = if span.overhang { "overhang" } else { "span" };
        let [from, to] = span.end_slopes_rad.map(|s| number(s.to_degrees(), 2));
        out.push(format!(
            "{} {what} {} to {}: {} at {}, {checked}; sag {}, slopes {from}° and {to}°.",
            plan.pieces[span.piece].id,
            show.bare_length(span.from_m),
            show.length(span.to_m),
            show.moment(peak.value),
            show.length(peak.at_m),
            if span.sag.value.abs() < 0.01 { format!("{} mm", number(span.sag.value * 1000.0, 1)) } else { show.offset(span.sag.value) }
        ));
    }
    out
}

/// Stability of each tower at trim.
pub fn stand(plan: &Plan, sheet: &Sheet, show: Show) -> Vec<String> {
    let one = |i: usize| {
        let (tower, s) = (&sheet.towers[i], &sheet.towers[i].stability);
        let tip = match s.tip_n {
            Some(tip) => format!("a push of {} at the head tips it; it should stand {}", show.weight_both(tip), show.weight(s.expected_n)),
            None if plan.towers[i].footprint.is_none() => "not known when it tips: no footprint in the plan".into(),
            None => "not known when it tips: no tower weight in the plan".into(),
        };
        format!(
            "{} at {}: {tip}. 1° out of plumb puts its head {} off its foot.",
            tower.name,
            show.length(s.height_m),
            show.offset(s.lean_m_per_deg)
        )
    };
    (0..sheet.towers.len()).map(one).collect()
}

/// How shares change on the way up, and that it is no fault.
pub fn through_the_lift(sheet: &Sheet, show: Show) -> Vec<String> {
    let on_rope = || sheet.stations.iter().filter(|s| s.station.on == "rope");
    let (Some(first), Some(last)) = (on_rope().next(), on_rope().next_back()) else { return vec![] };
    let changes: Vec<String> = (0..sheet.towers.len())
        .map(|i| (i, last.towers[i].share.n - first.towers[i].share.n))
        .filter(|(_, n)| n.abs() >= 5.0)
        .map(|(i, n)| format!("{} {} {}", sheet.towers[i].name, if n > 0.0 { "gains" } else { "loses" }, show.weight(n.abs())))
        .collect();
    if changes.is_empty() { vec![] } else { vec![format!("On the way up {}: the tails. Not a fault.", changes.join(", "))] }
}

/// What the sheet cannot see, and the notes of the sums.
pub fn cautions(plan: &Plan, sheet: &Sheet, show: Show) -> Vec<String> {
    let notes: Vec<String> = sheet.verdict.notes.iter().filter(|note| !is_assumed(note)).cloned().collect();
    let mut out: Vec<String> = gathered(&notes).iter().map(|note| format!("{}.", sentence(note))).collect();
    let least = |i: usize| sheet.stations[sheet.towers[i].lightest].towers[i].share.n;
    let lightest = (0..sheet.towers.len())
        .min_by(|&a, &b| (least(a) - 2.0 * sheet.towers[a].least_n).total_cmp(&(least(b) - 2.0 * sheet.towers[b].least_n)));
    if let Some(i) = lightest.filter(|&i| least(i) >= 2.0 * sheet.towers[i].least_n) {
        let tower = &sheet.towers[i];
        out.push(format!(
            "Nearest to its least: {} with {}, above the typed {}.",
            tower.name,
            show.weight(least(i)),
            show.weight(tower.least_n)
        ));
    }
    out.extend(sound_alike(plan));
    out.push(if plan.people_under_at_rest {
        "Nobody under it while it moves; standing, people may be under it by the plan: the competent person decides.".into()
    } else {
        "Nobody under it while it moves; standing, the competent person decides.".into()
    });
    out.push("Floor strength, rope and pins are not seen by any instrument here.".into());
    out.push("Left out: friction, clamped cradles, swing. Two ratings add up only while the lift is level.".into());
    out
}

/// Letters that cannot be told apart in noise. Common practice, no source.
const ALIKE: &str = "BCDEGPTV";

/// Towers that are called by letters which sound alike.
fn sound_alike(plan: &Plan) -> Option<String> {
    let alike = |name: &str| name.len() == 1 && name.chars().all(|c| ALIKE.contains(c.to_ascii_uppercase()));
    let names: Vec<&str> = plan.towers.iter().map(|t| t.name.as_str()).filter(|name| alike(name)).collect();
    (names.len() > 1).then(|| format!("{} sound alike in noise: give the towers spoken names of two syllables.", names.join(" and ")))
}

/// Stiffnesses that the sums had to assume, where they matter to this lift.
pub fn assumed(sheet: &Sheet) -> Vec<String> {
    let matters = |note: &&String| is_assumed(note) && (sheet.shape == Shape::Ring || !note.starts_with("torsion"));
    sheet.verdict.notes.iter().filter(matters).map(|note| format!("{}.", sentence(note))).collect()
}

fn is_assumed(note: &str) -> bool {
    note.starts_with("bending stiffness") || note.starts_with("torsion stiffness")
}

/// On what the heads rest.
pub fn rests_on(station: &raisewatch_statics::lift::Station) -> &'static str {
    match station.on {
        "rope" => "ropes",
        "level" => "heads level",
        on => on,
    }
}

/// Notes that say the same of several pieces as one: `truss a, b: not checked`.
fn gathered(notes: &[String]) -> Vec<String> {
    let mut out: Vec<(String, Option<String>)> = vec![];
    for note in notes {
        let (head, tail) = note.split_once(": ").map_or((note.as_str(), None), |(h, t)| (h, Some(t.to_owned())));
        match out.iter_mut().find(|(h, t)| t.is_some() && *t == tail && h.starts_with("truss ") && head.starts_with("truss ")) {
            Some((same, _)) => *same += &head.replacen("truss ", ", ", 1),
            None => out.push((head.to_owned(), tail)),
        }
    }
    out.into_iter().map(|(head, tail)| tail.map_or(head.clone(), |t| format!("{head}: {t}"))).collect()
}

/// What the crew does with a spirit level alone.
pub fn by_hand(plan: &Plan, sheet: &Sheet, show: Show) -> Vec<String> {
    let raise = sheet.limits.step(Step::Raise);
    let per_turn = plan.towers.iter().map(|t| t.per_turn.0).fold(0.0, f64::max);
    let mut out = vec![format!("One turn is {}.", show.offset_both(per_turn))];
    let limit = match sheet.shape {
        Shape::Two => raise.rake.as_ref(),
        Shape::Line => raise.line.as_ref(),
        Shape::Ring => raise.twist.as_ref(),
    };
    if let Some(limit) = limit.filter(|_| per_turn > 0.0 && sheet.limits.refused.is_none()) {
        out.push(format!("{} out: raising, the high one holds; lowering, the low one.", turns(limit.warn / per_turn)));
        out.extend(limit.stop.map(|stop| format!("{} out: everybody stops.", turns(stop / per_turn))));
    }
    if let Some(counted) = sheet.limits.counted_turn.filter(|_| sheet.limits.refused.is_none()) {
        out.push(format!("Crank {} on the count, all towers, then look; then the next.", turns(counted).to_lowercase()));
    }
    out
}

/// Turns rounded down to a quarter, in words.
fn turns(turns: f64) -> String {
    let quarters = (turns * 4.0 + 1e-9).floor() as i64;
    let (whole, rest) = (quarters / 4, ["", "¼", "½", "¾"][(quarters % 4) as usize]);
    match (whole, rest) {
        (0, "") => "Less than a quarter turn".into(),
        (0, rest) => format!("{rest} turn"),
        (1, "") => "One turn".into(),
        (whole, rest) => format!("{whole}{rest} turns"),
    }
}

/// The plan's own lift and the changed one, side by side.
pub struct Comparison {
    /// What was asked.
    pub asked: Vec<String>,
    names: Vec<String>,
    pairs: Vec<(StationSheet, StationSheet)>,
}

impl Comparison {
    /// Of two sheets of the same towers.
    pub fn new(asked: Vec<String>, own: &Sheet, changed: &Sheet) -> Self {
        let pairs = own.stations.iter().cloned().zip(changed.stations.iter().cloned()).collect();
        Comparison { asked, names: own.towers.iter().map(|t| t.name.clone()).collect(), pairs }
    }

    /// A head and a row a height: the whole, then each tower's share before, after, change and use.
    pub fn rows(&self, show: Show) -> Vec<Vec<String>> {
        let mut head = vec!["height".to_owned(), "on".to_owned(), format!("whole {}", show.weight_unit()), "then".to_owned()];
        for name in &self.names {
            head.extend([name.clone(), "then".to_owned(), "change".to_owned(), "used then".to_owned()]);
        }
        let mut rows = vec![head];
        for (own, then) in &self.pairs {
            let place = format!("{} {}", show.length(own.station.height_m), own.station.what);
            let mut row = vec![place, rests_on(&own.station).to_owned(), show.bare_weight(own.total_n), show.bare_weight(then.total_n)];
            for (a, b) in own.towers.iter().zip(&then.towers) {
                row.extend([
                    show.bare_weight(a.share.n),
                    show.bare_weight(b.share.n),
                    signed(show, b.share.n - a.share.n),
                    percent(b.use_allowance),
                ]);
            }
            rows.push(row);
        }
        rows
    }
}

/// The other choice of units, for paper.
pub fn other_units(units: ShownUnits) -> ShownUnits {
    ShownUnits { pounds: !units.pounds, feet: !units.feet }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_are_told_rounded_down() {
        for (n, words) in
            [(0.2, "Less than a quarter turn"), (0.25, "¼ turn"), (0.99, "¾ turn"), (1.0, "One turn"), (2.0, "2 turns"), (2.74, "2½ turns")]
        {
            assert_eq!(turns(n), words);
        }
    }

    #[test]
    fn notes_of_several_pieces_are_one() {
        let notes = ["truss a: not checked", "no cable", "truss b: not checked", "weight: x"].map(str::to_owned);
        assert_eq!(gathered(&notes), ["truss a, b: not checked", "no cable", "weight: x"]);
    }

    #[test]
    fn letters_that_sound_alike_are_told() {
        let text = include_str!("../../../docs/examples/tanners-yard.toml");
        let plan = |text: &str| Plan::read(text, "plan.toml").unwrap();
        assert_eq!(sound_alike(&plan(text)), None);
        let letters = text.replace("name = \"Bravo\"", "").replace("name = \"Charlie\"", "");
        assert!(sound_alike(&plan(&letters)).unwrap().starts_with("B and C sound alike"));
    }
}
