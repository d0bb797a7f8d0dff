//! The words of a lift: one phrase file, TOML, default English. Text is rendered here, once, before it leaves the watch.
//!
//! Keys are those of [`DEFAULTS`], and with `page-` those of what pages say of themselves (`pages.rs`); a file may replace any of them, in any language. `{tower}` is a spoken name, `{turns}` turns in
//! words, `{reason}` a reason of up to four words, `{amount}` a number with unit, `{place}` a place on the truss, `{what}` a
//! channel or node.

mod file;
mod pages;

use crate::condition::Towards;
pub use file::PhraseFault;
use pages::PAGES;
use raisewatch_protocol::words::{Channel, Kind};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Key and words of everything that the watch says.
///
/// Never "carry on", "go", "clear", "ready", "safe", "all well": the calm word is "Level."; a test checks it.
pub const DEFAULTS: &[(&str, &str)] = &[
    // Calls.
    ("level", "Level."),
    ("not-zeroed", "Not zeroed."),
    ("not-proved", "Not proved."),
    ("no-data", "No data."),
    ("no-data-from", "No data from {tower}."),
    ("level-unknown", "Level not known."),
    ("too-slow", "{tower} heard too seldom."),
    ("lead-directs", "Stopped. The lead directs."),
    ("wait-for-lead", "Wait for the lead."),
    ("stop", "Stop. {reason}"),
    ("stop-bare", "Stop."),
    ("hold", "Hold {tower}."),
    ("hold-all", "All hold."),
    ("up", "{tower} up {turns}."),
    ("down", "{tower} down {turns}."),
    ("easy", "Easy. {reason}"),
    ("pin", "Pin {tower}."),
    // Turns in words.
    ("turns-0.25", "a quarter"),
    ("turns-0.5", "half"),
    ("turns-0.75", "three quarters"),
    ("turns-1", "one"),
    ("turns-1.25", "one and a quarter"),
    ("turns-1.5", "one and a half"),
    ("turns-1.75", "one and three quarters"),
    ("turns-2", "two"),
    // Reasons: at most four words.
    ("reason-uneven", "{tower} out of level."),
    ("reason-twist", "{tower} twists it."),
    ("reason-lean", "{tower} leaning{way}."),
    ("reason-roll", "Truss rolling{way}."),
    ("reason-joint", "Look at the joints."),
    ("reason-sinking", "{tower} sinking."),
    ("reason-portal", "Masts pulled together."),
    ("reason-caught", "Caught near {tower}."),
    ("reason-resting", "{tower} is resting."),
    ("reason-slack", "{tower} rope slack."),
    ("reason-overload", "{tower} over."),
    ("reason-dropped", "{tower} dropped."),
    ("reason-dropped-all", "A tower dropped."),
    ("reason-stuck", "{tower} stuck."),
    ("reason-slipping", "{tower} slipping."),
    ("reason-top", "{tower} at the top."),
    ("reason-off-plan", "{tower} off plan."),
    ("reason-off-plan-all", "Weight off plan."),
    ("reason-extra-weight", "Extra weight near {tower}."),
    ("reason-extra-weight-all", "Extra weight."),
    ("reason-missing-weight", "Weight gone near {tower}."),
    ("reason-missing-weight-all", "Weight gone."),
    ("reason-light", "{tower} too light."),
    ("reason-not-landed", "{tower} on the rope."),
    ("reason-crossed", "{tower} rope crossed."),
    ("reason-bypassed", "{tower} cell bypassed."),
    ("reason-silent", "No data from {tower}."),
    ("reason-never-heard", "No data from {tower}."),
    ("reason-frozen", "{tower} reading stuck."),
    ("reason-knocked", "{tower} instrument moved."),
    ("reason-noisy", "{tower} readings rough."),
    ("reason-out-of-range", "{tower} reading impossible."),
    ("reason-zero-gone", "{tower} zero gone."),
    ("reason-swapped", "{tower} labels swapped."),
    ("reason-backwards", "{tower} reads backwards."),
    ("reason-wrong-unit", "{tower} unit wrong."),
    ("reason-wrong-plan", "Wrong plan."),
    ("reason-battery", "{tower} battery low."),
    ("reason-skew", "{tower} clock jumped."),
    ("reason-not-fitted", "{tower} lacks instruments."),
    ("reason-stop-said", "Somebody said stop."),
    ("reason-all", "All"),
    // Findings.
    ("uneven-high", "{tower} {amount} high."),
    ("uneven-low", "{tower} {amount} low."),
    ("uneven-unknown", "{tower} out of level."),
    ("twist-high", "{tower} {amount} above the plane of the others."),
    ("twist-low", "{tower} {amount} below the plane of the others."),
    ("twist-unknown", "{tower} twisted."),
    ("lean", "{tower} leaning{way} {amount}."),
    ("roll", "Truss rolled{way} {amount}."),
    ("joint", "A joint of the truss opens: ends diverge {amount}."),
    ("sinking", "{tower} leaning slowly{way}: {amount}."),
    ("sinking-down", "{tower} going down slowly: {amount} to the next tower."),
    ("portal", "Masts pulled together by the truss: {amount}."),
    ("portal-apart", "Masts pushed apart: {amount}."),
    ("caught", "Caught{place} near {tower}: {amount} more."),
    ("caught-all", "Caught{place}: {amount} more."),
    ("resting", "Resting{place} near {tower}: {amount} less."),
    ("resting-all", "Resting{place}: {amount} less."),
    ("slack", "{tower} rope slack. {amount} missing."),
    ("overload", "{tower} at {amount}, rated {limit}."),
    ("dropped", "{tower} dropped {amount}."),
    ("dropped-all", "A tower dropped {amount}."),
    ("dropped-unknown", "{tower} dropped."),
    ("stuck", "{tower} does not move: {amount} behind."),
    ("stuck-unknown", "{tower} does not move."),
    ("slipping", "{tower} slips: {amount}."),
    ("slipping-unknown", "{tower} slips: brake or rope gives."),
    ("top", "{tower}: end of a section reached."),
    ("off-plan", "{tower} {amount} off plan, no cause found."),
    ("off-plan-all", "Total {amount} off plan, no cause found."),
    ("extra-weight", "{amount} more than planned{place}."),
    ("missing-weight", "{amount} less than planned{place}."),
    ("light", "{tower} too light to come down by itself: {amount}."),
    ("not-landed", "{tower} still on the rope: {amount}."),
    ("crossed", "{tower}: rope crossed on the drum?"),
    ("bypassed", "{tower}: load goes past the cell? {amount} missing."),
    ("silent", "No data from {tower}: {what} silent."),
    ("slow", "{tower}: {what} heard every {amount}, too seldom to guard a moving lift."),
    ("never-heard", "No data from {tower} yet: {what} never heard."),
    ("frozen", "{what} on {tower} repeats one value."),
    ("knocked", "{what} on {tower} moved. {guard}"),
    ("noisy", "{what} on {tower} too rough to guard."),
    ("out-of-range", "{what} on {tower} reads what cannot be: {amount}."),
    ("zero-gone", "{what} on {tower} lost its zero: {amount}."),
    ("zero-gone-unknown", "{what} on {tower}: its zero is in doubt."),
    ("swapped", "{tower}: another tower answered the turn. Labels swapped?"),
    ("backwards", "{what} on {tower} reads backwards."),
    ("wrong-unit", "{tower}: loads read {amount} times the plan. Another unit than stated, kg for lb?"),
    ("wrong-unit-all", "All loads read {amount} times the plan. Another unit than stated, kg for lb?"),
    ("wrong-plan", "The plan does not fit what is heard."),
    ("battery", "Battery of {what} on {tower}: {amount}."),
    ("skew", "Clock of {what} on {tower} jumped by {amount}."),
    ("not-fitted", "{tower}: {what} not fitted."),
    ("stop-said", "Stop said by {what}."),
    ("guarded", "The tower is still guarded by another."),
    ("unguarded", "Nothing else guards it."),
    ("place", " at {amount}"),
    ("way-upstage", " upstage"),
    ("way-downstage", " downstage"),
    ("way-tower", " towards {tower}"),
    ("way-outwards", " outwards"),
    ("way-down", " down"),
    ("everywhere", "the lift"),
    ("somebody", "somebody"),
    ("mast-along", "Mast tilt along"),
    ("mast-across", "Mast tilt across"),
    ("truss-along", "Tilt along"),
    ("truss-across", "Tilt across"),
    ("head-load", "Head load"),
    ("rope-load", "Rope load"),
    ("height", "Height"),
    ("channel-battery", "Battery"),
    ("all-channels", "everything"),
    ("an-instrument", "An instrument"),
    // Replies.
    ("zero-taken", "{what} on {tower} zeroed."),
    ("zero-in-rig", "Zero is taken in rig only; this is {step}."),
    ("zero-few", "{what} on {tower}: {amount} readings in the last 3 s, 10 needed. Not zeroed."),
    ("zero-spread", "{what} on {tower} moves by {amount}, {limit} allowed. Not zeroed."),
    ("zero-channel", "Say which channel is zeroed."),
    ("zero-none", "No such channel on {tower}: {what}."),
    ("no-tower", "No such tower: {what}."),
    ("no-finding", "No such finding: {what}."),
    ("which-finding", "Say which finding."),
    ("nothing-open", "{what} is over already."),
    ("seen-first", "{what} has to be seen first."),
    ("no-stop", "{what} is no stop."),
    ("no-shelving", "{what} is a stop: never put aside."),
    ("mending-already", "{what} is being cured by the lead already."),
    ("gone", "{what} is gone: nothing to put aside."),
    ("lead-only", "That is the lead's to say."),
    ("step-asked", "Heads move, and the step is {step}. Which step is it?"),
    ("step-unusual", "{step} after {before} is unusual. Recorded."),
    ("turn-step", "A turn is proved in test-lift only; this is {step}."),
    ("turn-tower", "Say at which tower the turn is."),
    ("turn-nothing", "Turn on {tower}: nothing moved. Not proved."),
    ("turn-proved", "{tower} proved."),
    ("turn-wrong", "Turn on {tower}: it moved otherwise than a turn would. Not proved."),
    ("turn-unread", "Turn on {tower}: no level reading before it. Say it again with the readings still."),
    ("turn-blunt", "Turn on {tower}: no instrument of this kit can show it. Not proved."),
    ("next-turns", "Next, on the count: {what}. Advice, the lead calls."),
    ("next-turn", "Next: {turns}. The lead calls."),
    ("next-wait", "wait"),
    ("ahead-hold", "At this rate the hold limit in {amount}."),
    ("ahead-stop", "At this rate the stop limit in {amount}."),
    ("learnt", "{tower}: {amount} a turn, planned {limit}."),
    ("learnt-no-rise", "{tower}: turned alone; no height tells its rise."),
    ("learnt-departs", "{tower}: a turn now does {amount} of what it did at first. Look at its foot, rope and joints."),
    ("hung", "{amount} hung{place}: {what}?"),
    ("hung-unplanned", "{amount} hung{place}: nothing planned fits."),
    ("taken", "{amount} taken off{place}: {what}?"),
    ("taken-unplanned", "{amount} taken off{place}: nothing planned fits."),
    ("hung-or", ", or "),
    ("handed-over", "Handed over to {what}."),
    ("handed-over-aside", "Handed over to {what}. What was put aside counts anew: {amount}."),
    ("read-back-step", "Step {step}. {what}"),
    ("pins-measured", "{tower} on the pins, measured{place}."),
    ("pins-said", "{tower} on the pins, said{place}."),
    ("pins-contradicted", "{tower} said to be on the pins{place}; its rope still carries."),
    ("pins-open", "{tower}: no pin said{place}."),
    ("pins-hole", ", hole {what} at {amount}"),
    ("read-back-none", "Nothing open, nothing put aside."),
    ("read-back-open", "Open: {amount}. {what}"),
    ("read-back-limits", "Limits, hold and stop: {what}"),
    ("read-back-no-limits", "No limit of heights in this step."),
    ("limit-rake", "rake"),
    ("limit-line", "line"),
    ("limit-twist", "twist"),
    ("height-needs", "Say the height in metres."),
    // The language of these words, for voices: a tag of BCP 47.
    ("language", "en"),
];

