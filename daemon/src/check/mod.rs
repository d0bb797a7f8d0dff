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

use crate::{Exit, Misuse, load};
use anyhow::Context;
use raisewatch_protocol::plan::Plan;
use raisewatch_statics::sheet::Sheet;
use std::io::Write;
use std::path::PathBuf;
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
    let plan = load::plan_and_kit(&args.plan, args.kit.as_deref())?;
    let sheet = match Sheet::new(&plan) {
        Ok(sheet) => sheet,
        Err(fault) => {
            writeln!(std::io::stdout().lock(), "It must not be lifted as planned:\n1. {}.", words::sentence(&fault.to_string()))?;
            return Ok(Exit::Failed);
        }
    };
    let what_if = what_if(&plan, &sheet, &args.what_if)?;
    let printed = if args.json {
        let lines = serde_json::to_string_pretty(&machine(&sheet, what_if.as_ref()))?;
        writeln!(std::io::stdout().lock(), "{lines}")
    } else {
        print(&plan, &sheet, what_if.as_ref())
    };
    match printed {
        // A reader that has seen enough, as `head`, is no failure.
        Err(fault) if fault.kind() == std::io::ErrorKind::BrokenPipe => {}
        other => other.context("printing the load sheet")?,
    }
    if let Some(out) = &args.html {
        let page = paper::page(&plan, &sheet, what_if.as_ref());
        // Not status 1: that means that it must not be lifted.
        std::fs::write(out, page).map_err(|fault| Misuse(format!("{}: cannot be written: {fault}", out.display())))?;
    }
    let against = |sheet: &Sheet| !sheet.verdict.faults.is_empty();
    let fails = against(&sheet) || what_if.as_ref().is_some_and(|w| against(&w.sheet));
    Ok(if fails { Exit::Failed } else { Exit::Done })
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

fn print(plan: &Plan, sheet: &Sheet, what_if: Option<&WhatIf>) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    let paint = Paint(load::colours(&out));
    out.write_all(terminal::text(plan, sheet, paint).as_bytes())?;
    if let Some(w) = what_if {
        out.write_all(b"\n")?;
        out.write_all(terminal::beside(&w.plan, &w.sheet, &w.comparison, paint).as_bytes())?;
    }
    Ok(())
}
