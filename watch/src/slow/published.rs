//! Every published example and run length of tests/checks/cusum_ewma.toml, source beside each there.

use super::cusum::{Cusum, Side};
use super::ewma::{Ewma, lambda_of};
use super::run_length::{cusum_from, cusum_one_sided, cusum_two_sided, ewma_two_sided, h_for, normal_below, siegmund_one_sided};
use serde::Deserialize;

#[derive(Deserialize)]
struct Checks {
    example: Vec<Example>,
    arl: Vec<Arl>,
    fact: Vec<Fact>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Example {
    Ewma(EwmaExample),
    Cusum(CusumExample),
}

#[derive(Deserialize)]
struct EwmaExample {
    x: Vec<f64>,
    lambda: f64,
    start: f64,
    sigma: f64,
    #[serde(rename = "L")]
    width: f64,
    z: Vec<f64>,
    z_published: Vec<f64>,
    ucl_published: f64,
    lcl_published: f64,
    signals: Vec<usize>,
}

#[derive(Deserialize)]
struct CusumExample {
    x: Vec<f64>,
    target: f64,
    k: f64,
    h: f64,
    s_hi: Vec<f64>,
    s_lo: Vec<f64>,
    s_hi_published: Vec<f64>,
    s_lo_published: Vec<f64>,
    cum_published: Vec<f64>,
    first_signal: usize,
    signals: Vec<usize>,
}

#[derive(Deserialize)]
struct Arl {
    chart: String,
    k: Option<f64>,
    h: Option<f64>,
    lambda: Option<f64>,
    #[serde(rename = "L")]
    width: Option<f64>,
    shift: f64,
    published: String,
    arl: f64,
    published_digits_agree: bool,
    source: String,
}

#[derive(Deserialize)]
struct Fact {
    id: String,
    example: Option<toml::Table>,
}

fn checks() -> Checks {
    toml::from_str(include_str!("../../../tests/checks/cusum_ewma.toml")).unwrap()
}

#[test]
fn the_handbooks_moving_average_is_met() {
    let mut seen = 0;
    for example in checks().example {
        let Example::Ewma(e) = example else { continue };
        seen += 1;
        let mut ewma = Ewma::new(e.lambda, e.width, e.start, e.sigma);
        // The published series opens with the start itself, and its limits are the steady ones.
        let mut signals = Vec::new();
        for (i, x) in e.x.iter().enumerate() {
            ewma.take(*x);
            assert!((ewma.value() - e.z[i]).abs() < 1e-9, "value {i}: {} for {}", ewma.value(), e.z[i]);
            assert!((ewma.value() - e.z_published[i]).abs() < 0.0051, "value {i}: {} for {}", ewma.value(), e.z_published[i]);
            if (ewma.value() - e.start).abs() > ewma.steady_half_width() {
                signals.push(i + 1);
            }
        }
        assert_eq!(signals, e.signals);
        assert!((e.start + ewma.steady_half_width() - e.ucl_published).abs() < 0.00011);
        assert!((e.start - ewma.steady_half_width() - e.lcl_published).abs() < 0.00011);
    }
    assert_eq!(seen, 1);
}

#[test]
fn the_handbooks_sums_are_met() {
    let mut seen = 0;
    for example in checks().example {
        let Example::Cusum(e) = example else { continue };
        seen += 1;
        let mut cusum = Cusum::new(e.k, e.h);
        let (mut signals, mut plain) = (Vec::new(), 0.0);
        for (i, x) in e.x.iter().enumerate() {
            plain += x - e.target;
            if cusum.take(x - e.target).is_some() {
                signals.push(i + 1);
                assert_eq!(cusum.signal(), Some(Side::Above));
            }
            let [above, below] = cusum.sums();
            assert!((above - e.s_hi[i]).abs() < 1e-9 && (below - e.s_lo[i]).abs() < 1e-9, "value {i}");
            assert!((above - e.s_hi_published[i]).abs() < 0.0051 && (below - e.s_lo_published[i]).abs() < 0.0051, "value {i}");
            assert!((plain - e.cum_published[i]).abs() < 0.0101, "value {i}: {plain} for {}", e.cum_published[i]);
        }
        assert_eq!(signals, e.signals);
        assert_eq!(signals.first(), Some(&e.first_signal));
    }
    assert_eq!(seen, 1);
}

#[test]
fn every_published_run_length_is_met() {
    let checks = checks();
    assert!(checks.arl.len() >= 70, "{}", checks.arl.len());
    for a in &checks.arl {
        let found = match a.chart.as_str() {
            "cusum two-sided" => cusum_two_sided(a.k.unwrap(), a.h.unwrap(), a.shift),
            "cusum one-sided" => cusum_one_sided(a.k.unwrap(), a.h.unwrap(), a.shift),
            "ewma two-sided, steady limits" => ewma_two_sided(a.lambda.unwrap(), a.width.unwrap(), a.shift),
            other => panic!("no chart {other}"),
        }
        .unwrap();
        let what = format!("{} k {:?} h {:?} lambda {:?} shift {} ({})", a.chart, a.k, a.h, a.lambda, a.shift, a.source);
        assert!((found / a.arl - 1.0).abs() < 2e-3, "{what}: {found}, solved {}", a.arl);
        // To half of the last printed digit, and the two thousandths of the chain.
        let digits = a.published.trim_end_matches('.').split('.').nth(1).map_or(0, str::len);
        let printed: f64 = a.published.trim_end_matches('.').parse().unwrap();
        let half = 0.5 * 10f64.powi(-(digits as i32));
        let room = if a.published_digits_agree { half.max(1e-4) + 2e-3 * printed } else { 0.01 * printed };
        assert!((found - printed).abs() <= room, "{what}: {found}, published {}", a.published);
    }
}

#[test]
fn the_facts_of_the_table_hold() {
    let table = checks();
    let example = |id: &str| table.fact.iter().find(|f| f.id == id).and_then(|f| f.example.clone()).unwrap();
    let number = |t: &toml::Table, key: &str| t[key].as_float().or_else(|| t[key].as_integer().map(|i| i as f64)).unwrap();
    let lag = example("ewma-lag-ramp");
    let ewma = Ewma::new(number(&lag, "lambda"), 3.0, 0.0, 1.0);
    assert!((ewma.lag_behind(number(&lag, "r")) - number(&lag, "lag")).abs() < 1e-12);
    let mut ramped = ewma;
    for i in 0..200 {
        ramped.take(f64::from(i) * number(&lag, "r"));
    }
    assert!((199.0 * number(&lag, "r") - ramped.value() - number(&lag, "lag")).abs() < 1e-9);
    let tau = example("ewma-time-constant");
    assert!((lambda_of(number(&tau, "dt"), number(&tau, "tau")) - number(&tau, "lambda")).abs() < 1e-12);
    let delay = example("cusum-drift-delay");
    let mut cusum = Cusum::new(number(&delay, "k"), number(&delay, "h"));
    let taken = (1..100).find(|_| cusum.take(number(&delay, "d")).is_some()).unwrap();
    assert_eq!(f64::from(taken), number(&delay, "samples"));
}

#[test]
fn the_limits_of_a_moving_average_open_as_its_variance_does() {
    // Roberts (1959): var z = σ² λ/(2 − λ) (1 − (1 − λ)^(2i)); the first is λ σ itself.
    let mut ewma = Ewma::new(0.2, 3.0, 10.0, 2.0);
    ewma.take(10.0);
    assert!((ewma.half_width() - 3.0 * 2.0 * 0.2).abs() < 1e-12);
    for _ in 0..100 {
        ewma.take(10.0);
    }
    assert!((ewma.half_width() - ewma.steady_half_width()).abs() < 1e-9);
    // A first value that the steady limits would pass is seen by the exact ones.
    let mut first = Ewma::new(0.2, 3.0, 10.0, 2.0);
    assert_eq!(first.take(16.1), Some(Side::Above));
    assert!((first.value() - 10.0).abs() < first.steady_half_width());
    assert_eq!(Ewma::new(0.2, 3.0, 10.0, 2.0).take(3.9), Some(Side::Below));
}

#[test]
fn a_head_start_shortens_what_is_out_of_control_and_hardly_what_is_in_it() {
    // Lucas and Crosier (1982), Table 1, one-sided halves of k = 0.5, h = 5 with S0 = 2.5: the two-sided published values are
    // 430 in control and 6.35 at a shift of 1 (from memory).
    let in_control = cusum_from(0.5, 5.0, 0.0, 2.5).unwrap();
    let plain = cusum_one_sided(0.5, 5.0, 0.0).unwrap();
    assert!(in_control > 0.9 * plain && in_control < plain, "{in_control} {plain}");
    let fast = cusum_from(0.5, 5.0, 1.0, 2.5).unwrap();
    assert!((fast - 6.35).abs() < 0.1, "{fast}");
    let mut cusum = Cusum::new(0.5, 5.0).with_head_start(2.5);
    assert_eq!((1..100).find(|_| cusum.take(1.5).is_some()), Some(3));
}

#[test]
fn h_is_chosen_from_a_run_length() {
    for (k, shift, length) in [(0.5, 0.0, 465.0), (0.5, 0.0, 120_000.0), (1.0, 0.0, 120_000.0), (2.0, 1.0, 120_000.0)] {
        let h = h_for(k, shift, length).unwrap();
        let found = cusum_two_sided(k, h, shift).unwrap();
        assert!(found >= length && found < 1.01 * length, "k {k}: h {h} gives {found}");
        let near = 1.0 / (1.0 / siegmund_one_sided(k, h, shift) + 1.0 / siegmund_one_sided(k, h, -shift));
        assert!((near / found - 1.0).abs() < 0.35, "Siegmund {near}, chain {found}");
    }
    assert!((h_for(0.5, 0.0, 465.4).unwrap() - 5.0).abs() < 0.01);
    assert_eq!(h_for(0.0, 0.0, 1e300), None);
    assert_eq!(cusum_one_sided(0.5, 0.0, 0.0), None);
    assert_eq!(cusum_one_sided(0.5, f64::NAN, 0.0), None);
    assert_eq!(ewma_two_sided(0.0, 3.0, 0.0), None);
}

#[test]
fn a_sum_forgets_what_has_returned_and_is_held() {
    let mut cusum = Cusum::new(0.5, 5.0);
    for _ in 0..1000 {
        cusum.take(-3.0);
    }
    assert_eq!(cusum.signal(), Some(Side::Below));
    cusum.hold_at_most(2.0);
    assert_eq!((1..100).find(|_| cusum.take(0.0).is_none()), Some(4));
    cusum.clear();
    assert_eq!(cusum.sums(), [0.0, 0.0]);
    // An allowance takes what it allows from both sides.
    assert_eq!((0..1000).find_map(|i| cusum.take_allowing(2.0 * f64::from(i % 2) - 1.0, 0.5)), None);
    assert!((normal_below(1.959_963_984_540_054) - 0.975).abs() < 1e-12);
}
