//! What a new plan needs to be told: taken from flags, and the rest asked for, one question at a time.

use crate::plan_new::weights::{Weights, named};
use raisewatch_protocol::quantity::{Measure, read};
use raisewatch_protocol::units::{Force, Length, LineLoad, Speed};
use std::io::{BufRead, Write};

/// Everything that goes into a new plan, as typed; checked by reading the finished plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answers {
    /// Title of the lift.
    pub title: String,
    /// Who plans it.
    pub planner: String,
    /// Height of the heads while people work on the truss.
    pub working_height: String,
    /// Height of the heads at trim.
    pub trim_height: String,
    /// Speed of a head while cranking up.
    pub pace: String,
    /// Truss.
    pub truss: Truss,
    /// Towers.
    pub towers: Vec<Tower>,
    /// What hangs.
    pub loads: Vec<Item>,
    /// Cable along the truss.
    pub cables: Vec<Item>,
    /// Tails that hang to the floor.
    pub tails: Vec<Item>,
}

/// One straight truss.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Truss {
    /// Length.
    pub length: String,
    /// Weight per length.
    pub weight: Weighed,
    /// EI, where it comes with the kind of truss.
    pub bending: Option<String>,
    /// Depth, where it comes with the kind of truss.
    pub depth: Option<String>,
}

/// A weight, and where it comes from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Weighed {
    /// With its unit.
    pub weight: String,
    /// Beside it in the plan, where it was picked by kind.
    pub remark: Option<String>,
}

/// One tower.
#[derive(Clone, Debug, PartialEq)]
pub struct Tower {
    /// Place along the truss.
    pub at: String,
    /// Rated load.
    pub rated: String,
    /// Below this it does not come down by itself.
    pub least: String,
    /// Rise for one turn.
    pub per_turn: String,
}

/// Something that hangs or lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// Name.
    pub name: String,
    /// Its weight (each; per length for tails).
    pub weight: Weighed,
    /// Places along the truss; for cable the two ends.
    pub at: Vec<String>,
}

/// A weight as typed, or picked by the name of a kind of thing.
pub fn weighed(typed: &str, things: &[crate::plan_new::weights::Thing]) -> Weighed {
    match named(things, typed) {
        Some(thing) => Weighed { weight: thing.weight.clone(), remark: Some(thing.remark()) },
        None => Weighed { weight: typed.trim().into(), remark: None },
    }
}

/// "8 m, 8.5 kg/m" or "8 m, box truss 290 mm".
pub fn truss(typed: &str, weights: &Weights) -> Result<Truss, String> {
    let (length, kind) =
        typed.split_once(',').ok_or_else(|| wants(typed, "length and weight, such as \"8 m, 8.5 kg/m\" or \"8 m, box truss 290 mm\""))?;
    let thing = named(&weights.truss, kind);
    let weight = weighed(kind, &weights.truss);
    fits::<Length>("length", length).and(fits::<LineLoad>("weight", &weight.weight))?;
    Ok(Truss {
        length: length.trim().into(),
        weight,
        bending: thing.and_then(|t| t.bending.clone()),
        depth: thing.and_then(|t| t.depth.clone()),
    })
}

/// "1 m, 500 lb, 15 lb, 25 mm": place, rated load, least load, rise for a turn.
pub fn tower(typed: &str) -> Result<Tower, String> {
    match &typed.split(',').map(|part| part.trim().to_owned()).collect::<Vec<_>>()[..] {
        [at, rated, least, per_turn] => {
            fits::<Length>("place", at).and(fits::<Force>("rated load", rated)).and(fits::<Force>("least load", least))?;
            fits::<Length>("rise for one turn", per_turn)?;
            Ok(Tower { at: at.clone(), rated: rated.clone(), least: least.clone(), per_turn: per_turn.clone() })
        }
        _ => {
            Err(wants(typed, "place, rated load, least load that brings it down, rise for one turn, such as \"1 m, 500 lb, 15 lb, 25 mm\""))
        }
    }
}

/// "wash: 10.4 kg at 0.4 m, 1.8 m" or "wash: moving wash at 0.4 m"; cable: "data: 4.9 kg at 0 m, 8 m".
pub fn item(typed: &str, things: &[crate::plan_new::weights::Thing]) -> Result<Item, String> {
    let shape = || wants(typed, "name, weight and places, such as \"wash: 10.4 kg at 0.4 m, 1.8 m\"");
    let (name, rest) = typed.split_once(':').ok_or_else(shape)?;
    let (weight, at) = rest.rsplit_once(" at ").ok_or_else(shape)?;
    let at: Vec<String> = at.split(',').map(|p| p.trim().to_owned()).filter(|p| !p.is_empty()).collect();
    if name.trim().is_empty() || weight.trim().is_empty() || at.is_empty() {
        return Err(shape());
    }
    let weight = weighed(weight, things);
    if fits::<Force>("weight", &weight.weight).is_err() {
        fits::<LineLoad>("weight", &weight.weight).map_err(|why| format!("{why}; or a kind from the list"))?;
    }
    at.iter().try_for_each(|place| fits::<Length>("place", place))?;
    Ok(Item { name: name.trim().into(), weight, at })
}

