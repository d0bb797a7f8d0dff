//! Long quiet: scenarios in which nothing is wrong, played with new seeds until many simulated hours are together. Nothing
//! may be spoken to the crew in any of them: a word that nothing asks for is one that people stop hearing.

use crate::drive::Run;
use crate::scenario::Scenario;
use crate::score;
use raisewatch_protocol::words::CallState;

/// What one scenario said while nothing was wrong.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heard {
    /// Simulated hours.
    pub hours: f64,
    /// Seeds played.
    pub seeds: u64,
    /// Orders newly spoken to the spotter: the seed, when, the words.
    pub words: Vec<(u64, f64, String)>,
}

/// Whether nothing is wrong in it: nothing must be told to anybody, and nothing may be spoken.
pub fn is_quiet(scenario: &Scenario) -> bool {
    scenario.must.is_empty() && scenario.must_not.spoken
}

/// How many seeds of each scenario make `hours` together, every scenario having the same part of the hours: a lift of three
/// minutes counts as much as a night. `each_h`: how long one of each lasts, h.
///
/// Every scenario is played at least once; nothing for none.
pub fn seeds(hours: f64, each_h: &[f64]) -> Vec<u64> {
    let part = hours / each_h.len().max(1) as f64;
    each_h.iter().map(|h| (part / h.max(1e-3)).ceil().max(1.0) as u64).collect()
}

impl Heard {
    /// Adds one run.
    pub fn add(&mut self, seed: u64, run: &Run) {
        self.hours += run.lasted.s() / 3600.0;
        self.seeds += 1;
        let new = score::orders(run).filter(|c| c.to == "spotter" && c.state == CallState::Said);
        self.words.extend(new.map(|c| (seed, c.t_ms.s(), c.text.clone())));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive;
    use crate::watcher::Watching;
    use std::path::Path;

    fn scenario(id: &str) -> Scenario {
        Scenario::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{id}.toml"))).unwrap()
    }

    #[test]
    fn hours_are_shared_evenly_and_none_is_left_out() {
        assert_eq!(seeds(20.0, &[0.1, 1.0, 30.0]), [67, 7, 1]);
        assert_eq!(seeds(20.0, &[]), [0; 0]);
    }

    #[test]
    fn only_those_are_quiet_in_which_nothing_must_be_told() {
        assert!(is_quiet(&scenario("17")) && is_quiet(&scenario("22")));
        assert!(!is_quiet(&scenario("01")), "a hold must come");
        assert!(!is_quiet(&scenario("15")), "the lead must be told");
    }

    #[test]
    fn a_word_is_heard_where_one_is_spoken() {
        let caught = scenario("04");
        let mut watch = Watching::new(&caught.plan, &caught.kit).unwrap();
        let mut heard = Heard::default();
        heard.add(3, &drive::drive(&caught, 3, &mut watch, false).unwrap());
        assert!(heard.words.iter().any(|(seed, at, text)| *seed == 3 && *at > 30.0 && text.starts_with("Stop.")), "{heard:?}");
        assert!((heard.hours - 38.0 / 3600.0).abs() < 1e-4 && heard.seeds == 1);
    }
}
