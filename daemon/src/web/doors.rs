//! Pairing: a short-lived code, good once, becomes a session cookie with a role.
//!
//! Codes stand in the QR codes of the terminal. Used or timed out, a code is refused in words and a new one takes its
//! place. Wrong codes are counted: after some, pairing pauses, so that codes cannot be guessed.

use super::files::hex;
use super::roles::Role;
use raisewatch_protocol::mono::{Mono, Span};
use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// How long a code is good for.
const CODE_LASTS: Span = Span::ms(10 * 60 * 1000);
/// How long a session is good for after it was last used: a lift may stand over night.
const SESSION_LASTS: Span = Span::ms(24 * 3600 * 1000);
/// Wrong codes within [`GUESS_PAUSE`] after which pairing pauses. 40 bits a code: guessing needs about 10^11 tries.
const GUESSES: u32 = 10;
/// How long it pauses.
const GUESS_PAUSE: Span = Span::ms(60 * 1000);
/// Sessions kept; the one unused for longest goes.
const SESSIONS: usize = 200;
/// Letters of a code: no 0 O 1 I.
const LETTERS: &[u8; 32] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";

/// Codes and sessions.
#[derive(Default)]
pub struct Doors {
    inner: Mutex<Inner>,
}

#[derive(Default)]
struct Inner {
    codes: HashMap<String, Code>,
    sessions: HashMap<String, Session>,
    wrong: u32,
    wrong_since: Mono,
}

struct Code {
    role: Role,
    until: Mono,
    used: bool,
}

/// A page that came in by a code.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// What it may do.
    pub role: Role,
    /// Who holds it, where said.
    pub name: Option<String>,
    /// Its number, for the list of people.
    pub number: usize,
    pub(super) last_used: Mono,
}

/// Why a code was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// Used before.
    #[error("This code was used already. Ask at the desk for a new one.")]
    Used,
    /// Timed out.
    #[error("This code has run out. Ask at the desk for a new one.")]
    Old,
    /// Not a code of this run.
    #[error("This is not a code of this lift. Ask at the desk for one.")]
    Unknown,
    /// Too many wrong ones.
    #[error("Too many wrong codes. Wait a minute, then ask at the desk for a new one.")]
    TooMany,
}

impl Doors {
    fn inner(&self) -> MutexGuard<'_, Inner> {
        // A panic elsewhere cannot leave these maps half changed.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A new code for this role.
    pub fn code(&self, role: Role, now: Mono) -> std::io::Result<String> {
        let code: String = random::<8>()?.iter().map(|byte| char::from(LETTERS[usize::from(byte % 32)])).collect();
        let mut inner = self.inner();
        // Used and old codes are kept for an hour, so that the refusal can say which it was.
        inner.codes.retain(|_, code| now.since(code.until) < Span::ms(3600 * 1000));
        inner.codes.insert(code.clone(), Code { role, until: now + CODE_LASTS, used: false });
        Ok(code)
    }

    /// Turns a code into a session; its cookie value and the session.
    pub fn pair(&self, code: &str, name: Option<String>, now: Mono) -> Result<(String, Session), Refused> {
        let token = random::<32>().map(|bytes| hex(&bytes)).map_err(|_| Refused::Unknown)?;
        let mut inner = self.inner();
        if now.since(inner.wrong_since) > GUESS_PAUSE {
            inner.wrong = 0;
        }
        if inner.wrong >= GUESSES {
            return Err(Refused::TooMany);
        }
        let role = match inner.codes.get_mut(&code.to_ascii_uppercase()) {
            None => {
                inner.wrong += 1;
                inner.wrong_since = now;
                return Err(Refused::Unknown);
            }
            Some(code) if code.used => return Err(Refused::Used),
            Some(code) if now > code.until => return Err(Refused::Old),
            Some(code) => {
                code.used = true;
                code.role.clone()
            }
        };
        if inner.sessions.len() >= SESSIONS {
            let oldest = inner.sessions.iter().min_by_key(|(_, session)| session.last_used).map(|(token, _)| token.clone());
            oldest.map(|token| inner.sessions.remove(&token));
        }
        let number = inner.sessions.values().map(|session| session.number).max().unwrap_or(0) + 1;
        let session = Session { role, name, number, last_used: now };
        inner.sessions.insert(token.clone(), session.clone());
        Ok((token, session))
    }

    /// The session of this cookie value, if it is one of ours and not too old.
    pub fn session(&self, token: &str, now: Mono) -> Option<Session> {
        let mut inner = self.inner();
        let session = inner.sessions.get_mut(token)?;
        if now.since(session.last_used) > SESSION_LASTS {
            inner.sessions.remove(token);
            return None;
        }
        session.last_used = now;
        Some(session.clone())
    }

    /// Sets the name of who holds this session.
    pub fn name(&self, token: &str, name: &str) {
        if let Some(session) = self.inner().sessions.get_mut(token) {
            session.name = Some(name.to_owned());
        }
    }
}

/// Random bytes of the system.
fn random<const N: usize>() -> std::io::Result<[u8; N]> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|fault| std::io::Error::other(format!("no random numbers: {fault}")))?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    const T: Mono = Mono(1_000_000);

    #[test]
    fn a_code_is_good_once() {
        let doors = Doors::default();
        let code = doors.code(Role::Lead, T).unwrap();
        let (token, session) = doors.pair(&code.to_lowercase(), Some("Mara".into()), T).unwrap();
        assert_eq!((session.role, session.name.as_deref()), (Role::Lead, Some("Mara")));
        assert_eq!(doors.session(&token, T).unwrap().role, Role::Lead);
        assert_eq!(doors.pair(&code, None, T), Err(Refused::Used));
        assert_eq!(doors.session("", T), None);
        assert_eq!(doors.session(&"0".repeat(64), T), None);
    }

    #[test]
    fn a_code_runs_out() {
        let doors = Doors::default();
        let code = doors.code(Role::Spotter, T).unwrap();
        assert_eq!(doors.pair(&code, None, T + CODE_LASTS + Span(1)), Err(Refused::Old));
        let code = doors.code(Role::Spotter, T).unwrap();
        assert!(doors.pair(&code, None, T + CODE_LASTS).is_ok());
    }

    #[test]
    fn a_session_runs_out_when_it_is_not_used() {
        let doors = Doors::default();
        let code = doors.code(Role::View, T).unwrap();
        let (token, _) = doors.pair(&code, None, T).unwrap();
        let later = T + SESSION_LASTS;
        assert!(doors.session(&token, later).is_some());
        assert!(doors.session(&token, later + SESSION_LASTS).is_some());
        assert!(doors.session(&token, later + SESSION_LASTS + SESSION_LASTS + Span(1)).is_none());
    }

    #[test]
    fn guessing_pauses_pairing_but_not_sessions() {
        let doors = Doors::default();
        let code = doors.code(Role::View, T).unwrap();
        let (token, _) = doors.pair(&doors.code(Role::Lead, T).unwrap(), None, T).unwrap();
        for _ in 0..GUESSES {
            assert_eq!(doors.pair("WRONGONE", None, T), Err(Refused::Unknown));
        }
        assert_eq!(doors.pair(&code, None, T), Err(Refused::TooMany));
        assert!(doors.session(&token, T).is_some());
        assert!(doors.pair(&code, None, T + GUESS_PAUSE + Span(1)).is_ok());
    }
}
