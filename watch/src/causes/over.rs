//! A limit of the level that is passed beyond doubt before its on-delay has run.

use crate::condition::Known;

/// Sum of an excess in standard deviations and its time that is beyond doubt, s: half of one over the on-delay (0.6 s).
const OVER: f64 = 0.3;
/// The estimate is never surer than the zeros of its boxes, mm.
const LEAST_SIGMA_MM: f64 = 3.0;
/// A warn limit weighed reading by reading: what is looked ahead to, over the limit, in standard deviations of the estimate, summed
/// over time while it stays over. An excess of half of one comes to the sum in the on-delay of the table; one that grows, as of a
/// head that stands while the other is cranked on, comes to it sooner. A one-sided cumulative sum: Page, 1954.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Over {
    seen_s: Option<f64>,
    sum: f64,
}

impl Over {
    /// Takes the excess over the limit; whether it is beyond doubt.
    pub(super) fn see(&mut self, excess: Option<Known>, now_s: f64) -> bool {
        let dt = self.seen_s.map_or(0.0, |at| (now_s - at).clamp(0.0, 0.1));
        self.seen_s = Some(now_s);
        match excess.filter(|e| e.value > 0.0) {
            Some(e) => self.sum += e.value / e.sigma.max(LEAST_SIGMA_MM) * dt,
            None => self.sum = 0.0,
        }
        self.sum >= OVER
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// When the sum is beyond doubt, s, for an excess given by time.
    fn sure_at(sigma: f64, excess: impl Fn(f64) -> f64) -> Option<f64> {
        let mut over = Over::default();
        (0..400).map(|i| i as f64 * 0.01).find(|&t| over.see(Some(Known { value: excess(t), sigma }), t))
    }

    #[test]
    fn half_a_deviation_takes_the_delay_of_the_table_and_a_ramp_less() {
        let steady = sure_at(10.0, |_| 5.0).unwrap();
        assert!((steady - 0.6).abs() < 0.03, "{steady}");
        // Heads that part at 60 mm/s, as it is looked ahead to: 10 * 0.3 = 60 t^2 / 2.
        let ramp = sure_at(10.0, |t| 60.0 * t).unwrap();
        assert!((ramp - 0.316).abs() < 0.03, "{ramp}");
    }

    #[test]
    fn what_swings_about_the_limit_is_never_sure() {
        assert_eq!(sure_at(5.0, |t| 2.5 * (t * std::f64::consts::TAU).sin()), None);
        assert_eq!(sure_at(5.0, |_| -1.0), None);
        // However sure the estimate believes itself to be.
        assert!(sure_at(0.1, |_| 3.0).is_some_and(|t| t > 0.28));
    }
}
