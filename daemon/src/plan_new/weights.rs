//! Weights of things of a kind, to pick from by name when nobody has weighed the thing yet.
//!
//! Nothing here is ever used unless a person names it, and what is taken from here stands in the plan as a guess with
//! the range beside it.

use serde::Deserialize;

const TEXT: &str = include_str!("weights.toml");

/// All kinds of things.
#[derive(Debug, Deserialize)]
pub struct Weights {
    /// Truss, weight per length.
    pub truss: Vec<Thing>,
    /// What hangs, each.
    pub item: Vec<Thing>,
    /// Cable, weight per length.
    pub cable: Vec<Thing>,
}

/// One kind of thing. Quantities are as a plan spells them.
#[derive(Clone, Debug, Deserialize)]
pub struct Thing {
    /// Its name, to pick it by.
    pub name: String,
    /// A middling weight, with unit.
    pub weight: String,
    /// What is met, in words.
    pub range: String,
    /// Truss: EI, a middling one, joints and shear allowed for.
    pub bending: Option<String>,
    /// Truss: depth.
    pub depth: Option<String>,
}

impl Weights {
    /// The table that is built into the program.
    pub fn built_in() -> anyhow::Result<Self> {
        Ok(toml::from_str(TEXT)?)
    }
}

impl Thing {
    /// The remark that follows it into the plan.
    pub fn remark(&self) -> String {
        format!("{}: {} is common practice, from memory. Weigh yours.", self.name, self.range)
    }
}

/// The thing of this name: whole, or the only one whose name begins so.
pub fn named<'a>(things: &'a [Thing], name: &str) -> Option<&'a Thing> {
    let name = name.trim().to_lowercase();
    let begins: Vec<_> = things.iter().filter(|t| t.name.starts_with(&name)).collect();
    things.iter().find(|t| t.name == name).or(match begins[..] {
        [only] if !name.is_empty() => Some(only),
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thing_is_found_by_its_name_or_a_beginning_that_fits_no_other() {
        let w = Weights::built_in().unwrap();
        let found = |name| named(&w.item, name).map(|t| t.name.as_str());
        assert_eq!(found("moving wash"), Some("moving wash"));
        assert_eq!(found("Beam"), Some("beam light"));
        assert_eq!(found("moving spot"), None, "two begin so: a person must say which");
        assert_eq!(found(""), None);
        assert_eq!(found("anvil"), None);
    }

    #[test]
    fn every_weight_is_within_its_own_range() {
        let w = Weights::built_in().unwrap();
        let number = |s: &str| s.split_whitespace().next().unwrap().parse::<f64>().unwrap();
        for t in w.truss.iter().chain(&w.item).chain(&w.cable) {
            let (low, high) = t.range.split_once(" to ").unwrap();
            assert!((number(low)..=number(high)).contains(&number(&t.weight)), "{}", t.name);
        }
    }
}
