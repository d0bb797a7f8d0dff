//! The load sheet for printing: A4, black on white, one file with nothing fetched from outside.

use super::WhatIf;
use super::show::{Show, number, percent};
use super::{drawing, plots, words};
use base64::Engine;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use raisewatch_protocol::plan::{Hung, Lies, Plan};
use raisewatch_statics::sheet::Sheet;

const STYLE: &str = include_str!("paper.css");
const CALL: &[u8] = include_bytes!("../../pages/fonts/call.woff2");
const TEXT: &[u8] = include_bytes!("../../pages/fonts/text.woff2");

/// The whole page.
pub fn page(plan: &Plan, sheet: &Sheet, what_if: Option<&WhatIf>) -> String {
    let show = Show(plan.units);
    let pages = 2 + usize::from(what_if.is_some());
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                title { "Load sheet, " (plan.title) }
                style { (PreEscaped(fonts())) (PreEscaped(STYLE)) }
            }
            body {
                (first(plan, sheet, show, pages))
                (second(plan, sheet, show, pages))
                @if let Some(w) = what_if { (third(w, show, pages)) }
            }
        }
    }
    .into_string()
}

fn fonts() -> String {
    let face = |name: &str, weight: &str, bytes: &[u8]| {
        let data = base64::engine::general_purpose::STANDARD.encode(bytes);
        format!("@font-face{{font-family:{name};src:url(data:font/woff2;base64,{data}) format(\"woff2\");font-weight:{weight}}}")
    };
    face("Call", "600", CALL) + &face("Text", "200 800", TEXT)
}

fn header(plan: &Plan, title: &str) -> Markup {
    html! {
        header {
            h1 { (title) }
            span { b { (plan.title) } ", plan " (plan.revision) }
            span class="r" {
                @if let Some(planner) = &plan.planner { "planned by " (planner) br; }
                span class="m" { "advises only; no safety function" }
            }
        }
    }
}

fn footer(page: usize, pages: usize) -> Markup {
    html! {
        footer {
            span { "raisewatch load sheet. Not a certificate, not a thorough-examination report." }
            span { "lb = kg × 2.2046, ft = m × 3.2808" }
            span { (page) " of " (pages) }
        }
    }
}

fn heading(text: &str, note: &str) -> Markup {
    html! { h2 { (text) span class="m" { (note) } } }
}

fn list(lines: &[String]) -> Markup {
    html! { ul { @for line in lines { li { (line) } } } }
}

fn by_hand(plan: &Plan, sheet: &Sheet, show: Show) -> Markup {
    html! { (heading("If the electronics die", "")) p { (words::by_hand(plan, sheet, show).join(" ")) } }
}

fn first(plan: &Plan, sheet: &Sheet, show: Show, pages: usize) -> Markup {
    // The shorter column takes it, so that most lifts fit the page.
    let rows = sheet.schedule.len() + if sheet.towers.len() <= 2 { sheet.stations.len() + 2 } else { 0 };
    let left = rows <= 14;
    html! {
        section class="paper" {
            (header(plan, "Load sheet"))
            (verdict(sheet))
            (PreEscaped(drawing::draw(plan, sheet, show)))
            @if sheet.towers.len() > 2 { (shares(plan, sheet, show)) }
            div class="cols" {
                div {
                    (heading("Load schedule", show.weight_unit()))
                    (schedule(plan, sheet, show))
                    @if sheet.towers.len() <= 2 { (shares(plan, sheet, show)) }
                    @if left { (by_hand(plan, sheet, show)) }
                }
                div {
                    (heading("How level", ""))
                    @for line in words::heights(sheet, show) { p { (line) } }
                    (heading("Cautions", ""))
                    (list(&words::cautions(plan, sheet, show)))
                    @if !left { (by_hand(plan, sheet, show)) }
                }
            }
            div class="sign" { span { "competent person" } span { "spotter has read it" } span { "date, time" } }
            (footer(1, pages))
        }
    }
}

fn verdict(sheet: &Sheet) -> Markup {
    let v = &sheet.verdict;
    html! {
        div class={ "verdict" @if !v.faults.is_empty() { " against" } } {
            @if v.faults.is_empty() {
                p class="c" { (words::NOTHING_AGAINST) }
            } @else {
                p class="c" { "It must not be lifted as planned" }
                ol {
                    @for fault in &v.faults {
                        li {
                            b { (words::sentence(&fault.text)) "." }
                            @if fault.cures.is_empty() { " Cure: " (words::NO_CURE) "." } @else { " Cure: " (fault.cures.join(", or ")) "." }
                        }
                    }
                }
            }
            @for condition in &v.conditions { p { b { "Condition: " } (condition) "." } }
        }
    }
}

fn schedule(plan: &Plan, sheet: &Sheet, show: Show) -> Markup {
    html! {
        table {
            tr { th { "what" } th { "weight" } th { "±" } th class="l" { "at " (show.length_unit()) } th class="l" { "source" } }
            @for (i, line) in sheet.schedule.iter().enumerate() {
                tr {
                    td { (line.name) @if line.count > 1 { " × " (line.count) } @if line.tail { " at trim" } }
                    td { b { (show.bare_weight(line.trim_n)) } }
                    td { (show.bare_weight(line.trim_n * line.band)) }
                    td class="l" { (places(plan, sheet, i, show)) }
                    td class="l" { (line.source) }
                }
            }
            tr {
                td { b { "Whole at trim" } }
                td { b { (show.bare_weight(sheet.total_trim.n)) } }
                td { (show.bare_weight(sheet.total_trim.sigma_n)) }
                td class="l" colspan="2" { (show.weight_else(sheet.total_trim.n)) }
            }
        }
    }
}

