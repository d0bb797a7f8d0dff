//! The load sheet as text for a terminal, coloured only where it is one.

use super::show::{Show, number, percent};
use super::words::{self, Comparison};
use raisewatch_protocol::plan::Plan;
use raisewatch_statics::sheet::{Sheet, StationSheet};
use std::fmt::Write;

/// Bold and lit text, where the terminal can.
#[derive(Clone, Copy)]
pub struct Paint(pub bool);

impl Paint {
    fn wrap(self, code: &str, text: &str) -> String {
        if self.0 { format!("\x1b[{code}m{text}\x1b[0m") } else { text.to_owned() }
    }
    fn head(self, text: &str) -> String {
        self.wrap("1", text)
    }
    fn stop(self, text: &str) -> String {
        self.wrap("1;31", text)
    }
}

/// The whole sheet.
pub fn text(plan: &Plan, sheet: &Sheet, paint: Paint) -> String {
    let show = Show(plan.units);
    let mut out = String::new();
    let planner = plan.planner.as_deref().map_or_else(String::new, |p| format!(", planned by {p}"));
    let _ = writeln!(out, "{}, revision {}{planner}", paint.head(&format!("Load sheet: {}", sheet.title)), sheet.revision);
    let _ = writeln!(out, "{}\n", words::ADVISES);
    verdict(&mut out, sheet, paint);
    part(&mut out, paint, "Load schedule", schedule(sheet, show));
    part(&mut out, paint, "Shares through the lift", shares(plan, sheet, show));
    part(&mut out, paint, "How level", bullets(&words::how_level(plan, sheet, show)));
    part(&mut out, paint, "What rake and height do", bullets(&words::rake(plan, sheet, show)));
    part(&mut out, paint, "Truss", bullets(&words::truss(plan, sheet, show)));
    part(&mut out, paint, "Stand of the towers", bullets(&words::stand(plan, sheet, show)));
    part(&mut out, paint, "Cautions", bullets(&words::cautions(plan, sheet, show)));
    part(&mut out, paint, "Assumed", bullets(&words::assumed(sheet)));
    part(&mut out, paint, "If the electronics die", bullets(&words::by_hand(plan, sheet, show)));
    out
}

/// The changed lift beside the plan's own.
pub fn beside(plan: &Plan, changed: &Sheet, comparison: &Comparison, paint: Paint) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", paint.head(&format!("What if: {}", comparison.asked.join(", "))));
    let rows: Vec<Vec<String>> = comparison.rows(Show(plan.units));
    out += &table(&rows);
    out.push('\n');
    verdict(&mut out, changed, paint);
    out
}

fn verdict(out: &mut String, sheet: &Sheet, paint: Paint) {
    let faults = &sheet.verdict.faults;
    if faults.is_empty() {
        let _ = writeln!(out, "{}", paint.head(words::NOTHING_AGAINST));
    } else {
        let _ = writeln!(out, "{}", paint.stop("It must not be lifted as planned:"));
    }
    for (i, fault) in faults.iter().enumerate() {
        let _ = writeln!(out, "{}. {}.", i + 1, words::sentence(&fault.text));
        let cure = if fault.cures.is_empty() { words::NO_CURE.to_owned() } else { fault.cures.join(", or ") };
        let _ = writeln!(out, "   Cure: {cure}.");
    }
    for condition in &sheet.verdict.conditions {
        let _ = writeln!(out, "Condition: {condition}.");
    }
}

fn part(out: &mut String, paint: Paint, title: &str, body: String) {
    if !body.is_empty() {
        let _ = write!(out, "\n{}\n{body}", paint.head(title));
    }
}

fn bullets(lines: &[String]) -> String {
    lines.iter().map(|line| format!("  - {line}\n")).collect()
}

