//! Reads plan, kit and phrases from files; all mistakes of all of them are told in one go.

use crate::Misuse;
use raisewatch_protocol::files::Mistakes;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use raisewatch_watch::phrases::Phrases;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};

/// Plan, kit and phrases of one lift, with the texts they were read from (for the recording).
#[derive(Clone, Debug)]
pub struct Loaded {
    /// The plan.
    pub plan: Plan,
    /// As read.
    pub plan_text: String,
    /// Where it was read from.
    pub plan_file: PathBuf,
    /// The kit.
    pub kit: Kit,
    /// As read.
    pub kit_text: String,
    /// Where it was read from.
    pub kit_file: PathBuf,
    /// The phrases.
    pub phrases: Phrases,
    /// As read, where the plan names a file.
    pub phrases_text: Option<String>,
}

/// What a live lift is made of: all of [`Loaded`], or a kit alone, which is recorded and not judged.
#[derive(Clone, Debug)]
pub struct Lift {
    /// The site, under which nodes speak.
    pub site: String,
    /// Ids of the towers.
    pub towers: Vec<String>,
    /// The plan's file and text; `None` where there is no plan.
    pub plan: Option<(PathBuf, String)>,
    /// The kit.
    pub kit: Kit,
    /// Its file and text.
    pub kit_file: (PathBuf, String),
    /// The phrases.
    pub phrases: Phrases,
    /// Name and text of their file, where there is one.
    pub phrases_file: Option<(String, String)>,
}

impl From<Loaded> for Lift {
    fn from(lift: Loaded) -> Self {
        Lift {
            site: lift.plan.site,
            towers: lift.plan.towers.into_iter().map(|tower| tower.id).collect(),
            plan: Some((lift.plan_file, lift.plan_text)),
            kit: lift.kit,
            kit_file: (lift.kit_file, lift.kit_text),
            phrases: lift.phrases,
            phrases_file: lift.plan.phrases.zip(lift.phrases_text),
        }
    }
}

/// A lift without a plan. Errors: [`Misuse`], with every mistake of the kit.
pub fn kit_alone(kit_file: &Path, site: &str) -> anyhow::Result<Lift> {
    let kit_text = text(kit_file)?;
    let kit = Kit::read(&kit_text, &kit_file.display().to_string()).map_err(|mistakes| told([None, Some(mistakes)]))?;
    Ok(Lift {
        site: site.to_owned(),
        towers: crate::no_plan::towers(&kit),
        plan: None,
        kit,
        kit_file: (kit_file.to_owned(), kit_text),
        phrases: Phrases::default(),
        phrases_file: None,
    })
}

/// Reads the files. Errors: [`Misuse`], with every mistake of both files.
pub fn load(plan_file: &Path, kit_file: &Path) -> anyhow::Result<Loaded> {
    let plan_text = text(plan_file)?;
    let kit_text = text(kit_file)?;
    loaded(plan_text, plan_file, kit_text, kit_file, |name| beside(plan_file, name))
}

/// Reads a plan, and a kit where one is given; the phrases that the plan names must be there. Errors: as [`load`].
pub fn plan_and_kit(plan_file: &Path, kit_file: Option<&Path>) -> anyhow::Result<Plan> {
    let Some(kit_file) = kit_file else {
        let mut plan = Plan::read(&text(plan_file)?, &plan_file.display().to_string()).map_err(|mistakes| told([Some(mistakes), None]))?;
        phrases(&mut plan, |name| beside(plan_file, name))?;
        return Ok(plan);
    };
    Ok(load(plan_file, kit_file)?.plan)
}

/// Text and path of a file that stands beside the plan.
fn beside(plan_file: &Path, name: &str) -> anyhow::Result<(String, PathBuf)> {
    let file = plan_file.parent().unwrap_or(Path::new("")).join(name);
    text(&file).map(|text| (text, file))
}

/// Reads texts that are already here. `beside` gives the text of a file named in the plan.
pub fn loaded(
    plan_text: String,
    plan_file: &Path,
    kit_text: String,
    kit_file: &Path,
    beside: impl FnOnce(&str) -> anyhow::Result<(String, PathBuf)>,
) -> anyhow::Result<Loaded> {
    let plan = Plan::read(&plan_text, &plan_file.display().to_string());
    let kit_name = kit_file.display().to_string();
    let kit = match &plan {
        Ok(plan) => Kit::read_for(&kit_text, &kit_name, plan),
        Err(_) => Kit::read(&kit_text, &kit_name),
    };
    let (mut plan, kit) = match (plan, kit) {
        (Ok(plan), Ok(kit)) => (plan, kit),
        (plan, kit) => return Err(told([plan.err(), kit.err()])),
    };
    let (phrases, phrases_text) = phrases(&mut plan, beside)?;
    Ok(Loaded { plan, plan_text, plan_file: plan_file.to_owned(), kit, kit_text, kit_file: kit_file.to_owned(), phrases, phrases_text })
}

