//! `raisewatch check`: the load sheet of a plan, in the terminal, on paper, for machines.
//!
//! The sums are `raisewatch_statics`'; here they are read in, printed and drawn. Exit status 0: nothing found against it;
//! 1: it must not be lifted as planned (or as asked by `--what-if`), each reason with its cure; 2: unreadable.

mod drawing;
mod paper;
mod plots;
mod show;
mod terminal;
mod what_if;
mod words;

use crate::{Exit, Misuse};
use anyhow::Context;
use raisewatch_protocol::files::Mistakes;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use raisewatch_statics::sheet::Sheet;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use terminal::Paint;
use words::Comparison;

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct CheckArgs {
    /// The plan
    plan: PathBuf,
    /// A kit to check against it
    #[arg(long)]
    kit: Option<PathBuf>,
    /// Write the load sheet for printing
    #[arg(long, value_name = "OUT")]
    html: Option<PathBuf>,
    /// Print everything for machines, in SI units
    #[arg(long)]
    json: bool,
    /// The sheet with a change beside it: "+14 kg at 5.5 m", "B -20 mm"; may be given several times
    #[arg(long = "what-if", value_name = "CHANGE", allow_hyphen_values = true)]
    what_if: Vec<String>,
}

/// A changed lift and its sheet.
struct WhatIf {
    plan: Plan,
    sheet: Sheet,
    comparison: Comparison,
}

/// Does it.
pub fn run(args: CheckArgs) -> anyhow::Result<Exit> {
    let text = read(&args.plan)?;
    let plan = match Plan::read(&text, &args.plan.display().to_string()) {
        Ok(plan) => plan,
        Err(mistakes) => {
            tell(&mistakes);
            if let Some(path) = &args.kit
                && let Err(mistakes) = Kit::read(&read(path)?, &path.display().to_string())
            {
                tell(&mistakes);
            }
            return Ok(Exit::Misused);
        }
    };
    if let Some(path) = &args.kit
        && let Err(mistakes) = Kit::read_for(&read(path)?, &path.display().to_string(), &plan)
    {
        tell(&mistakes);
        return Ok(Exit::Misused);
    }
    let sheet = match Sheet::new(&plan) {
        Ok(sheet) => sheet,
        Err(fault) => {
            writeln!(std::io::stdout().lock(), "It must not be lifted as planned:\n1. {}.", words::sentence(&fault.to_string()))?;
            return Ok(Exit::Failed);
        }
    };
    let what_if = what_if(&plan, &sheet, &args.what_if)?;
    if args.json {
        let line = serde_json::to_string_pretty(&machine(&sheet, what_if.as_ref()))?;
        writeln!(std::io::stdout().lock(), "{line}")?;
    } else {
        print(&plan, &sheet, what_if.as_ref())?;
    }
    if let Some(out) = &args.html {
        let page = paper::page(&plan, &sheet, what_if.as_ref());
        std::fs::write(out, page).with_context(|| format!("writing {}", out.display()))?;
    }
    let against = |sheet: &Sheet| !sheet.verdict.faults.is_empty();
    let fails = against(&sheet) || what_if.as_ref().is_some_and(|w| against(&w.sheet));
    Ok(if fails { Exit::Failed } else { Exit::Done })
}

fn read(path: &Path) -> Result<String, Misuse> {
    std::fs::read_to_string(path).map_err(|fault| Misuse(format!("{}: cannot be read: {fault}", path.display())))
}

fn tell(mistakes: &Mistakes) {
    let text = mistakes.render(colours(&std::io::stderr()));
    eprintln!("{}\n{mistakes}", text.trim_end());
}

/// Colours only on a terminal, and not where `NO_COLOR` asks for none.
fn colours(to: &impl IsTerminal) -> bool {
    to.is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

fn what_if(plan: &Plan, own: &Sheet, asked: &[String]) -> anyhow::Result<Option<WhatIf>> {
    let Some(changed) = what_if::change(plan, asked)? else { return Ok(None) };
    let sheet = Sheet::at(&changed.plan, &changed.offsets_m).context("the changed lift cannot be weighed")?;
    let comparison = Comparison::new(changed.asked, own, &sheet);
    Ok(Some(WhatIf { plan: changed.plan, sheet, comparison }))
}

/// The sheet, whether it may be lifted, and the changed one.
fn machine(sheet: &Sheet, what_if: Option<&WhatIf>) -> serde_json::Value {
    let one = |sheet: &Sheet| {
        let mut value = serde_json::to_value(sheet).unwrap_or_default();
        value["may_be_lifted"] = sheet.verdict.faults.is_empty().into();
        value
    };
    let mut out = one(sheet);
    out["advises_only"] = words::ADVISES.into();
    out["what_if"] =
        what_if.map_or(serde_json::Value::Null, |w| serde_json::json!({ "asked": w.comparison.asked, "sheet": one(&w.sheet) }));
    out
}

fn print(plan: &Plan, sheet: &Sheet, what_if: Option<&WhatIf>) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    let paint = Paint(colours(&out));
    out.write_all(terminal::text(plan, sheet, paint).as_bytes())?;
    if let Some(w) = what_if {
        out.write_all(b"\n")?;
        out.write_all(terminal::beside(&w.plan, &w.sheet, &w.comparison, paint).as_bytes())?;
    }
    Ok(())
}
