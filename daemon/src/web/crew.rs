//! Who is on the pages, who heard the last call; and the frame as the pages get it: the watch's view with these added.

use super::doors::Session;
use super::past::Past;
use super::roles::Role;
use super::{Shown, Spoken};
use crate::clock::Clock;
use crate::run::Frame;
use crate::sinks::lines::time_of_day;
use crate::sinks::{RecordingState, Told};
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::trace::{Arrival, TraceLine};
use raisewatch_protocol::words::{CallState, Utterance, Word};
use serde::Serialize;
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{broadcast, mpsc, watch};

/// Answers to calls that are shown.
const HEARD: usize = 8;

/// One person's page.
#[derive(Clone, Debug, Serialize)]
struct Person {
    name: Option<String>,
    #[serde(flatten)]
    role: Role,
    /// `heard` once the sound check was answered.
    sound: Option<&'static str>,
    /// Whether the page listens now.
    live: bool,
    #[serde(skip)]
    streams: usize,
}

/// An answer to a call.
#[derive(Clone, Debug, PartialEq, Serialize)]
struct Heard {
    call: String,
    /// The finding that the call is about: a tower's own call about it has another number.
    finding: Option<String>,
    by: Option<String>,
    after_ms: f64,
}

/// Who is here.
#[derive(Default)]
pub struct Crew {
    people: Mutex<BTreeMap<usize, Person>>,
}

/// Counts a page as live until it is dropped.
pub struct Present {
    crew: Arc<Crew>,
    number: Option<usize>,
}

impl Drop for Present {
    fn drop(&mut self) {
        let Some(number) = self.number else { return };
        if let Some(person) = self.crew.people().get_mut(&number) {
            person.streams = person.streams.saturating_sub(1);
            person.live = person.streams > 0;
        }
    }
}

impl Crew {
    fn people(&self) -> MutexGuard<'_, BTreeMap<usize, Person>> {
        // Each change below is one assignment after another; a panic elsewhere cannot leave them half done.
        self.people.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A page begins to listen; without a session it is nobody in particular.
    pub fn enter(self: &Arc<Self>, session: Option<&Session>) -> Present {
        if let Some(session) = session {
            let mut people = self.people();
            let person = people.entry(session.number).or_insert_with(|| Person {
                name: None,
                role: session.role.clone(),
                sound: None,
                live: false,
                streams: 0,
            });
            person.name.clone_from(&session.name);
            person.streams += 1;
            person.live = true;
        }
        Present { crew: self.clone(), number: session.map(|session| session.number) }
    }

    /// The name of who holds this session's page.
    pub fn name(&self, number: usize, name: &str) {
        if let Some(person) = self.people().get_mut(&number) {
            person.name = Some(name.to_owned());
        }
    }

    /// The sound check was heard on this session's page.
    pub fn sound_heard(&self, number: usize) {
        if let Some(person) = self.people().get_mut(&number) {
            person.sound = Some("heard");
        }
    }
}

/// What stays the same in every frame of a run.
#[derive(Clone, Debug)]
pub struct Fixed {
    /// Whether there is a plan; without one nothing is judged.
    pub plan: bool,
    /// Tells the words that pages say of themselves from others.
    pub words: String,
    /// Whether this is a rehearsal.
    pub rehearsal: bool,
    /// How many times as fast as life.
    pub speed: f64,
}

/// Makes the pages' frames and passes calls on, until the queue ends.
pub struct Composer {
    /// What stays the same.
    pub fixed: Fixed,
    /// Who is here.
    pub crew: Arc<Crew>,
    /// Remembers what was shown.
    pub past: Arc<Past>,
    /// How the recording stands, where there is one.
    pub recording: Option<watch::Receiver<RecordingState>>,
    /// Where frames go, newest only.
    pub out: watch::Sender<Option<Shown>>,
    /// Where calls go.
    pub calls: broadcast::Sender<Spoken>,
    /// Life's clock: a view that nobody renewed is not handed to a page that comes later.
    pub clock: Clock,
}

/// What only the desk shows.
const DESK: [&str; 9] = ["health", "hand_over", "people", "recording", "refused", "said", "learnt", "hung", "clock"];