/// The phrases of one lift.
#[derive(Clone, Debug, PartialEq)]
pub struct Phrases {
    /// By the order of [`DEFAULTS`], then of [`PAGES`].
    words: Vec<String>,
    /// Towers that the crew calls otherwise than the plan does: id and spoken name, sorted by id.
    pub towers: Vec<(String, String)>,
    /// Show pounds in place of newtons as kilograms.
    pub pounds: bool,
    /// Show inches in place of millimetres.
    pub inches: bool,
}

/// Fills `{what}` with an id, which keeps its own spelling.
pub const ID: &str = "id";
/// Fills `{tower}` with words for all towers, which are no name.
pub const ALL: &str = "all";

impl Default for Phrases {
    fn default() -> Self {
        Phrases { words: all().map(|(_, text)| text.to_owned()).collect(), towers: vec![], pounds: false, inches: false }
    }
}

impl Phrases {
    /// The phrase of a key. A key that is not in [`DEFAULTS`] is our own mistake.
    pub fn of(&self, key: &str) -> &str {
        let at = index_of(key);
        assert!(at.is_some(), "no phrase `{key}`");
        &self.words[at.unwrap_or(0)]
    }

    /// The words that pages say of themselves, without `page-`, and the language of all words: `{"language": "en", "not-live": …}`.
    pub fn of_pages(&self) -> BTreeMap<&'static str, &str> {
        let named = PAGES.iter().zip(&self.words[DEFAULTS.len()..]);
        let named = named.map(|((key, _), text)| (key.trim_start_matches("page-"), text.as_str()));
        named.chain([("language", self.of("language"))]).collect()
    }

    /// Whether there is a phrase of this key.
    pub fn has(key: &str) -> bool {
        index_of(key).is_some()
    }

    /// The phrase of `key` with its braces filled; the first letter is made a capital, unless it is that of a name: how a tower is
    /// called, and an id ([`ID`]), are as they are spelled.
    pub fn render(&self, key: &str, fill: &[(&str, &str)]) -> String {
        let mut text = String::with_capacity(64);
        let mut named = false;
        let mut rest = self.of(key);
        while let Some(open) = rest.find('{') {
            text.push_str(&rest[..open]);
            let Some(close) = rest[open..].find('}') else { break };
            let name = &rest[open + 1..open + close];
            if let Some((by, value)) = fill.iter().find(|(n, _)| *n == name || (*n, name) == (ID, "what") || (*n, name) == (ALL, "tower")) {
                named |= text.is_empty() && (*by == ID || *by == "tower");
                text.push_str(value);
            }
            rest = &rest[open + close + 1..];
        }
        text.push_str(rest);
        if named { text } else { capital(text) }
    }

    /// A channel in words.
    pub fn channel(&self, channel: Channel) -> &str {
        match channel {
            Channel::Battery => self.of("channel-battery"),
            other => self.of(other.word()),
        }
    }

    /// Turns in words; quarters up to two.
    pub fn turns(&self, turns: f64) -> &str {
        const KEYS: [&str; 8] = ["turns-0.25", "turns-0.5", "turns-0.75", "turns-1", "turns-1.25", "turns-1.5", "turns-1.75", "turns-2"];
        let quarter = (turns * 4.0).round().clamp(1.0, 8.0) as usize;
        self.of(KEYS[quarter - 1])
    }

    /// Which way it leans or rolls, with a space before it; nothing where it does neither. `name`: of a tower, as spoken.
    pub fn way<'a>(&self, towards: Option<Towards>, name: impl Fn(usize) -> &'a str) -> String {
        match towards {
            None => String::new(),
            Some(Towards::Upstage) => self.of("way-upstage").to_owned(),
            Some(Towards::Downstage) => self.of("way-downstage").to_owned(),
            Some(Towards::Outwards) => self.of("way-outwards").to_owned(),
            Some(Towards::Down) => self.of("way-down").to_owned(),
            Some(Towards::Tower(tower)) => self.of("way-tower").replace("{tower}", name(tower)),
        }
    }

    /// The reason for a call, up to four words, with its full stop; `way` as [`Phrases::way`] gives it.
    pub fn reason(&self, kind: Kind, tower: Option<&str>, way: &str) -> String {
        let mut key = String::with_capacity(32);
        let _ = write!(key, "reason-{kind}");
        if tower.is_none() {
            key.push_str("-all");
            if !Phrases::has(&key) {
                key.truncate(key.len() - 4);
            }
        }
        let by = tower.map_or((ALL, self.of("reason-all")), |name| ("tower", name));
        self.render(&key, &[by, ("way", way)])
    }
}

