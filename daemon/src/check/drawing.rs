//! The lift drawn to scale: a straight truss from the front with its moment hung under it, anything else from above.

use super::show::{Show, number, percent};
use raisewatch_protocol::plan::{Hung, Lies, Plan};
use raisewatch_statics::sheet::Sheet;
use std::fmt::Write;

/// Width of the drawing, CSS px; 1 px is 1/96 in on paper.
const WIDTH: f64 = 706.0;
/// CSS px per metre at 1:1.
const PX_PER_M: f64 = 96.0 / 0.0254;
const SCALES: [f64; 10] = [50.0, 75.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0, 400.0, 500.0];
/// Weight from which a load is drawn large, N (about 15 kg).
const LARGE_N: f64 = 147.0;

/// The drawing as SVG.
pub fn draw(plan: &Plan, sheet: &Sheet, show: Show) -> String {
    match axis(plan) {
        Some(axis) => Elevation::new(plan, sheet, show, axis).svg(),
        None => from_above(plan, sheet, show),
    }
}

/// An SVG under way.
struct Svg(String);

impl Svg {
    fn path(&mut self, d: &str, fill: &str, width: f64, extra: &str) {
        let stroke = if width > 0.0 { "var(--bright)" } else { "none" };
        let _ = write!(self.0, r#"<path d="{d}" fill="{fill}" stroke="{stroke}" stroke-width="{width}" {extra}/>"#);
    }
    fn line(&mut self, d: &str, width: f64) {
        self.path(d, "none", width, "");
    }
    fn text(&mut self, x: f64, y: f64, size: f64, anchor: &str, class: &str, text: &str) {
        let text = escape(text);
        let _ = write!(self.0, r#"<text x="{x:.1}" y="{y:.1}" font-size="{size}" text-anchor="{anchor}" class="{class}">{text}</text>"#);
    }
    fn done(self, height: f64, label: &str) -> String {
        let label = escape(label);
        format!(
            r#"<svg width="{WIDTH}" height="{height:.0}" viewBox="0 0 {WIDTH} {height:.0}" role="img" aria-label="{label}">{}</svg>"#,
            self.0
        )
    }
}

/// Text made harmless for XML.
fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// Origin and direction of a truss whose pieces all lie on one line.
struct Axis {
    origin: [f64; 2],
    along: [f64; 2],
    length: f64,
}

fn ends(plan: &Plan, piece: usize) -> [[f64; 2]; 2] {
    let p = &plan.pieces[piece];
    [[p.from[0].0, p.from[1].0], [p.to[0].0, p.to[1].0]]
}

fn axis(plan: &Plan) -> Option<Axis> {
    let [from, to] = ends(plan, 0);
    let length = plan.pieces[0].length().0;
    let along = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
    let all: Vec<[f64; 2]> = (0..plan.pieces.len()).flat_map(|p| ends(plan, p)).collect();
    let off = |p: &[f64; 2]| ((p[1] - from[1]) * along[0] - (p[0] - from[0]) * along[1]).abs();
    if all.iter().any(|p| off(p) > 0.05) {
        return None;
    }
    let s: Vec<f64> = all.iter().map(|p| (p[0] - from[0]) * along[0] + (p[1] - from[1]) * along[1]).collect();
    let (low, high) = (s.iter().copied().fold(f64::MAX, f64::min), s.iter().copied().fold(f64::MIN, f64::max));
    Some(Axis { origin: [from[0] + along[0] * low, from[1] + along[1] * low], along, length: high - low })
}

impl Axis {
    /// Place along the whole truss, m.
    fn along(&self, plan: &Plan, piece: usize, x_m: f64) -> f64 {
        let [from, to] = ends(plan, piece);
        let part = x_m / plan.pieces[piece].length().0;
        let at = [0, 1].map(|i| from[i] + (to[i] - from[i]) * part - self.origin[i]);
        at[0] * self.along[0] + at[1] * self.along[1]
    }
}

/// The elevation.
struct Elevation<'a> {
    plan: &'a Plan,
    sheet: &'a Sheet,
    show: Show,
    axis: Axis,
    scale: f64,
    /// CSS px per metre.
    m: f64,
    left: f64,
    floor: f64,
    /// Under side of the truss.
    y: f64,
    depth: f64,
}

impl<'a> Elevation<'a> {
    fn new(plan: &'a Plan, sheet: &'a Sheet, show: Show, axis: Axis) -> Self {
        let (depth, trim) = (plan.pieces[0].depth.0, plan.trim_height.0);
        // Outriggers may stand wider than the truss.
        let wider = plan.towers.iter().map(|t| {
            let (at, foot) = (axis.along(plan, t.piece, t.at.0), t.footprint.map_or(0.4, |f| f.0));
            (foot - at).max(at + foot - axis.length).max(0.0)
        });
        let wider = wider.fold(0.0, f64::max);
        let fits = |s: &&f64| {
            let m = PX_PER_M / **s;
            (axis.length + 2.0 * wider) * m <= WIDTH - 20.0 && (trim + depth) * m <= 430.0
        };
        let scale = *SCALES.iter().find(fits).unwrap_or(&500.0);
        let m = PX_PER_M / scale;
        let y = 46.0 + depth * m;
        let left = (WIDTH - axis.length * m) / 2.0;
        Elevation { plan, sheet, show, scale, m, left, floor: y + trim * m, y, depth: depth * m, axis }
    }