impl Composer {
    /// Composes until the run loop has ended.
    pub async fn run(self, mut frames: watch::Receiver<Arc<Frame>>, mut queue: mpsc::Receiver<Arc<Told>>) {
        let mut heard = HeardList::default();
        loop {
            tokio::select! {
                biased;
                told = queue.recv() => match told {
                    Some(told) => {
                        heard.note(&told);
                        self.speak(&told);
                    }
                    None => return,
                },
                changed = frames.changed() => {
                    if changed.is_err() {
                        return;
                    }
                    let frame = frames.borrow_and_update().clone();
                    self.frame(&frame, &heard);
                }
            }
        }
    }

    fn speak(&self, told: &Told) {
        let spoken = match told {
            Told::Call(call) => serde_json::to_string(call).ok().map(|line| ("call", line)),
            Told::NotWatching { t_ms, why } => {
                let line = serde_json::json!({ "t_ms": t_ms, "text": why }).to_string();
                Some(("not-watching", line))
            }
            _ => None,
        };
        if let Some((name, line)) = spoken {
            // Nobody listening is no fault.
            let _ = self.calls.send(Spoken::new(name, &line));
        }
    }

    fn frame(&self, frame: &Frame, heard: &HeardList) {
        let serde_json::Value::Object(mut view) = frame.view.clone() else {
            // The watch has failed: no frame goes out any more, so every page says by its own timer that it is not live.
            self.out.send_replace(None);
            return;
        };
        self.past.take(frame.t_ms, &frame.view);
        let recording = self.recording.as_ref().map(|state| state.borrow().clone());
        let people: Vec<Person> = self.crew.people().values().cloned().collect();
        let added = serde_json::json!({
            "rehearsal": self.fixed.rehearsal,
            "speed": self.fixed.speed,
            "plan": self.fixed.plan,
            "words": self.fixed.words,
            "heard": heard.list,
            "people": people,
            "recording": recording,
            "clock": time_of_day(),
        });
        if let serde_json::Value::Object(added) = added {
            view.extend(added);
        }
        let whole = spoken(&view);
        view.retain(|key, _| !DESK.contains(&key.as_str()));
        self.out.send_replace(Some(Shown { whole, deck: spoken(&view), made: self.clock.now() }));
    }
}

fn spoken(view: &serde_json::Map<String, serde_json::Value>) -> Spoken {
    // A map of plain values can always be written.
    Spoken::new("view", &serde_json::to_string(view).unwrap_or_default())
}

/// The last answers to calls, newest last.
#[derive(Default)]
struct HeardList {
    list: VecDeque<Heard>,
    /// The newest call to the spotter that asks for an answer: its id, the finding it is about, and when it was said.
    asked: Option<(String, Option<String>, Mono)>,
}

impl HeardList {
    fn note(&mut self, told: &Told) {
        match told {
            Told::Call(call) if call.to == "spotter" && call.state == CallState::Said => {
                let calm = matches!(call.call, Word::Level | Word::None);
                self.asked = (!calm).then(|| (call.id.clone(), call.finding.clone(), call.t_ms));
            }
            Told::Taken(TraceLine { t_ms, what: Arrival::Said(said) }) if said.said == Utterance::Heard => {
                let Some((call, finding, asked)) = self.asked.clone() else { return };
                let finding = said.finding.clone().or(finding);
                self.list.push_back(Heard { call, finding, by: said.by.clone(), after_ms: t_ms.ms() - asked.ms() });
                while self.list.len() > HEARD {
                    self.list.pop_front();
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn session(number: usize) -> Session {
        let doors = super::super::doors::Doors::default();
        let code = doors.code(Role::Tower("A".into()), Mono(0)).unwrap();
        let (_, session) = doors.pair(&code, Some("Ivo".into()), Mono(0)).unwrap();
        Session { number, ..session }
    }

    #[test]
    fn a_page_is_live_for_as_long_as_one_of_its_streams() {
        let crew = Arc::new(Crew::default());
        let ivo = session(3);
        let one = crew.enter(Some(&ivo));
        let two = crew.enter(Some(&ivo));
        let live = || crew.people().get(&3).map(|person| person.live);
        drop(one);
        assert_eq!(live(), Some(true));
        drop(two);
        assert_eq!(live(), Some(false));
        crew.sound_heard(3);
        let text = serde_json::to_string(&crew.people().get(&3)).unwrap();
        assert_eq!(text, r#"{"name":"Ivo","role":"tower","tower":"A","sound":"heard","live":false}"#);
    }
}
