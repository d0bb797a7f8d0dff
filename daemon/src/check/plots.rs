//! Two plots for the second page: shares through the lift, and what rake or a head out of line does to them.

use super::show::Show;
use plotters::coord::Shift;
use plotters::prelude::*;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::units::Force;
use raisewatch_statics::lift::Shape;
use raisewatch_statics::sheet::Sheet;

const SIZE: (u32, u32) = (345, 230);
const FOOT_M: f64 = 0.3048;
type Fault = Box<dyn std::error::Error>;
type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// One line of a plot.
struct Series {
    name: String,
    points: Vec<(f64, f64)>,
    dashed: bool,
    /// Index of the tower: its line style.
    tower: usize,
}

/// A plot before it is drawn.
struct Plot {
    x_words: String,
    y_words: String,
    series: Vec<Series>,
}

fn weight(show: Show, n: f64) -> f64 {
    if show.0.pounds { Force(n).lb() } else { Force(n).kg() }
}

/// Shares by height on the ropes, with the ratings dashed.
pub fn through_the_lift(plan: &Plan, sheet: &Sheet, show: Show) -> String {
    let height = |m: f64| if show.0.feet { m / FOOT_M } else { m };
    let rope: Vec<_> = sheet.stations.iter().filter(|s| s.station.on == "rope").collect();
    let mut series = vec![];
    for (i, tower) in sheet.towers.iter().enumerate() {
        let points = rope.iter().map(|s| (height(s.station.height_m), weight(show, s.towers[i].share.n))).collect();
        series.push(Series { name: tower.name.clone(), points, dashed: false, tower: i });
    }
    let rated = rope.iter().map(|s| {
        let lowest = s.towers.iter().map(|t| t.rated_n / plan.allowance).fold(f64::MAX, f64::min);
        (height(s.station.height_m), weight(show, lowest))
    });
    series.push(Series { name: format!("rating / {:.2}", plan.allowance), points: rated.collect(), dashed: true, tower: 0 });
    let x_words = format!("height of the heads, {}", show.length_unit());
    draw(&Plot { x_words, y_words: format!("share, {}", show.weight_unit()), series })
}

/// Two towers: shares by rake, plain and on the edge of the cradle. More: shares by the height of one head.
pub fn out_of_level(plan: &Plan, sheet: &Sheet, show: Show) -> String {
    let y_words = format!("share at trim, {}", show.weight_unit());
    let plot = match (sheet.shape, &sheet.rake) {
        (Shape::Two, Some(rake)) => {
            Plot { x_words: format!("rake, degrees, {} high +", sheet.towers[1].name), y_words, series: by_rake(sheet, &rake[1], show) }
        }
        _ => {
            let head = sheet.reaches.first().map_or(0, |r| r.head);
            let x_words = format!("{} above the line of the others, {}", sheet.towers[head].name, if show.0.feet { "in" } else { "mm" });
            Plot { x_words, y_words, series: by_head(plan, sheet, head, show) }
        }
    };
    draw(&plot)
}

fn by_rake(sheet: &Sheet, two: &raisewatch_statics::rake::TwoTowers, show: Show) -> Vec<Series> {
    let Some(trim) = sheet.stations.iter().rfind(|s| s.station.on == "rope") else { return vec![] };
    let degrees = || (-20..=20).map(|k| f64::from(k) / 10.0);
    let mut out = vec![];
    for (i, tower) in sheet.towers.iter().enumerate().take(2) {
        let turn = if i == 1 { 1.0 } else { -1.0 };
        let hanging = |deg: f64| trim.towers[i].share.n + turn * two.hanging_n_per_rad * deg.to_radians().tan();
        // Once the cradles bear on their edges, the high one gains what the low one loses.
        let edge = |deg: f64| hanging(deg) + turn * deg.signum() * two.edge_n[usize::from(deg > 0.0)];
        out.push(Series {
            name: tower.name.clone(),
            points: degrees().map(|d| (d, weight(show, hanging(d)))).collect(),
            dashed: false,
            tower: i,
        });
        if two.edge_n.iter().any(|n| *n > 0.0) {
            let name = format!("{}, cradles on edge", tower.name);
            let points = degrees().filter(|d| d.abs() > 0.2).map(|d| (d, weight(show, edge(d)))).collect();
            out.push(Series { name, points, dashed: true, tower: i });
        }
    }
    out
}

fn by_head(plan: &Plan, sheet: &Sheet, head: usize, show: Show) -> Vec<Series> {
    let Some(trim) = sheet.stations.iter().rfind(|s| s.station.on == "rope") else { return vec![] };
    let mm = || (-30..=30).map(f64::from);
    let x = |mm: f64| if show.0.feet { mm / 25.4 } else { mm };
    let mut out: Vec<Series> = (sheet.towers.iter().enumerate())
        .map(|(j, tower)| {
            let share = |mm: f64| trim.towers[j].share.n + sheet.per_mm.rope[j][head] * mm;
            Series { name: tower.name.clone(), points: mm().map(|v| (x(v), weight(show, share(v)))).collect(), dashed: false, tower: j }
        })
        .collect();
    let lowest = trim.towers.iter().map(|t| t.rated_n / plan.allowance).fold(f64::MAX, f64::min);
    let points = mm().map(|v| (x(v), weight(show, lowest))).collect();
    out.push(Series { name: format!("rating / {:.2}", plan.allowance), points, dashed: true, tower: 0 });
    out
}