/// Where a line of the schedule hangs; with several pieces, on which.
fn places(plan: &Plan, sheet: &Sheet, line: usize, show: Show) -> String {
    let name = sheet.schedule[line].name.as_str();
    let stretch = |a: f64, b: f64| format!("{}–{}", short(show, a), short(show, b));
    if let Some(piece) = plan.pieces.get(line) {
        // The pieces' own weights come first, in the plan's order.
        return stretch(0.0, piece.length().0);
    }
    let mut all: Vec<(usize, String)> = vec![];
    for load in plan.loads.iter().filter(|l| l.name == name) {
        let place = match load.hung {
            Hung::Point { at, .. } => short(show, at.0),
            Hung::Spread { from, to, .. } => stretch(from.0, to.0),
        };
        all.push((load.piece, place));
    }
    if all.is_empty() {
        // Every cable is a line of its own: the nth of a name is the nth in the plan.
        let nth = sheet.schedule[..line].iter().filter(|l| l.name == name).count();
        all.extend(plan.cables.iter().filter(|c| c.name == name).nth(nth).map(|cable| {
            let place = match cable.lies {
                Lies::Along { from, to, .. } => stretch(from.0, to.0),
                Lies::Coil { at, .. } => format!("coil {}", short(show, at.0)),
                Lies::Tail { at, .. } => short(show, at.0),
            };
            (cable.piece, place)
        }));
    }
    let mut pieces: Vec<usize> = all.iter().map(|(piece, _)| *piece).collect();
    pieces.dedup();
    let on = match &pieces[..] {
        _ if plan.pieces.len() == 1 => String::new(),
        [one] => format!("{} ", plan.pieces[*one].id),
        several => return format!("on {} pieces", several.len()),
    };
    match &all[..] {
        [] => String::new(),
        few if few.len() <= 3 => on + &few.iter().map(|(_, place)| place.as_str()).collect::<Vec<_>>().join(", "),
        [first, .., last] => format!("{on}{} … {}", first.1, last.1),
        _ => String::new(),
    }
}

fn short(show: Show, m: f64) -> String {
    number(if show.0.feet { m / 0.3048 } else { m }, 1)
}

fn shares(plan: &Plan, sheet: &Sheet, show: Show) -> Markup {
    html! {
        (heading("Shares at heights", &format!("{}; used: with the allowance × {}", show.weight_unit(), number(plan.allowance, 2))))
        table {
            tr { th { "height" } th { "whole" } @for t in &sheet.towers { th { (t.name) } th { "±" } th { "used" } } }
            @for s in &sheet.stations {
                tr {
                    td { (show.length(s.station.height_m)) " " (s.station.what) @if s.station.on != "rope" { ", " (words::rests_on(&s.station)) } }
                    td { (show.bare_weight(s.total_n)) }
                    @for t in &s.towers {
                        td { b { (show.bare_weight(t.share.n)) } }
                        td { (show.bare_weight(t.share.sigma_n)) }
                        td { (percent(t.use_allowance)) }
                    }
                }
            }
        }
        @for line in words::through_the_lift(sheet, show) { p class="m" { (line) } }
    }
}

fn second(plan: &Plan, sheet: &Sheet, show: Show, pages: usize) -> Markup {
    let other = Show(words::other_units(plan.units));
    html! {
        section class="paper" {
            (header(plan, "Load sheet, the sums"))
            div class="plots" {
                figure { (PreEscaped(plots::through_the_lift(plan, sheet, show))) figcaption { "Shares through the lift, on the ropes" } }
                figure { (PreEscaped(plots::out_of_level(plan, sheet, show))) figcaption { "Shares out of level" } }
            }
            (heading("Shares in both systems", &format!("{}; {}; N", show.weight_unit(), other.weight_unit())))
            table {
                tr { th { "height" } @for t in &sheet.towers { th { (t.name) } th { (other.weight_unit()) } th { "N" } } }
                @for s in &sheet.stations {
                    tr {
                        td { (show.length_both(s.station.height_m)) ", " (words::rests_on(&s.station)) }
                        @for t in &s.towers {
                            td { b { (show.bare_weight(t.share.n)) } }
                            td { (other.bare_weight(t.share.n)) }
                            td { (number(t.share.n, 0)) }
                        }
                    }
                }
            }
            (heading("How level, in full", ""))
            (list(&words::how_level(plan, sheet, show)))
            (heading("What rake and height do", ""))
            (list(&words::rake(plan, sheet, show)))
            (heading("Truss", "at trim, on the ropes"))
            (list(&words::truss(plan, sheet, show)))
            (heading("Stand of the towers", "at trim"))
            (list(&words::stand(plan, sheet, show)))
            @let assumed = words::assumed(sheet);
            @if !assumed.is_empty() { (heading("Assumed", "")) (list(&assumed)) }
            p class="m" { (words::ADVISES) }
            (footer(2, pages))
        }
    }
}

fn third(what_if: &WhatIf, show: Show, pages: usize) -> Markup {
    let rows = what_if.comparison.rows(show);
    html! {
        section class="paper" {
            (header(&what_if.plan, "What if"))
            p class="c" { (what_if.comparison.asked.join(", ")) }
            (PreEscaped(drawing::draw(&what_if.plan, &what_if.sheet, show)))
            (verdict(&what_if.sheet))
            (heading("Beside the plan’s own", show.weight_unit()))
            table {
                @for (i, row) in rows.iter().enumerate() {
                    tr { @for cell in row { @if i == 0 { th { (cell) } } @else { td { (cell) } } } }
                }
            }
            (heading("How level", ""))
            (list(&words::how_level(&what_if.plan, &what_if.sheet, show)))
            (footer(3, pages))
        }
    }
}
