//! A phrase file: what a crew calls things, in its own language. Read once, at the start; the first mistake is named.

use super::{Phrases, all, index_of};

/// What is wrong in a phrase file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PhraseFault {
    /// Not TOML.
    #[error("{file}: {why}")]
    NotToml {
        /// File.
        file: String,
        /// What the reader says, with line and column.
        why: String,
    },
    /// A key that the watch does not know.
    #[error("{file}: key `{key}` is not known; did you mean `{near}`?")]
    UnknownKey {
        /// File.
        file: String,
        /// Found.
        key: String,
        /// The known key that is most alike.
        near: &'static str,
    },
    /// A value that is no text, or holds an unknown brace.
    #[error("{file}: key `{key}`: {why}")]
    BadText {
        /// File.
        file: String,
        /// The key.
        key: String,
        /// What is wrong.
        why: String,
    },
}

/// The braces a phrase may hold.
const BRACES: &[&str] = &["tower", "turns", "reason", "amount", "limit", "place", "what", "way", "guard", "step", "before"];

impl Phrases {
    /// Reads a phrase file: a table of keys and texts, which replaces the default of each key that it names, and under
    /// `[towers]` spoken names by tower id.
    ///
    /// Errors: [`PhraseFault`], the first that is found.
    pub fn read(text: &str, file: &str) -> Result<Self, PhraseFault> {
        let table: toml::Table =
            text.parse().map_err(|e: toml::de::Error| PhraseFault::NotToml { file: file.into(), why: e.to_string() })?;
        let mut phrases = Phrases::default();
        for (key, value) in &table {
            if let ("towers", toml::Value::Table(names)) = (key.as_str(), value) {
                phrases.towers = names.iter().map(|(id, name)| tower_name(id, name, file)).collect::<Result<_, _>>()?;
                continue;
            }
            let at = index_of(key).ok_or_else(|| PhraseFault::UnknownKey { file: file.into(), key: key.clone(), near: most_alike(key) })?;
            let bad = |why: String| PhraseFault::BadText { file: file.into(), key: key.clone(), why };
            let words = value.as_str().ok_or_else(|| bad(format!("expected a text, found {}", value.type_str())))?;
            check_braces(words).map_err(bad)?;
            if key == "language" && !is_language(words) {
                return Err(bad(format!("expected a tag of BCP 47 such as `nl` or `es-MX`, found `{words}`")));
            }
            phrases.words[at] = words.to_owned();
        }
        Ok(phrases)
    }
}

fn tower_name(id: &str, name: &toml::Value, file: &str) -> Result<(String, String), PhraseFault> {
    let bad = |why: String| PhraseFault::BadText { file: file.into(), key: format!("towers.{id}"), why };
    let name = name.as_str().ok_or_else(|| bad(format!("expected a name, found {}", name.type_str())))?.trim();
    if name.is_empty() || name.contains(['{', '}']) {
        return Err(bad(format!("expected a name that can be spoken, found `{name}`")));
    }
    Ok((id.to_owned(), name.to_owned()))
}

/// Whether this may be a language tag: letters first, then parts of letters and digits.
fn is_language(tag: &str) -> bool {
    let part = |part: &str| (1..=8).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_alphanumeric());
    tag.starts_with(|c: char| c.is_ascii_alphabetic()) && tag.len() <= 35 && tag.split('-').all(part)
}

fn check_braces(words: &str) -> Result<(), String> {
    let mut rest = words;
    while let Some(open) = rest.find(['{', '}']) {
        let close = rest[open..].find('}').filter(|_| rest[open..].starts_with('{'));
        let Some(close) = close else { return Err("a brace without its partner".into()) };
        let name = &rest[open + 1..open + close];
        if !BRACES.contains(&name) {
            return Err(format!("`{{{name}}}` is not known; expected one of {}", BRACES.join(", ")));
        }
        rest = &rest[open + close + 1..];
    }
    Ok(())
}

/// The known key with the fewest letters changed, added or left out.
fn most_alike(key: &str) -> &'static str {
    all().map(|(k, _)| k).min_by_key(|k| letters_apart(key, k)).unwrap_or("level")
}

fn letters_apart(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let changed = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = changed.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrases::DEFAULTS;
    use crate::phrases::pages::PAGES;

    #[test]
    fn a_file_replaces_single_phrases_and_its_mistakes_are_named() {
        let german = Phrases::read("hold = \"Halt {tower}.\"\nup = \"{tower} {turns} hoch.\"\nturns-2 = \"zwei\"", "de.toml");
        let german = german.unwrap();
        assert_eq!(german.render("hold", &[("tower", "Berta")]), "Halt Berta.");
        assert_eq!(german.render("up", &[("tower", "Anton"), ("turns", german.turns(2.0))]), "Anton zwei hoch.");
        assert_eq!(german.of("level"), "Level.");
        let cases = [
            ("hold = ", "de.toml: "),
            ("hald = \"x\"", "key `hald` is not known; did you mean `hold`?"),
            ("hold = 3", "key `hold`: expected a text, found integer"),
            ("hold = \"{tow}\"", "`{tow}` is not known"),
            ("hold = \"{tower\"", "a brace without its partner"),
            ("language = \"Dutch, mostly\"", "key `language`: expected a tag of BCP 47"),
            ("[towers]\nA = 1", "key `towers.A`: expected a name, found integer"),
            ("[towers]\nA = \" \"", "key `towers.A`: expected a name that can be spoken"),
            ("towers = \"A\"", "key `towers` is not known"),
        ];
        for (text, want) in cases {
            let fault = Phrases::read(text, "de.toml").unwrap_err().to_string();
            assert!(fault.contains(want), "{text}: {fault}");
        }
    }

    #[test]
    fn a_crew_names_its_language_its_towers_and_the_pages_own_words() {
        let text = "language = \"nl\"\npage-not-live = \"Geen beeld\"\n[towers]\nB = \"Beer\"\nA = \"Aap\"";
        let dutch = Phrases::read(text, "nl.toml").unwrap();
        assert_eq!(dutch.towers, [("A".to_owned(), "Aap".to_owned()), ("B".to_owned(), "Beer".to_owned())]);
        let words = dutch.of_pages();
        assert_eq!((words["language"], words["not-live"], words["live-again"]), ("nl", "Geen beeld", "Live again"));
        assert_eq!(words.len(), PAGES.len() + 1);
        assert!(PAGES.iter().all(|(key, _)| key.starts_with("page-")) && !DEFAULTS.iter().any(|(key, _)| key.starts_with("page-")));
    }
}
