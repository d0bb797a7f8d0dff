//! The last of the lift, for a desk that is opened late: offsets and shares as they were shown, in two memories of a
//! fixed size, fine for a moving lift and coarse for a standing one. What was not known stays null, and a time in which
//! nothing was shown is a gap in the times.

use raisewatch_protocol::mono::{Mono, Span};
use serde::Serialize;
use serde_json::Value;
use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

/// The fine memory: a minute and a half, five times a second. 450 points.
const FINE: (Span, Span) = (Span::ms(90_000), Span::ms(200));
/// The coarse one: two hours, every five seconds. 1440 points.
const COARSE: (Span, Span) = (Span::ms(2 * 3600 * 1000), Span::ms(5_000));
/// Ticks may come a little early.
const EARLY: Span = Span::ms(20);

/// Offset, mm; measured and expected share, N.
type Head = [Option<f32>; 3];

/// What was shown.
#[derive(Default)]
pub struct Past {
    inner: Mutex<Inner>,
}

#[derive(Default)]
struct Inner {
    towers: Vec<String>,
    fine: VecDeque<(Mono, Vec<Head>)>,
    coarse: VecDeque<(Mono, Vec<Head>)>,
}

/// The past as it is sent. Each list of a tower is as long as `t_ms`.
#[derive(Serialize)]
struct Sent<'a> {
    towers: &'a [String],
    fine: Track,
    coarse: Track,
}

#[derive(Serialize)]
struct Track {
    t_ms: Vec<Mono>,
    offset_mm: Vec<Vec<Option<f32>>>,
    measured_n: Vec<Vec<Option<f32>>>,
    expected_n: Vec<Vec<Option<f32>>>,
}

impl Past {
    /// Remembers a view that is shown at `t`.
    pub fn take(&self, t: Mono, view: &Value) {
        let Some(towers) = view.get("towers").and_then(Value::as_array) else { return };
        let ids = towers.iter().map(|tower| tower["id"].as_str().unwrap_or_default());
        // What is kept is replaced whole below; a panic elsewhere cannot leave it half done.
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        if !ids.clone().eq(inner.towers.iter().map(String::as_str)) || inner.fine.back().is_some_and(|(last, _)| *last > t) {
            *inner = Inner { towers: ids.map(str::to_owned).collect(), ..Inner::default() };
        }
        let heads = || towers.iter().map(head).collect();
        keep(&mut inner.fine, FINE, t, heads);
        keep(&mut inner.coarse, COARSE, t, heads);
    }

    /// As JSON.
    pub fn json(&self) -> String {
        let inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        let towers = inner.towers.len();
        let sent = Sent { towers: &inner.towers, fine: track(&inner.fine, towers), coarse: track(&inner.coarse, towers) };
        serde_json::to_string(&sent).unwrap_or_default()
    }
}

fn head(tower: &Value) -> Head {
    let blind = tower["blind"].as_bool().unwrap_or(false);
    let number = |key: &str, digits: f64| tower[key].as_f64().map(|v| ((v * digits).round() / digits) as f32);
    let seen = |v: Option<f32>| v.filter(|_| !blind);
    [seen(number("offset_mm", 10.0)), seen(number("measured_n", 1.0)), number("expected_n", 1.0)]
}

fn keep(kept: &mut VecDeque<(Mono, Vec<Head>)>, (lasts, each): (Span, Span), t: Mono, heads: impl FnOnce() -> Vec<Head>) {
    if kept.back().is_some_and(|(last, _)| t.since(*last).0 + EARLY.0 < each.0) {
        return;
    }
    kept.push_back((t, heads()));
    while kept.front().is_some_and(|(first, _)| t.since(*first) > lasts) {
        kept.pop_front();
    }
}

fn track(kept: &VecDeque<(Mono, Vec<Head>)>, towers: usize) -> Track {
    let row = |which: usize| (0..towers).map(|tower| kept.iter().map(|(_, heads)| heads[tower][which]).collect()).collect();
    Track { t_ms: kept.iter().map(|(t, _)| *t).collect(), offset_mm: row(0), measured_n: row(1), expected_n: row(2) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn view(offset: Option<f64>, blind: bool) -> Value {
        json!({ "towers": [
            { "id": "A", "offset_mm": 0.0, "measured_n": 950.4, "expected_n": 949.6, "blind": false },
            { "id": "B", "offset_mm": offset, "measured_n": 981.0, "expected_n": 982.0, "blind": blind },
        ] })
    }

    fn sent(past: &Past) -> Value {
        serde_json::from_str(&past.json()).unwrap()
    }

    #[test]
    fn what_is_not_known_stays_unknown_and_silence_is_a_gap() {
        let past = Past::default();
        past.take(Mono(0), &view(Some(12.34), false));
        past.take(Mono(200_000), &view(None, false));
        past.take(Mono(400_000), &view(Some(14.0), true));
        past.take(Mono(9_000_000), &Value::Null);
        past.take(Mono(9_200_000), &view(Some(20.0), false));
        let sent = sent(&past);
        assert_eq!(sent["towers"], json!(["A", "B"]));
        assert_eq!(sent["fine"]["t_ms"], json!([0, 200, 400, 9200]));
        assert_eq!(sent["fine"]["offset_mm"][1].to_string(), "[12.3,null,null,20.0]");
        assert_eq!(sent["fine"]["measured_n"][1].to_string(), "[981.0,981.0,null,981.0]");
        assert_eq!(sent["fine"]["expected_n"][0][0], 950.0);
        assert_eq!(sent["coarse"]["t_ms"], json!([0, 9200]));
    }

    #[test]
    fn both_memories_are_bounded_and_thinned() {
        let past = Past::default();
        for tenth in 0..110_000_u64 {
            past.take(Mono(tenth * 100_000), &view(Some(1.0), false));
        }
        let sent = sent(&past);
        let count = |which: &str| sent[which]["t_ms"].as_array().unwrap().len();
        assert_eq!((count("fine"), count("coarse")), (451, 1441));
        assert_eq!(sent["fine"]["t_ms"][450], 10_999_800);
    }

    #[test]
    fn another_clock_or_other_towers_begin_anew() {
        let past = Past::default();
        past.take(Mono(9_000_000), &view(Some(1.0), false));
        past.take(Mono(1_000), &view(Some(2.0), false));
        assert_eq!(sent(&past)["fine"]["t_ms"], json!([1]));
        past.take(Mono(900_000), &json!({ "towers": [] }));
        assert_eq!(sent(&past)["fine"]["offset_mm"], json!([]));
        assert_eq!(sent(&Past::default())["coarse"]["t_ms"], json!([]));
    }
}
