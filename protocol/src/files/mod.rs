//! Reading plan and kit files: TOML walked by hand with its places, so that every mistake is told at once.
//!
//! A reader asks a [`table::Tab`] for keys; what it was not asked for is an unknown key. A mistake never stops the
//! reading: values that need a broken one are left out, and a file with any mistake gives no plan.

mod kit_channel;
mod kit_read;
mod mistake;
mod plan_checks;
mod plan_hung;
mod plan_read;
mod plan_tolerance;
mod plan_tower;
mod table;

pub use mistake::{Kind, Mistake, Mistakes};

/// The candidate nearest to `word`, if it is near enough to be what was meant.
pub(crate) fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let folded = word.to_lowercase();
    let best = candidates.into_iter().map(|c| (distance(&folded, &c.to_lowercase()), c)).min_by_key(|(d, _)| *d)?;
    (best.0 <= 1 + word.chars().count() / 4 && best.0 < best.1.chars().count()).then_some(best.1)
}

/// Cut for a message.
pub(crate) fn shorten(text: &str) -> String {
    if text.chars().count() <= 60 { text.to_owned() } else { text.chars().take(57).chain("...".chars()).collect() }
}

/// Edits between two words: insert, drop, change, exchange of neighbours (restricted Damerau-Levenshtein).
fn distance(a: &str, b: &str) -> usize {
    // Long keys are no slips of the pen; the bound keeps a hostile file from costing time.
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().take(40).collect(), b.chars().take(40).collect());
    let mut rows = vec![vec![0_usize; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    rows[0] = (0..=b.len()).collect();
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let change = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut best = change.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_offered_only_where_it_is_near() {
        let keys = ["weight", "hang", "across", "pace-down", "at"];
        for (typed, meant) in
            [("wieght", Some("weight")), ("pace_down", Some("pace-down")), ("Hang", Some("hang")), ("xyzzy", None), ("", None)]
        {
            assert_eq!(nearest(typed, keys), meant, "{typed}");
        }
    }
}