/// The text with its first letter made a capital.
fn capital(text: String) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) if first.is_lowercase() => first.to_uppercase().chain(letters).collect(),
        _ => text,
    }
}

/// All keys with their built-in words, in the order in which they are kept.
pub fn all() -> impl Iterator<Item = (&'static str, &'static str)> {
    DEFAULTS.iter().chain(PAGES).copied()
}

fn index_of(key: &str) -> Option<usize> {
    if key.starts_with("page-") {
        return PAGES.iter().position(|(k, _)| *k == key).map(|at| DEFAULTS.len() + at);
    }
    DEFAULTS.iter().position(|(k, _)| *k == key)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_a_reason_of_at_most_four_words_and_a_finding_text() {
        let phrases = Phrases::default();
        for kind in Kind::ALL {
            let reason = phrases.reason(*kind, Some("Bravo"), " towards Alpha");
            assert!(reason.split_whitespace().count() <= 4, "{kind}: {reason}");
            let keys = [kind.word().to_owned(), format!("{kind}-high")];
            assert!(keys.iter().any(|k| Phrases::has(k)), "{kind} has no text");
        }
    }

    #[test]
    fn no_phrase_promises_or_dismisses() {
        for (key, text) in all() {
            let padded = format!(" {} ", text.to_lowercase().replace(|c: char| !(c.is_alphabetic() || "!%".contains(c)), " "));
            for banned in ["carry on", "go", "clear", "ready", "safe", "all well", "warning", "alarm", "error"] {
                assert!(!padded.contains(&format!(" {banned} ")), "{key}: {text}");
            }
            assert!(!text.contains(['!', '%']), "{key}: {text}");
        }
    }

    #[test]
    fn a_stop_has_no_direction_and_no_amount() {
        for (key, text) in DEFAULTS.iter().filter(|(k, _)| k.starts_with("reason-") || k.starts_with("stop")) {
            for word in text.to_lowercase().split(|c: char| !c.is_alphabetic()) {
                assert!(!["up", "down", "raise", "lower"].contains(&word), "{key}: {text}");
            }
            assert!(!text.contains("{amount}") && !text.contains("{turns}"), "{key}: {text}");
        }
    }

    /// At the start of a sentence too a name is as the crew spells it; words are not.
    #[test]
    fn a_name_and_an_id_keep_their_spelling() {
        let phrases = Phrases::default();
        assert_eq!(phrases.render("up", &[("tower", "alpha"), ("turns", phrases.turns(0.5))]), "alpha up half.");
        assert_eq!(phrases.reason(Kind::Dropped, Some("Alpha"), ""), "Alpha dropped.");
        assert_eq!(phrases.reason(Kind::Uneven, None, ""), "All out of level.");
        assert_eq!(phrases.render("nothing-open", &[(ID, "c-bravo")]), "c-bravo is over already.");
        assert_eq!(phrases.render("frozen", &[("what", "head load"), ("tower", "alpha")]), "Head load on alpha repeats one value.");
    }

    #[test]
    fn no_key_is_there_twice() {
        let mut keys: Vec<_> = all().map(|(key, _)| key).collect();
        keys.sort_unstable();
        for pair in keys.windows(2) {
            assert_ne!(pair[0], pair[1]);
        }
    }

    #[test]
    fn turns_are_said_in_quarters() {
        let phrases = Phrases::default();
        for (turns, want) in [(0.25, "a quarter"), (0.5, "half"), (1.5, "one and a half"), (2.0, "two"), (7.0, "two")] {
            assert_eq!(phrases.turns(turns), want);
        }
    }
}
