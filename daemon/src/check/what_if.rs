//! What if: a weight more or less at a place, a tower higher or lower. The changed lift stands beside the plan's own.

use crate::Misuse;
use raisewatch_protocol::plan::{Hung, Load, Plan, Source};
use raisewatch_protocol::quantity;
use raisewatch_protocol::units::{Force, Length};

/// A plan with its changes.
pub struct Changed {
    /// The plan with weights added and taken off.
    pub plan: Plan,
    /// Offset of each tower, m.
    pub offsets_m: Vec<f64>,
    /// The changes as they were asked.
    pub asked: Vec<String>,
}

/// The plan with everything that was asked; `None` where nothing was.
///
/// # Errors
/// A change that cannot be understood or does not fit the plan.
pub fn change(plan: &Plan, asked: &[String]) -> Result<Option<Changed>, Misuse> {
    if asked.is_empty() {
        return Ok(None);
    }
    let mut changed = Changed { plan: plan.clone(), offsets_m: vec![0.0; plan.towers.len()], asked: asked.to_vec() };
    for text in asked {
        if text.contains(" at ") { weight(&mut changed.plan, text)? } else { offset(&mut changed, text)? }
    }
    Ok(Some(changed))
}

fn misuse(text: &str, found: impl std::fmt::Display) -> Misuse {
    Misuse(format!("--what-if \"{text}\": found {found}; expected \"+14 kg at 5.5 m\", \"-5 kg at 2 m on front\" or \"B -20 mm\""))
}

fn weight(plan: &mut Plan, text: &str) -> Result<(), Misuse> {
    let (weight, place) = text.split_once(" at ").unwrap_or((text, ""));
    let (at, piece) = match place.split_once(" on ") {
        Some((at, piece)) => (at, Some(piece.trim())),
        None => (place, None),
    };
    let found = |fault: quantity::QuantityFault| misuse(text, fault.found);
    let weight = quantity::read::<Force>(weight).map_err(found)?;
    let at = quantity::read::<Length>(at).map_err(found)?;
    let index = match piece {
        Some(id) => plan.pieces.iter().position(|p| p.id == id).ok_or_else(|| misuse(text, format!("`{id}`, which is no piece")))?,
        None if plan.pieces.len() == 1 => 0,
        None => return Err(misuse(text, "no piece, where the plan has several")),
    };
    let length = plan.pieces[index].length().0;
    if !(-1e-6..=length + 1e-6).contains(&at.0) {
        return Err(misuse(text, format!("{} m, off the piece, which is {length} m long", at.0)));
    }
    let hung = Hung::Point { at: Length(at.0.clamp(0.0, length)), weight };
    let zero = Length(0.0);
    plan.loads.push(Load { name: format!("what if {text}"), piece: index, hung, source: Source::Band(0.0), hang: zero, across: zero });
    Ok(())
}

fn offset(changed: &mut Changed, text: &str) -> Result<(), Misuse> {
    let (tower, height) = text.trim().split_once(char::is_whitespace).ok_or_else(|| misuse(text, "one word"))?;
    let known = |t: &raisewatch_protocol::plan::Tower| t.id == tower || t.name.eq_ignore_ascii_case(tower);
    let index = changed.plan.towers.iter().position(known).ok_or_else(|| misuse(text, format!("`{tower}`, which is no tower")))?;
    let height = quantity::read::<Length>(height).map_err(|fault| misuse(text, fault.found))?;
    if height.0.abs() > 1.0 {
        return Err(misuse(text, format!("{} m, more than any tower is out", height.0)));
    }
    changed.offsets_m[index] += height.0;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan() -> Plan {
        Plan::read(include_str!("../../../docs/examples/harbour-lane.toml"), "plan.toml").unwrap()
    }

    fn asked(texts: &[&str]) -> Result<Option<Changed>, Misuse> {
        change(&plan(), &texts.iter().map(|t| (*t).to_owned()).collect::<Vec<_>>())
    }

    #[test]
    fn weights_and_heights_add_up() {
        assert!(asked(&[]).unwrap().is_none());
        let changed = asked(&["+14 kg at 5.5 m", "-10 lb at 2 m on front", "B -20 mm", "bravo -1/4 in"]).unwrap().unwrap();
        let added: Vec<f64> =
            changed.plan.loads[8..].iter().map(|l| if let Hung::Point { weight, .. } = l.hung { weight.kg() } else { 0.0 }).collect();
        assert!((added[0] - 14.0).abs() < 1e-9 && (added[1] + 4.5359237).abs() < 1e-9);
        assert_eq!(changed.offsets_m[0], 0.0);
        assert!((changed.offsets_m[1] + 0.02635).abs() < 1e-9);
    }

    #[test]
    fn what_does_not_fit_is_told() {
        for (text, found) in [
            ("+14 kg at 9 m", "9 m, off the piece, which is 8 m long"),
            ("+14 at 5 m", "`+14` without a unit"),
            ("+14 m at 5 m", "`+14 m`, a length"),
            ("+14 kg at 5 m on back", "`back`, which is no piece"),
            ("Q -20 mm", "`Q`, which is no tower"),
            ("B -20", "`-20` without a unit"),
            ("B 3 m", "3 m, more than any tower is out"),
            ("B", "one word"),
            ("", "one word"),
        ] {
            let fault = asked(&[text]).err().map(|m| m.0).unwrap_or_default();
            assert!(fault.contains(&format!("found {found};")), "{text}: {fault}");
        }
    }
}
