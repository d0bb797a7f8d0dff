//! Medians, spreads and percentiles that stand up to a few wrong samples.

/// From the median of absolute deviations to the standard deviation of a normal distribution: 1 / Φ⁻¹(3/4).
/// Source: Hampel (1974); value in tests/checks/robust.toml, "mad-factor".
pub const MAD_SIGMA: f64 = 1.482_602_218_505_602;

/// The median; the mean of the middle two of an even count. `None` of nothing. Sorts `values` in place.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[half]),
        _ => Some(0.5 * (values[half - 1] + values[half])),
    }
}

/// Median, and median of the absolute deviations from it. Overwrites `values` with the sorted deviations.
pub fn median_and_mad(values: &mut [f64]) -> Option<(f64, f64)> {
    let middle = median(values)?;
    for v in values.iter_mut() {
        *v = (*v - middle).abs();
    }
    median(values).map(|mad| (middle, mad))
}

/// Median of three.
pub fn median3(a: f64, b: f64, c: f64) -> f64 {
    a.min(b).max(a.max(b).min(c))
}

/// Hampel identifier over whole series: a value further than `n_sigma` · 1.4826 · MAD from the median of its window is replaced
/// by that median; the window is cut short at the ends. Gives the series and the places replaced.
pub fn hampel(x: &[f64], half_window: usize, n_sigma: f64) -> (Vec<f64>, Vec<usize>) {
    let mut y = x.to_vec();
    let mut outliers = Vec::new();
    for i in 0..x.len() {
        let mut window = x[i.saturating_sub(half_window)..(i + half_window + 1).min(x.len())].to_vec();
        if let Some((middle, mad)) = median_and_mad(&mut window)
            && (x[i] - middle).abs() > n_sigma * MAD_SIGMA * mad
        {
            y[i] = middle;
            outliers.push(i);
        }
    }
    (y, outliers)
}

/// How a percentile is read off a sorted series.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rank {
    /// Hyndman and Fan's sixth: rank p (N + 1).
    Six,
    /// Hyndman and Fan's seventh: rank 1 + p (N − 1).
    Seven,
    /// The smallest value with at least p per cent at or below it.
    Nearest,
}

/// The `p`-th percentile (0 to 100) of `values`; `None` of nothing. Sorts in place.
pub fn percentile(values: &mut [f64], p: f64, rank: Rank) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let n = values.len();
    let last = n.checked_sub(1)?;
    let part = (p / 100.0).clamp(0.0, 1.0);
    let position = match rank {
        Rank::Six => part * (n as f64 + 1.0) - 1.0,
        Rank::Seven => part * last as f64,
        Rank::Nearest => return Some(values[((part * n as f64).ceil() as usize).saturating_sub(1).min(last)]),
    }
    .clamp(0.0, last as f64);
    let low = (position.floor() as usize).min(last);
    let high = (low + 1).min(last);
    Some(values[low] + (position - low as f64) * (values[high] - values[low]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn checks() -> toml::Table {
        include_str!("../../../tests/checks/robust.toml").parse().expect("robust.toml reads")
    }
    fn floats(v: &toml::Value) -> Vec<f64> {
        v.as_array().expect("list").iter().map(|x| x.as_float().expect("number")).collect()
    }

    /// Every case of a table of the file; how many there must be, so that none is lost on the way.
    fn cases(table: &str, count: usize) -> Vec<toml::Value> {
        let cases = checks()[table].as_array().expect("cases").clone();
        let written = include_str!("../../../tests/checks/robust.toml").matches(&format!("[[{table}]]\n")).count();
        assert_eq!((cases.len(), written), (count, count), "{table}");
        cases
    }

    /// Source: tests/checks/robust.toml, [[mad]]; Hampel (1974).
    #[test]
    fn median_and_mad_of_the_published_cases() {
        for case in cases("mad", 3) {
            let mut x = floats(&case["x"]);
            let (m, d) = median_and_mad(&mut x).expect("values");
            assert!((m - case["median"].as_float().unwrap()).abs() < 1e-12, "{case}");
            assert!((d - case["mad"].as_float().unwrap()).abs() < 1e-12, "{case}");
            assert!((d * MAD_SIGMA - case["mad_sigma"].as_float().unwrap()).abs() < 1e-12, "{case}");
        }
        assert_eq!(median_and_mad(&mut []), None);
    }

    /// Source: tests/checks/robust.toml, [[hampel]].
    #[test]
    fn hampel_of_the_published_cases() {
        for case in cases("hampel", 2) {
            let half = case["half_window"].as_integer().unwrap() as usize;
            let (y, outliers) = hampel(&floats(&case["x"]), half, case["n_sigma"].as_float().unwrap());
            assert_eq!(y.len(), floats(&case["y"]).len(), "{case}");
            for (a, b) in y.iter().zip(floats(&case["y"])) {
                assert!((a - b).abs() < 1e-12, "{case}");
            }
            let expected: Vec<usize> = case["outliers"].as_array().unwrap().iter().map(|o| o.as_integer().unwrap() as usize).collect();
            assert_eq!(outliers, expected);
        }
    }

    /// Source: tests/checks/robust.toml, [[percentile]] (NIST/SEMATECH e-Handbook 7.2.6.2).
    #[test]
    fn percentiles_of_the_published_cases() {
        for case in cases("percentile", 4) {
            let method = case["method"].as_str().unwrap();
            let rank = if method.contains("Fan 6") {
                Rank::Six
            } else if method.contains("Fan 7") {
                Rank::Seven
            } else {
                assert!(method.starts_with("smallest value"), "{method}");
                Rank::Nearest
            };
            let found = percentile(&mut floats(&case["x"]), case["p"].as_float().unwrap(), rank).unwrap();
            assert!((found - case["value"].as_float().unwrap()).abs() < 1e-9, "{method}: {found}");
        }
        assert_eq!(percentile(&mut [], 50.0, Rank::Seven), None);
    }

    #[test]
    fn median_of_three_in_any_order() {
        for (a, b, c) in [(1.0, 2.0, 3.0), (3.0, 1.0, 2.0), (2.0, 3.0, 1.0), (2.0, 2.0, 9.0), (-1.0, 2.0, 2.0)] {
            assert_eq!(median3(a, b, c), 2.0);
        }
    }
}