/// Whether the text is a quantity of this dimension; if not, why, in words.
fn fits<Q: Measure>(what: &str, text: &str) -> Result<(), String> {
    read::<Q>(text.trim()).map(|_| ()).map_err(|fault| format!("{what}: found {}, expected {}", fault.found, fault.expected))
}

fn anything(_: &str) -> Result<(), String> {
    Ok(())
}

fn wants(found: &str, wanted: &str) -> String {
    format!("found \"{found}\", expected {wanted}")
}

/// A conversation on a terminal (or in a test): questions out, lines in.
pub struct Talk<'a, R, W> {
    /// Lines in.
    pub lines: R,
    /// Questions out.
    pub out: W,
    /// Kinds of things to pick from.
    pub weights: &'a Weights,
}

impl<R: BufRead, W: Write> Talk<'_, R, W> {
    /// Asks for everything that is still open.
    pub fn ask(&mut self, mut a: Answers) -> std::io::Result<Answers> {
        let weights = self.weights;
        let height = |text: &str| fits::<Length>("height", text);
        self.open(&mut a.title, "What is the lift called?", "", anything)?;
        self.open(&mut a.planner, "Who plans it?", "", anything)?;
        self.open(&mut a.working_height, "How high are the tower heads while people work on the truss?", "1.2 m", height)?;
        self.open(&mut a.trim_height, "How high at trim?", "", height)?;
        self.open(&mut a.pace, "How fast does a head rise while cranking?", "25 mm/s", |text| fits::<Speed>("pace", text))?;
        if a.truss == Truss::default() {
            self.list("Kinds of truss", &weights.truss)?;
            a.truss = self.until("Truss: its length, then its weight per length or a kind from the list", |t| truss(t, weights))?;
        }
        if a.towers.is_empty() {
            self.say("Towers, from the left end of the truss. An empty line ends the list.")?;
            a.towers = self.several("Tower: place, rated load, least load that brings it down, rise for one turn", 2, tower)?;
        }
        if a.loads.is_empty() {
            self.list("Kinds of things", &weights.item)?;
            a.loads = self.several("What hangs (name: weight with clamp and bond, or a kind, at places)", 0, |t| item(t, &weights.item))?;
        }
        if a.cables.is_empty() {
            self.list("Kinds of cable", &weights.cable)?;
            a.cables =
                self.several("Cable on the truss (name: whole weight, or a kind, at its two ends)", 0, |t| item(t, &weights.cable))?;
        }
        if a.tails.is_empty() {
            a.tails =
                self.several("Cable tails that hang to the floor (name: weight per length at a place)", 0, |t| item(t, &weights.cable))?;
        }
        Ok(a)
    }

    fn say(&mut self, text: &str) -> std::io::Result<()> {
        writeln!(self.out, "{text}")
    }

    fn list(&mut self, title: &str, things: &[crate::plan_new::weights::Thing]) -> std::io::Result<()> {
        self.say(&format!("{title} (common practice, from memory; type a weight of your own in place of a name):"))?;
        things.iter().try_for_each(|t| writeln!(self.out, "  {:<26} {}", t.name, t.range))
    }

    /// One line; the end of the input is an error, so that nobody waits for ever.
    fn line(&mut self, question: &str) -> std::io::Result<String> {
        write!(self.out, "{question} ")?;
        self.out.flush()?;
        let mut typed = String::new();
        if self.lines.read_line(&mut typed)? == 0 {
            return Err(std::io::Error::new(std::io::ErrorKind::UnexpectedEof, format!("no answer to: {question}")));
        }
        Ok(typed.trim().to_owned())
    }

    /// A single answer, unless it is there already; asked until there is one that fits.
    fn open(&mut self, answer: &mut String, question: &str, usual: &str, fits: impl Fn(&str) -> Result<(), String>) -> std::io::Result<()> {
        let question = if usual.is_empty() { question.to_owned() } else { format!("{question} [{usual}]") };
        while answer.is_empty() {
            let typed = self.line(&question)?;
            let typed = if typed.is_empty() { usual.to_owned() } else { typed };
            match fits(&typed) {
                Ok(()) => *answer = typed,
                Err(why) => self.say(&why)?,
            }
        }
        Ok(())
    }

    fn until<T>(&mut self, question: &str, parse: impl Fn(&str) -> Result<T, String>) -> std::io::Result<T> {
        loop {
            let typed = self.line(&format!("{question}:"))?;
            match parse(&typed) {
                Ok(answer) => return Ok(answer),
                Err(why) => self.say(&why)?,
            }
        }
    }

    fn several<T>(&mut self, question: &str, least: usize, parse: impl Fn(&str) -> Result<T, String>) -> std::io::Result<Vec<T>> {
        let mut all = Vec::new();
        loop {
            let typed = self.line(&format!("{question}, {}:", all.len() + 1))?;
            if typed.is_empty() && all.len() >= least {
                return Ok(all);
            }
            match parse(&typed) {
                Ok(one) => all.push(one),
                Err(why) => self.say(&why)?,
            }
        }
    }
}