    /// Place along the whole truss, m.
    fn along(&self, piece: usize, x_m: f64) -> f64 {
        self.axis.along(self.plan, piece, x_m)
    }

    fn px(&self, piece: usize, x_m: f64) -> f64 {
        self.left + self.along(piece, x_m) * self.m
    }

    fn up(&self, height_m: f64) -> f64 {
        self.floor - height_m * self.m
    }

    fn svg(&self) -> String {
        let mut svg = Svg(String::new());
        svg.line(&format!("M0 {:.1}H{WIDTH}", self.floor), 1.5);
        svg.line(&format!("M0 {:.1}H{WIDTH}", self.y), 0.75);
        self.truss(&mut svg);
        (0..self.plan.towers.len()).for_each(|i| self.tower(&mut svg, i));
        self.moment(&mut svg);
        self.loads(&mut svg);
        self.places(&mut svg);
        let middle = WIDTH / 2.0;
        let note = format!("drawn 1:{}, true both ways; {} trim", self.scale, self.show.length_both(self.plan.trim_height.0));
        svg.text(middle, self.floor + 32.0, 11.5, "middle", "m", &note);
        let names: Vec<&str> = self.plan.towers.iter().map(|t| t.name.as_str()).collect();
        let label = format!(
            "Truss of {} on {}, trim {}",
            self.show.length(self.axis.length),
            names.join(", "),
            self.show.length(self.plan.trim_height.0)
        );
        svg.done(self.floor + 38.0, &label)
    }

    fn truss(&self, svg: &mut Svg) {
        for (i, piece) in self.plan.pieces.iter().enumerate() {
            let (a, b) = (self.px(i, 0.0), self.px(i, piece.length().0));
            let panels = (piece.length().0 / 0.5).round().max(2.0) as usize;
            let mut zigzag = String::new();
            for k in 0..=panels {
                let x = a + (b - a) * k as f64 / panels as f64;
                let _ =
                    write!(zigzag, "{}{x:.1} {:.1}", if k == 0 { "M" } else { "L" }, if k % 2 == 0 { self.y } else { self.y - self.depth });
            }
            svg.line(&zigzag, 0.8);
            svg.line(&format!("M{a:.1} {:.1}H{b:.1}V{:.1}H{a:.1}z", self.y, self.y - self.depth), 2.0);
        }
    }

