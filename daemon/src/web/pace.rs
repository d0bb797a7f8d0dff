//! How often a page may speak. A page that is stuck, or somebody's script, must not crowd out the words of others.
//! STOP is not asked here: it is taken however often it is said.

use raisewatch_protocol::mono::{Mono, Span};
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};

/// Words that may come in one go: a lead who answers a whole checklist says about a dozen.
const AT_ONCE: u32 = 20;
/// A further one each so often.
const EACH: Span = Span::ms(200);
/// Speakers that are remembered, as many as there may be sessions and some strangers.
const SPEAKERS: usize = 512;

/// Who speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Speaker {
    /// A session, by its number.
    Session(usize),
    /// A page without one, where looking is open to everybody.
    Stranger(IpAddr),
}

/// Remembers who spoke how often.
#[derive(Default)]
pub struct Pace {
    /// When each speaker's room is whole again.
    whole_at: Mutex<HashMap<Speaker, Mono>>,
}

impl Pace {
    /// Takes one word of this speaker; where there were too many, how long to wait for the next.
    pub fn take(&self, who: Speaker, now: Mono) -> Result<(), Span> {
        // One assignment below: a panic elsewhere cannot leave it half done.
        let mut all = self.whole_at.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= SPEAKERS {
            all.retain(|_, whole_at| *whole_at > now);
        }
        let whole_at = all.get(&who).copied().unwrap_or(now).max(now);
        let behind = whole_at.since(now).0 + EACH.0;
        let room = EACH.0 * u64::from(AT_ONCE);
        if behind > room {
            return Err(Span(behind - room));
        }
        if all.len() < SPEAKERS || all.contains_key(&who) {
            all.insert(who, now + Span(behind));
        }
        Ok(())
    }
}

/// The refusal in words.
pub fn too_often() -> String {
    let a_second = 1_000_000 / EACH.0;
    format!("Too much at once from this page: at most {AT_ONCE} words in one go, then {a_second} a second. STOP is always taken.")
}

#[cfg(test)]
mod tests {
    use super::*;

    const ME: Speaker = Speaker::Session(1);

    #[test]
    fn so_many_in_one_go_and_then_one_at_a_time() {
        let pace = Pace::default();
        for n in 0..AT_ONCE {
            assert_eq!(pace.take(ME, Mono(5)), Ok(()), "{n}");
        }
        assert_eq!(pace.take(ME, Mono(5)), Err(EACH));
        assert_eq!(pace.take(ME, Mono(5) + Span(EACH.0 - 1)), Err(Span(1)));
        assert_eq!(pace.take(ME, Mono(5) + EACH), Ok(()));
        assert_eq!(pace.take(ME, Mono(5) + EACH), Err(EACH));
    }

    #[test]
    fn one_speaker_takes_nothing_from_another() {
        let pace = Pace::default();
        while pace.take(ME, Mono(0)).is_ok() {}
        assert_eq!(pace.take(Speaker::Session(2), Mono(0)), Ok(()));
        assert_eq!(pace.take(Speaker::Stranger([10, 0, 0, 1].into()), Mono(0)), Ok(()));
    }

    #[test]
    fn many_speakers_do_not_fill_the_memory_and_none_is_refused_for_it() {
        let pace = Pace::default();
        for number in 0..3 * SPEAKERS {
            assert_eq!(pace.take(Speaker::Session(number), Mono(0)), Ok(()));
        }
        assert!(pace.whole_at.lock().unwrap().len() <= SPEAKERS);
        assert_eq!(pace.take(ME, Mono(0) + Span::ms(60_000)), Ok(()));
        assert_eq!(pace.whole_at.lock().unwrap().len(), 1, "who has long been still is forgotten");
    }
}
