//! `raisewatch plan new`: a first plan without reading a manual.
//!
//! What is not given by flags is asked for on the terminal. The answers are never believed: the finished file is read
//! as any plan is, and not written while it has mistakes.

mod answers;
mod page;
mod weights;

use crate::{Exit, Misuse};
use answers::{Answers, Talk};
use anyhow::Context;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use weights::Weights;

/// Arguments. Several things of a kind: name the flag again.
#[derive(Debug, Default, clap::Args)]
pub struct PlanNewArgs {
    /// File to write; an existing one is never overwritten. Without it the plan goes to standard output
    #[arg(long)]
    out: Option<PathBuf>,
    /// Title of the lift
    #[arg(long)]
    title: Option<String>,
    /// Who plans it
    #[arg(long)]
    planner: Option<String>,
    /// Height of the heads while people work on the truss, such as "1.2 m"
    #[arg(long)]
    working_height: Option<String>,
    /// Height of the heads at trim
    #[arg(long)]
    trim_height: Option<String>,
    /// Speed of a head while cranking up, such as "25 mm/s"
    #[arg(long)]
    pace: Option<String>,
    /// Truss: "8 m, 8.5 kg/m", or a kind: "8 m, box truss 290 mm"
    #[arg(long)]
    truss: Option<String>,
    /// Tower: "PLACE, RATED, LEAST, RISE FOR A TURN", such as "1 m, 500 lb, 15 lb, 25 mm"
    #[arg(long)]
    tower: Vec<String>,
    /// What hangs: "wash: 10.4 kg at 0.4 m, 1.8 m", or a kind: "wash: moving wash at 0.4 m"
    #[arg(long)]
    load: Vec<String>,
    /// Cable along the truss: "data: 4.9 kg at 0 m, 8 m"
    #[arg(long)]
    cable: Vec<String>,
    /// Cable that hangs to the floor: "tails: 2.34 kg/m at 7.5 m"
    #[arg(long)]
    tail: Vec<String>,
    /// List the kinds of things that can be picked by name, and end
    #[arg(long)]
    kinds: bool,
}

/// Writes the plan.
pub fn run(args: PlanNewArgs) -> anyhow::Result<Exit> {
    let weights = Weights::built_in()?;
    if args.kinds {
        return kinds(&weights);
    }
    let text = page::page(&complete(given(&args, &weights)?, &weights)?);
    if let Err(mistakes) = raisewatch_protocol::plan::Plan::read(&text, "the new plan") {
        return Err(Misuse(format!("the answers do not make a plan yet; nothing was written.\n{mistakes}")).into());
    }
    match &args.out {
        None => print!("{text}"),
        Some(file) => write_new(file, &text)?,
    }
    Ok(Exit::Done)
}

/// What the flags say.
fn given(args: &PlanNewArgs, weights: &Weights) -> anyhow::Result<Answers> {
    let flag = |name: &str, why: String| Misuse(format!("--{name}: {why}"));
    let word = |w: &Option<String>| w.clone().unwrap_or_default();
    let all = |name: &'static str, typed: &[String], parse: &dyn Fn(&str) -> Result<answers::Item, String>| -> Result<Vec<_>, Misuse> {
        typed.iter().map(|t| parse(t).map_err(|why| flag(name, why))).collect()
    };
    Ok(Answers {
        title: word(&args.title),
        planner: word(&args.planner),
        working_height: word(&args.working_height),
        trim_height: word(&args.trim_height),
        pace: word(&args.pace),
        truss: match &args.truss {
            Some(t) => answers::truss(t, weights).map_err(|why| flag("truss", why))?,
            None => answers::Truss::default(),
        },
        towers: args.tower.iter().map(|t| answers::tower(t).map_err(|why| flag("tower", why))).collect::<Result<_, _>>()?,
        loads: all("load", &args.load, &|t| answers::item(t, &weights.item))?,
        cables: all("cable", &args.cable, &|t| answers::item(t, &weights.cable))?,
        tails: all("tail", &args.tail, &|t| answers::item(t, &weights.cable))?,
    })
}

/// Asks for what is open where there is somebody to ask; otherwise tells all that is open at once.
fn complete(given: Answers, weights: &Weights) -> anyhow::Result<Answers> {
    let open = open(&given);
    if open.is_empty() {
        return Ok(given);
    }
    let stdin = std::io::stdin();
    if !stdin.is_terminal() {
        return Err(Misuse(format!("nobody to ask on this terminal, and not given: {}", open.join(", "))).into());
    }
    let mut talk = Talk { lines: stdin.lock(), out: std::io::stderr(), weights };
    talk.ask(given).context("asking for the plan")
}

fn open(a: &Answers) -> Vec<&'static str> {
    let rows = [
        ("--title", a.title.is_empty()),
        ("--planner", a.planner.is_empty()),
        ("--working-height", a.working_height.is_empty()),
        ("--trim-height", a.trim_height.is_empty()),
        ("--pace", a.pace.is_empty()),
        ("--truss", a.truss == answers::Truss::default()),
        ("--tower", a.towers.is_empty()),
        ("--load", a.loads.is_empty()),
        ("--cable or --tail (a plan without any cable forgets something)", a.cables.is_empty() && a.tails.is_empty()),
    ];
    rows.iter().filter(|(_, open)| *open).map(|(name, _)| *name).collect()
}

