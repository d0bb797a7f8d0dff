//! Who may say what.
//!
//! `stop` and `heard` are everybody's; steps, zero, `seen`, shelve and release are the lead's (docs/forms.md). The words
//! of a person at a winch are taken from that tower's own page.

use raisewatch_protocol::said::Said;
use raisewatch_protocol::trace::Arrival;
use raisewatch_protocol::words::Utterance;
use serde::Serialize;

/// What a page may do.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(tag = "role", content = "tower", rename_all = "kebab-case")]
pub enum Role {
    /// Look, say stop, say heard.
    View,
    /// The person who watches the truss.
    Spotter,
    /// The person at this tower's winch.
    Tower(String),
    /// The person who directs the lift.
    Lead,
}

impl Role {
    /// In words, for refusals.
    pub fn words(&self) -> String {
        match self {
            Role::View => "a viewer".into(),
            Role::Spotter => "the spotter".into(),
            Role::Tower(id) => format!("the person at tower {id}"),
            Role::Lead => "the lead".into(),
        }
    }

    /// The page that this role opens on.
    pub fn page(&self) -> String {
        match self {
            Role::View => "/".into(),
            Role::Spotter => "/spotter".into(),
            Role::Tower(id) => format!("/tower/{id}"),
            Role::Lead => "/desk".into(),
        }
    }

    /// Whether this role may say it; the words of a refusal if not.
    pub fn may(&self, what: &Arrival) -> Result<(), String> {
        let allowed = match what {
            Arrival::Said(said) => self.may_say(said),
            Arrival::Step(_) => *self == Role::Lead,
            _ => false,
        };
        if allowed { Ok(()) } else { Err(format!("{} is {}; this page belongs to {}.", name(what), owner(what), self.words())) }
    }

    fn may_say(&self, said: &Said) -> bool {
        use Utterance::*;
        match (self, said.said) {
            (_, Stop | Heard | SoundHeard) | (Role::Lead, _) => true,
            (Role::Spotter, ClearUnder | TailsFree | Note) => true,
            (Role::Tower(id), Tap | Turn | SectionUp | Pinned | SlackSet | Height) => said.tower.as_deref() == Some(id),
            (Role::View | Role::Spotter | Role::Tower(_), _) => false,
        }
    }
}

fn name(what: &Arrival) -> String {
    match what {
        Arrival::Said(said) => format!("\"{}\"", said.said),
        Arrival::Step(step) => format!("The step \"{}\"", step.step),
        _ => "That".into(),
    }
}

fn owner(what: &Arrival) -> &'static str {
    use Utterance::*;
    match what {
        Arrival::Said(said) if matches!(said.said, Tap | Turn | SectionUp | Pinned | SlackSet | Height) => {
            "for that tower's own page or the lead"
        }
        Arrival::Said(said) if matches!(said.said, ClearUnder | TailsFree | Note) => "for the spotter or the lead",
        Arrival::Said(_) | Arrival::Step(_) => "the lead's",
        _ => "not for pages to say",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arrival(text: &str) -> Arrival {
        Arrival::parse(text).unwrap().1
    }

    #[test]
    fn who_may_say_what() {
        let a = || Role::Tower("A".into());
        let cases: &[(&str, &[Role])] = &[
            (r#"{"said":"stop"}"#, &[Role::View, Role::Spotter, a(), Role::Lead]),
            (r#"{"said":"heard"}"#, &[Role::View, Role::Spotter, a(), Role::Lead]),
            (r#"{"said":"release","finding":"overload-A-1"}"#, &[Role::Lead]),
            (r#"{"said":"seen","finding":"overload-A-1"}"#, &[Role::Lead]),
            (r#"{"said":"zero","tower":"A","channel":"head-load"}"#, &[Role::Lead]),
            (r#"{"said":"shelve","finding":"lean-A-1"}"#, &[Role::Lead]),
            (r#"{"said":"unshelve","finding":"lean-A-1"}"#, &[Role::Lead]),
            (r#"{"said":"expect","value":"12 kg"}"#, &[Role::Lead]),
            (r#"{"said":"hand-over"}"#, &[Role::Lead]),
            (r#"{"said":"known-weight","tower":"A","value":"12 kg"}"#, &[Role::Lead]),
            (r#"{"step":"raise"}"#, &[Role::Lead]),
            (r#"{"said":"pinned","tower":"A"}"#, &[a(), Role::Lead]),
            (r#"{"said":"pinned","tower":"B"}"#, &[Role::Lead]),
            (r#"{"said":"pinned"}"#, &[Role::Lead]),
            (r#"{"said":"clear-under"}"#, &[Role::Spotter, Role::Lead]),
            (r#"{"node":"n1","presence":"online"}"#, &[]),
            (r#"{"node":"n1","senml":[]}"#, &[]),
            (r#"{"link":"broker","state":"back"}"#, &[]),
        ];
        for (text, allowed) in cases {
            for role in [Role::View, Role::Spotter, a(), Role::Lead] {
                assert_eq!(role.may(&arrival(text)).is_ok(), allowed.contains(&role), "{text} by {role:?}");
            }
        }
    }

    #[test]
    fn a_refusal_says_whose_word_it_is() {
        let text = Role::Spotter.may(&arrival(r#"{"said":"release"}"#)).unwrap_err();
        assert_eq!(text, r#""release" is the lead's; this page belongs to the spotter."#);
    }
}