    fn tower(&self, svg: &mut Svg, i: usize) {
        let tower = &self.plan.towers[i];
        let x = self.px(tower.piece, tower.at.0);
        let foot = tower.footprint.map_or(0.4, |f| f.0) * self.m;
        let dash = if tower.footprint.is_none() { "stroke-dasharray=\"3 3\"" } else { "" };
        let knee = self.up(0.5_f64.min(self.plan.trim_height.0 / 3.0));
        svg.path(
            &format!("M{x:.1} {knee:.1}L{:.1} {f:.1}M{x:.1} {knee:.1}L{:.1} {f:.1}", x - foot, x + foot, f = self.floor),
            "none",
            1.0,
            dash,
        );
        let trim = self.plan.trim_height.0;
        let mut cuts = vec![0.0];
        cuts.extend(tower.pins.iter().map(|p| p.0).filter(|p| *p < trim - 0.05));
        cuts.push(trim);
        let sections = cuts.len() - 1;
        for (k, pair) in cuts.windows(2).enumerate() {
            let half = 7.0 - 3.5 * k as f64 / sections.max(2) as f64;
            let (low, high) = (self.up(pair[0]), self.up(pair[1]));
            svg.path(&format!("M{:.1} {low:.1}V{high:.1}H{:.1}V{low:.1}", x - half, x + half), "var(--ground)", 1.0, "");
            if k > 0 {
                let _ = write!(svg.0, r#"<circle cx="{x:.1}" cy="{:.1}" r="2.4" fill="var(--ground)" stroke="var(--bright)"/>"#, low - 6.0);
            }
        }
        let at_trim = self.sheet.stations.iter().rfind(|s| s.station.on == "rope").map(|s| &s.towers[i]);
        if let Some(at) = at_trim {
            let text = format!("{} {} of {}", tower.name, self.show.weight(at.share.n), self.show.bare_weight(at.rated_n));
            svg.text(
                x.clamp(60.0, WIDTH - 60.0),
                self.floor + 17.0,
                if self.plan.towers.len() > 4 { 11.0 } else { 15.0 },
                "middle",
                "num",
                &text,
            );
        }
    }

    fn loads(&self, svg: &mut Svg) {
        for load in &self.plan.loads {
            match load.hung {
                Hung::Point { at, weight } => {
                    let x = self.px(load.piece, at.0);
                    svg.line(&format!("M{x:.1} {:.1}v6", self.y), 1.0);
                    let shape = if weight.0 < LARGE_N { "h16v14h-16z" } else { "h20l-3 24h-14z" };
                    let fill = if weight.0 < LARGE_N { "var(--ground)" } else { "var(--ribbon)" };
                    let half = if weight.0 < LARGE_N { 8.0 } else { 10.0 };
                    svg.path(&format!("M{:.1} {:.1}{shape}", x - half, self.y + 6.0), fill, 1.0, "");
                }
                Hung::Spread { from, to, .. } => {
                    let (a, b) = (self.px(load.piece, from.0), self.px(load.piece, to.0));
                    svg.path(&format!("M{a:.1} {:.1}H{b:.1}v10H{a:.1}z", self.y + 3.0), "var(--ribbon)", 1.0, "");
                }
            }
        }
        for cable in &self.plan.cables {
            match cable.lies {
                Lies::Along { from, to, .. } => {
                    svg.line(
                        &format!("M{:.1} {:.1}H{:.1}", self.px(cable.piece, from.0), self.y - self.depth - 2.5, self.px(cable.piece, to.0)),
                        1.0,
                    );
                }
                Lies::Coil { at, .. } => {
                    let _ = write!(
                        svg.0,
                        r#"<circle cx="{:.1}" cy="{:.1}" r="5" fill="none" stroke="var(--bright)"/>"#,
                        self.px(cable.piece, at.0),
                        self.y - self.depth / 2.0
                    );
                }
                Lies::Tail { at, .. } => {
                    let x = self.px(cable.piece, at.0);
                    svg.path(&format!("M{x:.1} {:.1}V{:.1}", self.y, self.floor), "none", 1.2, r#"stroke-dasharray="6 2""#);
                    svg.text(x + 7.0, self.up(self.plan.trim_height.0 * 0.45), 11.5, "start", "", &cable.name);
                }
            }
        }
    }

    /// The places of towers and loads above the truss; those too near their neighbour keep their tick alone.
    fn places(&self, svg: &mut Svg) {
        let top = self.y - self.depth;
        for tower in &self.plan.towers {
            let (x, at) = (self.px(tower.piece, tower.at.0), self.along(tower.piece, tower.at.0));
            svg.line(&format!("M{x:.1} {:.1}v14", top - 22.0), 0.75);
            svg.text(x, top - 26.0, 13.0, "middle", "num", &format!("{} {}", self.show.bare_length(at), tower.name));
        }
        let points = self.plan.loads.iter().filter_map(|l| match l.hung {
            Hung::Point { at, .. } => Some((l.piece, at.0)),
            Hung::Spread { .. } => None,
        });
        let mut marks: Vec<f64> = points.map(|(piece, at)| self.along(piece, at)).collect();
        marks.extend([0.0, self.axis.length]);
        marks.sort_by(f64::total_cmp);
        let mut last = f64::MIN;
        for at in marks {
            let x = self.left + at * self.m;
            svg.line(&format!("M{x:.1} {:.1}v4", top - 6.0), 0.75);
            let free = self.plan.towers.iter().all(|t| (self.px(t.piece, t.at.0) - x).abs() > 6.0);
            if x - last > 26.0 && free {
                svg.text(x, top - 10.0, 11.0, "middle", "m", &self.show.bare_length(at));
                last = x;
            }
        }
    }

    /// The moment at trim hangs under the truss on the same metres, the maker's table dashed.
    fn moment(&self, svg: &mut Svg) {
        let base = self.y + 52.0;
        let values = self.sheet.diagrams.iter().flat_map(|d| d.moment_nm.iter().copied());
        let largest = values.fold(0.0_f64, |m, v| m.max(v.abs()));
        let allowed = self.sheet.spans.iter().filter_map(|s| s.allowed.as_ref()).map(|a| a.moment_nm).fold(0.0, f64::max);
        let room = (self.floor - base - 70.0).max(30.0);
        // A table far above the moment leaves the paper rather than flattening the curve.
        let scale = room / allowed.max(largest).min(largest * 6.0).max(1.0);
        for d in &self.sheet.diagrams {
            let (Some(first), Some(last)) = (d.x_m.first(), d.x_m.last()) else { continue };
            let mut curve = format!("M{:.1} {base:.1}", self.px(d.piece, *first));
            for (x, moment) in d.x_m.iter().zip(&d.moment_nm) {
                let _ = write!(curve, "L{:.1} {:.1}", self.px(d.piece, *x), base + moment * scale);
            }
            let _ = write!(curve, "L{:.1} {base:.1}z", self.px(d.piece, *last));
            svg.path(&curve, "var(--ribbon)", 1.5, "");
        }
        for span in &self.sheet.spans {
            let Some(allowed) = span.allowed.as_ref().filter(|a| a.moment_nm * scale <= room + 1.0) else { continue };
            let y = base + allowed.moment_nm * scale;
            let (a, b) = (self.px(span.piece, span.from_m), self.px(span.piece, span.to_m));
            svg.path(&format!("M{:.1} {y:.1}H{:.1}", a.min(b) + 10.0, a.max(b) - 10.0), "none", 1.2, r#"stroke-dasharray="7 4""#);
        }
        self.moment_words(svg, base, scale);
    }

    fn moment_words(&self, svg: &mut Svg, base: f64, scale: f64) {
        let size = |s: &raisewatch_statics::truss::Span| s.sagging.value.max(-s.hogging.value);
        let Some(span) = self.sheet.spans.iter().max_by(|a, b| size(a).total_cmp(&size(b))) else { return };
        let sags = span.sagging.value >= -span.hogging.value;
        let peak = if sags { span.sagging } else { span.hogging };
        let x = self.px(span.piece, peak.at_m).clamp(150.0, WIDTH - 150.0);
        let y = base + peak.value.max(0.0) * scale + 17.0;
        let text = format!("{} at {}", self.show.moment(peak.value), self.show.length(self.along(span.piece, peak.at_m)));
        svg.text(x, y, 15.0, "middle", "num", &text);
        let words = match (&span.allowed, span.unchecked) {
            (Some(a), _) => format!(
                "{} of the maker’s table at {} ({})",
                percent(a.moment_use),
                self.show.length(a.row_m),
                self.show.moment(a.moment_nm)
            ),
            (None, Some(why)) => format!("not checked: {why}"),
            (None, None) => String::new(),
        };
        svg.text(x, y + 15.0, 11.5, "middle", "", &words);
    }
}

/// The truss from above: pieces, towers with their shares, what hangs by its size.
fn from_above(plan: &Plan, sheet: &Sheet, show: Show) -> String {
    let corners: Vec<[f64; 2]> = (0..plan.pieces.len()).flat_map(|p| ends(plan, p)).collect();
    let bound = |i: usize, f: fn(f64, f64) -> f64, start: f64| corners.iter().map(|c| c[i]).fold(start, f);
    let (left, right) = (bound(0, f64::min, f64::MAX), bound(0, f64::max, f64::MIN));
    let (low, high) = (bound(1, f64::min, f64::MAX), bound(1, f64::max, f64::MIN));
    let fits = |s: &&f64| (right - left) * PX_PER_M / **s <= WIDTH - 220.0 && (high - low) * PX_PER_M / **s <= 300.0;
    let scale = *SCALES.iter().find(fits).unwrap_or(&500.0);
    let m = PX_PER_M / scale;
    let (x0, top) = ((WIDTH - (right - left) * m) / 2.0, 56.0);
    let px = |p: [f64; 2]| [x0 + (p[0] - left) * m, top + (high - p[1]) * m];
    let place = |piece: usize, x: f64| {
        let [a, b] = ends(plan, piece);
        let part = x / plan.pieces[piece].length().0;
        px([a[0] + (b[0] - a[0]) * part, a[1] + (b[1] - a[1]) * part])
    };
    let mut svg = Svg(String::new());
    for (i, piece) in plan.pieces.iter().enumerate() {
        let ([ax, ay], [bx, by]) = (place(i, 0.0), place(i, piece.length().0));
        let line = format!("M{ax:.1} {ay:.1}L{bx:.1} {by:.1}");
        let width = (piece.width.0 * m).max(6.0);
        svg.path(&line, "none", width, r#"stroke-linecap="square""#);
        svg.path(&line, "none", width - 3.0, r#"stroke-linecap="square" style="stroke:var(--ground)""#);
        let middle = [(ax + bx) / 2.0, (ay + by) / 2.0];
        let centre = [WIDTH / 2.0, top + (high - low) * m / 2.0];
        let inward = [0, 1].map(|k| middle[k] + (centre[k] - middle[k]).clamp([-58.0, -28.0][k], [58.0, 28.0][k]));
        let text = format!("{}, {}", piece.id, show.length(piece.length().0));
        svg.text(inward[0], inward[1] + 4.0, 11.5, "middle", "m", &text);
    }
    for load in &plan.loads {
        if let Hung::Point { at, weight } = load.hung {
            let [x, y] = place(load.piece, at.0);
            let r = (weight.0 / LARGE_N).sqrt() * 5.0;
            let _ = write!(
                svg.0,
                r#"<circle cx="{x:.1}" cy="{y:.1}" r="{:.1}" fill="var(--ribbon)" stroke="var(--bright)"/>"#,
                r.clamp(2.5, 14.0)
            );
        }
    }
    let trim = sheet.stations.iter().rfind(|s| s.station.on == "rope");
    for (i, tower) in plan.towers.iter().enumerate() {
        let [x, y] = place(tower.piece, tower.at.0);
        svg.path(&format!("M{:.1} {:.1}h14v14h-14z", x - 7.0, y - 7.0), "var(--bright)", 1.0, "");
        let (right, up) = (x > WIDTH / 2.0, y < top + (high - low) * m / 2.0);
        let (tx, anchor) = if right { (x + 14.0, "start") } else { (x - 14.0, "end") };
        let ty = if up { y - 14.0 } else { y + 24.0 };
        svg.text(tx, ty, 15.0, anchor, "num", &tower.name);
        if let Some(at) = trim.map(|s| &s.towers[i]) {
            let text = format!("{} of {}", show.weight(at.share.n), show.bare_weight(at.rated_n));
            svg.text(tx, ty + 15.0, 13.0, anchor, "num", &text);
        }
    }
    let height = top + (high - low) * m + 66.0;
    let upstage = if plan.upstage_is_y { "up the page is +y, upstage" } else { "up the page is +y, downstage" };
    svg.text(WIDTH / 2.0, height - 8.0, 11.5, "middle", "m", &format!("from above, drawn 1:{}; {upstage}", number(scale, 0)));
    svg.done(height, &format!("Truss of {} pieces on {} towers, from above", plan.pieces.len(), plan.towers.len()))
}
