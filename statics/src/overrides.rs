//! Limits changed by a named person: laid over the others, never past what nothing may exceed.

use crate::tolerance::{Limit, Origin, StepLimits, StepRows};
use raisewatch_protocol::plan::{Override, Plan};
use raisewatch_protocol::quantity::{QuantityFault, Share, read};
use raisewatch_protocol::units::{Angle, Force, Length};
use raisewatch_protocol::words::Step;

/// Lays the plan's overrides over the limits; what cannot be taken is remarked.
pub(crate) fn apply(plan: &Plan, total_n: f64, out: &mut StepLimits) {
    for o in &plan.overrides {
        let span_m = out.span_m;
        match one(o, span_m, total_n, out.steps_mut()) {
            Ok(None) => {}
            Ok(Some(remark)) | Err(remark) => out.remarks.push(format!("override of {}: {remark}", o.limit)),
        }
    }
}

fn one(o: &Override, span_m: f64, total_n: f64, steps: &mut [(Step, StepRows)]) -> Result<Option<String>, String> {
    let mut path = o.limit.split('.');
    let (step, row, which) = match (path.next(), path.next(), path.next(), path.next()) {
        (Some(step), Some(row), Some(which), None) => (step, row, which),
        _ => return Err("expected step.row.warn or step.row.stop".into()),
    };
    let step = Step::from_word(step).ok_or_else(|| format!("\"{step}\" is no step"))?;
    let rows = steps.iter_mut().find(|(s, _)| *s == step).map(|(_, r)| r).ok_or("no such step")?;
    let slot = match row {
        "rake" => &mut rows.rake,
        "line" => &mut rows.line,
        "twist" => &mut rows.twist,
        "lean" => &mut rows.lean,
        "roll" => &mut rows.roll,
        "share" => &mut rows.share,
        "total" => &mut rows.total,
        other => return Err(format!("\"{other}\" is no row: expected rake, line, twist, lean, roll, share or total")),
    };
    let limit = slot.as_mut().ok_or_else(|| format!("{row} is not judged in {step}: there is nothing to change"))?;
    let typed = value(row, &o.value, span_m, total_n)?;
    let taken = limit.never_exceed.map_or(typed, |never| typed.min(never));
    set(limit, which, taken, o)?;
    Ok((taken < typed).then(|| format!("\"{}\" is past what nothing may exceed; cut to {}", o.value, shown(row, taken))))
}

fn set(limit: &mut Limit, which: &str, value: f64, o: &Override) -> Result<(), String> {
    match which {
        "warn" => limit.warn = value,
        "stop" => limit.stop = Some(value),
        other => return Err(format!("\"{other}\": expected warn or stop")),
    }
    if let Some(stop) = limit.stop {
        // A warn past its stop would never be told.
        limit.warn = limit.warn.min(stop);
    }
    limit.origin = Origin::Override { by: o.by.clone(), reason: o.reason.clone() };
    limit.reason = format!("{}: {}", o.by, o.reason);
    Ok(())
}

fn shown(row: &str, value: f64) -> String {
    match row {
        "rake" | "line" | "twist" => format!("{:.0} mm", value * 1000.0),
        "lean" | "roll" => format!("{:.2}°", value.to_degrees()),
        _ => format!("{value:.0} N"),
    }
}

/// The value in the row's unit (m, rad, N), read as the plan's reader reads the row itself.
fn value(row: &str, text: &str, span_m: f64, total_n: f64) -> Result<f64, String> {
    let told = |e: QuantityFault| format!("found {}: expected {}", e.found, e.expected);
    let read = match row {
        "rake" => read::<Length>(text).map(|l| l.0).or_else(|e| read::<Angle>(text).map(|a| span_m * a.0.sin()).map_err(|_| e)),
        "line" | "twist" => read::<Length>(text).map(|l| l.0),
        "lean" | "roll" => read::<Angle>(text).map(|a| a.0),
        _ => read::<Force>(text).map(|f| f.0).or_else(|e| read::<Share>(text).map(|s| s.0 * total_n).map_err(|_| e)),
    };
    match read {
        Ok(v) if v >= 0.0 => Ok(v),
        Ok(_) => Err(format!("found {text}: expected nothing below zero")),
        Err(e) => Err(told(e)),
    }
}