fn write_new(file: &PathBuf, text: &str) -> anyhow::Result<()> {
    let opened = std::fs::OpenOptions::new().write(true).create_new(true).open(file);
    let mut opened = opened.map_err(|fault| match fault.kind() {
        std::io::ErrorKind::AlreadyExists => Misuse(format!("{} is there already; nothing was written", file.display())).into(),
        _ => anyhow::Error::new(fault).context(format!("cannot write {}", file.display())),
    })?;
    opened.write_all(text.as_bytes()).with_context(|| format!("cannot write {}", file.display()))?;
    println!("{} written. Weigh what is a guess in it, then: raisewatch check {}", file.display(), file.display());
    Ok(())
}

fn kinds(weights: &Weights) -> anyhow::Result<Exit> {
    println!("Common practice, from memory: a guess until weighed.");
    for (title, things) in [("Truss", &weights.truss), ("Items", &weights.item), ("Cable", &weights.cable)] {
        println!("{title}");
        things.iter().for_each(|t| println!("  {:<26} {}", t.name, t.range));
    }
    Ok(Exit::Done)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flags() -> PlanNewArgs {
        PlanNewArgs {
            title: Some("Tithe Barn supper".into()),
            planner: Some("I. Marsh".into()),
            working_height: Some("1.2 m".into()),
            trim_height: Some("14 ft".into()),
            pace: Some("25 mm/s".into()),
            truss: Some("8 m, box truss 290 mm".into()),
            tower: vec!["1 m, 500 lb, 15 lb, 25 mm".into(), "7 m, 500 lb, 15 lb, 25 mm".into()],
            load: vec!["wash: moving wash at 0.4 m, 1.8 m".into(), "spot: 25.6 kg at 2.5 m".into()],
            cable: vec!["data: 4.9 kg at 0 m, 8 m".into()],
            tail: vec!["tails: 2.34 kg/m at 7.5 m".into()],
            ..PlanNewArgs::default()
        }
    }

    #[test]
    fn flags_alone_make_a_plan_that_reads() {
        let weights = Weights::built_in().unwrap();
        let text = page::page(&given(&flags(), &weights).unwrap());
        let plan = raisewatch_protocol::plan::Plan::read(&text, "new").map_err(|m| m.to_string()).unwrap();
        assert_eq!((plan.towers.len(), plan.site.as_str()), (2, "tithe-barn-supper"));
        assert_eq!(plan.loads.len(), 3);
        assert!(text.contains("8 to 14 kg is common practice"), "a picked weight says what it is:\n{text}");
    }

    #[test]
    fn what_the_flags_leave_open_is_asked_and_a_bad_answer_is_asked_again() {
        let weights = Weights::built_in().unwrap();
        let typed = "\nTithe Barn supper\nI. Marsh\n\n5 kg\n5 m\n\n8 m\n8 m, 8.5 kg/m\n1 m, 500 lb, 15 lb, 25 mm\n\n7 m, 500 lb, 15 lb, 25 mm\n\nwash: 10 kg at 2 m\n\ndata: 5 kg at 0 m, 8 m\n\n\n";
        let mut out = Vec::new();
        let answers = Talk { lines: typed.as_bytes(), out: &mut out, weights: &weights }.ask(Answers::default()).unwrap();
        assert_eq!((answers.working_height.as_str(), answers.pace.as_str()), ("1.2 m", "25 mm/s"));
        assert_eq!((answers.towers.len(), answers.loads.len(), answers.tails.len()), (2, 1, 0));
        let said = String::from_utf8(out).unwrap();
        assert!(said.contains("found \"8 m\", expected length and weight"), "{said}");
        assert!(said.contains("height: "), "5 kg is no height: {said}");
        assert!(said.contains("found \"\", expected place, rated load"), "fewer than two towers are no lift: {said}");
    }

    #[test]
    fn an_end_of_input_in_the_middle_is_told() {
        let weights = Weights::built_in().unwrap();
        let fault = Talk { lines: "A lift\n".as_bytes(), out: Vec::new(), weights: &weights }.ask(Answers::default()).unwrap_err();
        assert!(fault.to_string().contains("no answer to: Who plans it?"), "{fault}");
    }

    #[test]
    fn all_that_is_missing_is_told_at_once() {
        let open = open(&Answers::default());
        assert_eq!(open.len(), 9);
    }

    #[test]
    fn bad_flags_say_what_was_expected() {
        let weights = Weights::built_in().unwrap();
        for (args, word) in [
            (PlanNewArgs { tower: vec!["1 m".into()], ..flags() }, "--tower: found \"1 m\", expected place"),
            (PlanNewArgs { load: vec!["wash 10 kg".into()], ..flags() }, "--load: found \"wash 10 kg\", expected name"),
            (PlanNewArgs { truss: Some("8 m".into()), ..flags() }, "--truss: found \"8 m\", expected length"),
            (PlanNewArgs { truss: Some("8, 8 kg/m".into()), ..flags() }, "--truss: length: "),
            (PlanNewArgs { tower: vec!["1 m, 500 m, 15 lb, 25 mm".into()], ..flags() }, "--tower: rated load: "),
            (PlanNewArgs { load: vec!["wash: moving spot at 1 m".into()], ..flags() }, "--load: weight: "),
        ] {
            let fault = given(&args, &weights).unwrap_err().to_string();
            assert!(fault.starts_with(word), "{fault}");
        }
    }

    #[test]
    fn a_title_becomes_one_word() {
        for (title, word) in [("Harbour Lane AGM", "harbour-lane-agm"), ("  Été! 2031 ", "t-2031"), ("!!", "lift")] {
            assert_eq!(page::site(title), word);
        }
    }
}