/// SVG of a plot; a plot that cannot be drawn says so in its place.
fn draw(plot: &Plot) -> String {
    let mut out = String::new();
    let drawn = {
        let area = SVGBackend::with_string(&mut out, SIZE).into_drawing_area();
        on(&area, plot).and_then(|()| area.present().map_err(Fault::from))
    };
    drawn.map_or_else(|fault| format!("<p>This plot could not be drawn: {}</p>", fault.to_string().replace('<', " ")), |()| out)
}

fn on(area: &Area<'_>, plot: &Plot) -> Result<(), Fault> {
    let all = || plot.series.iter().flat_map(|s| s.points.iter().copied()).filter(|(x, y)| x.is_finite() && y.is_finite());
    let (x0, x1) = all().fold((f64::MAX, f64::MIN), |(a, b), (x, _)| (a.min(x), b.max(x)));
    let (y0, y1) = all().fold((0.0_f64, 1.0_f64), |(a, b), (_, y)| (a.min(y), b.max(y)));
    if x0 > x1 {
        return Err("no heights".into());
    }
    let (x1, pad) = (if x1 - x0 < 1e-6 { x0 + 1.0 } else { x1 }, (y1 - y0) * 0.08);
    let grey = RGBColor(79, 86, 89);
    let small = ("sans-serif", 11).into_font().color(&grey);
    let mut chart = ChartBuilder::on(area)
        .margin(6)
        .x_label_area_size(34)
        .y_label_area_size(44)
        .build_cartesian_2d(x0..x1, y0 - if y0 < 0.0 { pad } else { 0.0 }..y1 + pad)?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(200, 204, 206).stroke_width(1))
        .axis_style(grey)
        .x_labels(6)
        .y_labels(6)
        .label_style(small.clone())
        .axis_desc_style(small.clone())
        .x_desc(plot.x_words.as_str())
        .y_desc(plot.y_words.as_str())
        .draw()?;
    let ends: Vec<f64> = plot.series.iter().map(|s| s.points.last().map_or(0.0, |p| p.1)).collect();
    let mut labels = apart(&ends, (y1 - y0) * 13.0 / 178.0).into_iter();
    for series in &plot.series {
        // Told apart by thickness and grey, never by hue: the sheet is printed.
        let shade = [RGBColor(0, 0, 0), RGBColor(120, 128, 132), RGBColor(60, 66, 70), RGBColor(160, 168, 172)][series.tower % 4];
        let width = if series.tower % 2 == 0 { 1 } else { 3 };
        let style = shade.stroke_width(if series.dashed { 1 } else { width });
        if series.dashed {
            chart.draw_series(DashedLineSeries::new(series.points.iter().copied(), 5, 4, style))?;
        } else {
            chart.draw_series(LineSeries::new(series.points.iter().copied(), style))?;
        }
        if let (Some((x, _)), Some(y)) = (series.points.last(), labels.next()) {
            let dx = -(series.name.chars().count() as i32) * 6;
            chart.draw_series(std::iter::once(
                EmptyElement::at((*x, y)) + Text::new(series.name.clone(), (dx, -13), ("sans-serif", 11).into_font()),
            ))?;
        }
    }
    Ok(())
}

/// Heights of labels, none nearer to another than `gap`, each as near to its line's end as the ones below allow.
fn apart(ends: &[f64], gap: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..ends.len()).collect();
    order.sort_by(|&a, &b| ends[a].total_cmp(&ends[b]));
    let (mut out, mut last) = (ends.to_vec(), f64::NEG_INFINITY);
    for i in order {
        out[i] = ends[i].max(last + gap);
        last = out[i];
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_keep_apart_in_their_order() {
        assert_eq!(apart(&[5.0, 1.0, 5.5], 2.0), [5.0, 1.0, 7.0]);
        assert_eq!(apart(&[1.0, 1.0, 1.0], 1.0), [1.0, 2.0, 3.0]);
    }

    #[test]
    fn every_shape_of_lift_is_drawn() {
        for text in [
            include_str!("../../../docs/examples/harbour-lane.toml"),
            include_str!("../../../docs/examples/tanners-yard.toml"),
            include_str!("../../../docs/examples/moorgate.toml"),
        ] {
            let plan = Plan::read(text, "plan.toml").unwrap();
            let sheet = Sheet::new(&plan).unwrap();
            for svg in [through_the_lift(&plan, &sheet, Show(plan.units)), out_of_level(&plan, &sheet, Show(plan.units))] {
                assert!(svg.starts_with("<svg") && sheet.towers.iter().all(|t| svg.contains(&t.name)), "{svg}");
            }
        }
    }
}