fn schedule(sheet: &Sheet, show: Show) -> String {
    let unit = show.weight_unit();
    let head = ["what", "items", &format!("working {unit}"), &format!("trim {unit}"), "±", "source"].map(str::to_owned);
    let mut rows = vec![head.to_vec()];
    for line in &sheet.schedule {
        let count = if line.count > 1 { line.count.to_string() } else { String::new() };
        let band = show.bare_weight(line.trim_n * line.band);
        rows.push(vec![
            line.name.clone(),
            count,
            show.bare_weight(line.working_n),
            show.bare_weight(line.trim_n),
            band,
            line.source.to_owned(),
        ]);
    }
    let (low, high) = (sheet.total_working, sheet.total_trim);
    rows.push(vec![
        "whole".into(),
        String::new(),
        show.bare_weight(low.n),
        show.bare_weight(high.n),
        show.bare_weight(high.sigma_n),
        show.weight_else(high.n),
    ]);
    table(&rows)
}

fn shares(plan: &Plan, sheet: &Sheet, show: Show) -> String {
    let mut head = vec!["height".to_owned(), "on".to_owned(), format!("whole {}", show.weight_unit())];
    for tower in &sheet.towers {
        head.extend([format!("{} {}", tower.name, show.weight_unit()), "±".to_owned(), format!("used ×{}", number(plan.allowance, 2))]);
    }
    let mut rows = vec![head];
    for station in &sheet.stations {
        rows.extend([share_row(station, show), other_row(station, plan)]);
    }
    let mut out = table(&rows);
    for line in words::through_the_lift(sheet, show) {
        let _ = writeln!(out, "  {line}");
    }
    out
}

fn share_row(station: &StationSheet, show: Show) -> Vec<String> {
    let place = format!("{} {}", show.length(station.station.height_m), station.station.what);
    let mut row = vec![place, words::rests_on(&station.station).to_owned(), show.bare_weight(station.total_n)];
    for tower in &station.towers {
        row.push(show.bare_weight(tower.share.n));
        row.push(show.bare_weight(tower.share.sigma_n));
        row.push(percent(tower.use_allowance));
    }
    row
}

/// The same weights in the other system, and in newtons.
fn other_row(station: &StationSheet, plan: &Plan) -> Vec<String> {
    let other = Show(words::other_units(plan.units));
    let mut row = vec![String::new(), String::new(), other.weight(station.total_n)];
    for tower in &station.towers {
        row.extend([other.weight(tower.share.n), String::new(), format!("{} N", number(tower.share.n, 0))]);
    }
    row
}

/// Columns as wide as they must be: the first to the left, numbers to the right.
fn table(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |c: usize| rows.iter().filter_map(|r| r.get(c)).map(|s| s.chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut out = String::new();
    for row in rows {
        let mut line = String::from(" ");
        for (c, cell) in row.iter().enumerate() {
            let number = cell.starts_with(|ch: char| ch.is_ascii_digit() || ch == '−') || c > 0 && row == &rows[0];
            let pad = " ".repeat(widths[c] - cell.chars().count());
            line += &if c == 0 || !number { format!(" {cell}{pad} ") } else { format!(" {pad}{cell} ") };
        }
        out += line.trim_end();
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_only_where_asked() {
        let plan = Plan::read(include_str!("../../../docs/examples/harbour-lane.toml"), "plan.toml").unwrap();
        let sheet = Sheet::new(&plan).unwrap();
        let plain = text(&plan, &sheet, Paint(false));
        assert!(!plain.contains('\x1b') && text(&plan, &sheet, Paint(true)).contains('\x1b'));
        // Show 1 of the worked examples: 96.9 and 100.1 kg at working height, 96.1 and 109.8 kg at trim.
        for value in ["96.9", "100.1", "96.1", "109.8", "214 lb", "950 N", "221 lb", "982 N", "943 N", "1077 N", "197.0", "205.9"] {
            assert!(plain.contains(value), "{value} in\n{plain}");
        }
        assert!(plain.contains(words::NOTHING_AGAINST) && plain.contains(words::ADVISES));
        let lower = plain.to_lowercase();
        for never in ["ready", "all well", "carry on", " safe ", "all clear"] {
            assert!(!lower.contains(never), "{never}");
        }
    }
}