/// The phrases of a plan; towers that they name otherwise are called so from here on, on every page and paper.
fn phrases(plan: &mut Plan, beside: impl FnOnce(&str) -> anyhow::Result<(String, PathBuf)>) -> anyhow::Result<(Phrases, Option<String>)> {
    let (mut phrases, text) = match &plan.phrases {
        None => (Phrases::default(), None),
        Some(name) => {
            let (text, file) = beside(name)?;
            let phrases = Phrases::read(&text, &file.display().to_string()).map_err(|fault| Misuse(fault.to_string()))?;
            rename(plan, &phrases, &file)?;
            (phrases, Some(text))
        }
    };
    phrases.pounds = plan.units.pounds;
    phrases.inches = plan.units.feet;
    Ok((phrases, text))
}

fn rename(plan: &mut Plan, phrases: &Phrases, file: &Path) -> anyhow::Result<()> {
    for (id, name) in &phrases.towers {
        let ids = || plan.towers.iter().map(|tower| tower.id.as_str()).collect::<Vec<_>>().join(", ");
        let Some(at) = plan.towers.iter().position(|tower| tower.id == *id) else {
            return Err(Misuse(format!("{}: key `towers.{id}`: the plan's towers are {}", file.display(), ids())).into());
        };
        plan.towers[at].name.clone_from(name);
    }
    let names: Vec<String> = plan.towers.iter().map(|tower| tower.name.to_lowercase()).collect();
    match (1..names.len()).find(|at| names[..*at].contains(&names[*at])) {
        None => Ok(()),
        Some(_) if phrases.towers.is_empty() => Ok(()), // the plan's own names, checked where it is read
        Some(at) => {
            Err(Misuse(format!("{}: two towers are called {:?}; a call must name one", file.display(), plan.towers[at].name)).into())
        }
    }
}

fn text(file: &Path) -> anyhow::Result<String> {
    std::fs::read_to_string(file).map_err(|fault| Misuse(format!("{}: {fault}", file.display())).into())
}

/// Colours only on a terminal, and not where `NO_COLOR` asks for none.
pub fn colours(to: &impl IsTerminal) -> bool {
    to.is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// The mistakes of all files as one refusal.
fn told(mistakes: [Option<Mistakes>; 2]) -> anyhow::Error {
    let colours = colours(&std::io::stderr());
    let all: String = mistakes.iter().flatten().map(|mistakes| format!("{mistakes}\n{}", mistakes.render(colours))).collect();
    Misuse(all.trim_end().to_owned()).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mistakes_of_both_files_come_in_one_go() {
        let none = |_: &str| anyhow::bail!("no file is named");
        let fault = loaded("titel = 1".into(), Path::new("p.toml"), "brokr = 2".into(), Path::new("k.toml"), none).unwrap_err();
        let text = fault.downcast_ref::<Misuse>().unwrap().to_string();
        assert!(text.contains("p.toml:1:1") && text.contains("k.toml:1:1"), "{text}");
    }

    #[test]
    fn a_crew_renames_its_towers_and_a_name_that_fits_no_tower_is_told() {
        let plan_text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/examples/rehearsal/plan.toml")).unwrap();
        let mut plan = Plan::read(&plan_text, "plan.toml").unwrap();
        plan.phrases = Some("p.toml".into());
        let file = |text: &'static str| move |_: &str| Ok((text.to_owned(), PathBuf::from("p.toml")));
        phrases(&mut plan, file("[towers]\nA = \"Aap\"")).unwrap();
        assert_eq!(plan.towers[0].name, "Aap");
        let told = |plan: &mut Plan, text| phrases(plan, file(text)).unwrap_err().to_string();
        assert_eq!(told(&mut plan, "[towers]\nZ = \"Zoo\""), "p.toml: key `towers.Z`: the plan's towers are A, B");
        assert_eq!(told(&mut plan, "[towers]\nB = \"aap\""), "p.toml: two towers are called \"aap\"; a call must name one");
    }

    #[test]
    fn a_file_that_is_not_there_is_misuse_and_named() {
        let fault = load(Path::new("/nowhere/plan.toml"), Path::new("/nowhere/kit.toml")).unwrap_err();
        assert!(fault.downcast_ref::<Misuse>().unwrap().to_string().contains("/nowhere/plan.toml"));
    }
}
