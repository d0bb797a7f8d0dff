//! The new plan as a commented file.

use crate::plan_new::answers::{Answers, Item, Weighed};
use std::fmt::Write;

/// Spoken names that do not sound alike in noise; further towers are spoken by their letter.
const NAMES: [&str; 8] = ["Alpha", "Bravo", "Charlie", "Delta", "Echo", "Foxtrot", "Golf", "Hotel"];

/// The text of the plan.
pub fn page(a: &Answers) -> String {
    let mut p = String::new();
    head(&mut p, a);
    truss(&mut p, a);
    towers(&mut p, a);
    a.loads.iter().for_each(|item| load(&mut p, item));
    a.cables.iter().for_each(|item| cable(&mut p, item));
    a.tails.iter().for_each(|item| tail(&mut p, item));
    p
}

/// One word for topics: letters, digits and hyphens of the title.
pub fn site(title: &str) -> String {
    let word: String = title.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let word = word.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-");
    if word.is_empty() { "lift".into() } else { word }
}

fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

fn line(p: &mut String, key: &str, value: &str, remark: &str) {
    let remark = if remark.is_empty() { String::new() } else { format!("  # {remark}") };
    let _ = writeln!(p, "{key} = {value}{remark}");
}

fn weight(p: &mut String, w: &Weighed) {
    line(p, "weight", &quoted(&w.weight), w.remark.as_deref().unwrap_or(""));
    line(p, "source", "\"guess\"", "or \"weighed\", \"label\", \"maker\": how far it may be off");
}

fn head(p: &mut String, a: &Answers) {
    p.push_str("# A plan for raisewatch. Quantities carry their unit: kg, lb, kN, m, ft, in mix freely.\n");
    p.push_str("# It advises only. The maker's manual, the competent person and local codes hold.\n\n");
    line(p, "title", &quoted(&a.title), "");
    line(p, "site", &quoted(&site(&a.title)), "one word, for topics");
    line(p, "revision", "1", "count it up at every change");
    line(p, "planner", &quoted(&a.planner), "");
    line(p, "working-height", &quoted(&a.working_height), "of the heads, while people work on the truss");
    line(p, "trim-height", &quoted(&a.trim_height), "");
    line(p, "pace", &quoted(&a.pace), "of a head while cranking up");
    line(p, "reaction", "\"3 s\"", "from the word to still hands");
    line(p, "allowance", "1.10", "for hand cranking; 1.25 where it jerks");
    line(p, "tolerance", "\"from-statics\"", "or [tolerance] tables at the end of the file");
}

fn truss(p: &mut String, a: &Answers) {
    p.push_str("\n[[piece]]\nid = \"truss\"\nfrom = [\"0 m\", \"0 m\"]\n");
    line(p, "to", &format!("[{}, \"0 m\"]", quoted(&a.truss.length)), "");
    weight(p, &a.truss.weight);
    match &a.truss.bending {
        Some(ei) => line(p, "bending", &quoted(ei), "EI, common practice, from memory; the maker knows better"),
        None => p.push_str("# bending = \"1.7 MN m2\"   # EI, from the maker: how shares move with height on three towers\n"),
    }
    if let Some(depth) = &a.truss.depth {
        line(p, "depth", &quoted(depth), "");
    }
    p.push_str("# table = [{ span = \"6 m\", spread = \"118 kg/m\", centre = \"354 kg\" }]   # from the maker's sheet; without it the truss is not checked\n");
}

fn towers(p: &mut String, a: &Answers) {
    for (i, t) in a.towers.iter().enumerate() {
        let id = char::from(b'A' + (i % 26) as u8).to_string();
        p.push_str("\n[[tower]]\n");
        line(p, "id", &quoted(&id), "painted on the tower");
        line(p, "name", &quoted(NAMES.get(i).copied().unwrap_or(&id)), "as it is spoken");
        line(p, "at", &quoted(&t.at), "");
        line(p, "rated", &quoted(&t.rated), "or by height: [{ to = \"3 m\", load = \"500 lb\" }, …]");
        line(p, "least", &quoted(&t.least), "below this it does not come down by itself");
        line(p, "per-turn", &quoted(&t.per_turn), "rise of the head for one turn of the crank");
        p.push_str("# pins = [\"2.6 m\", \"4.2 m\"]   # heights of the head at which a pin goes in\n");
        p.push_str("# footprint = \"0.75 m\"          # from the mast to the tipping line; with weight, for stability\n");
    }
}

fn load(p: &mut String, item: &Item) {
    p.push_str("\n[[load]]\n");
    line(p, "name", &quoted(&item.name), "");
    weight(p, &item.weight);
    let at: Vec<String> = item.at.iter().map(|place| quoted(place)).collect();
    line(p, "at", &format!("[{}]", at.join(", ")), "");
    p.push_str("# hang = \"0.45 m\"   # how far its weight hangs below the truss line\n");
}

fn cable(p: &mut String, item: &Item) {
    p.push_str("\n[[cable]]\n");
    line(p, "name", &quoted(&item.name), "");
    weight(p, &item.weight);
    for (key, place) in ["from", "to"].iter().zip(&item.at) {
        line(p, key, &quoted(place), "");
    }
}

fn tail(p: &mut String, item: &Item) {
    p.push_str("\n[[cable]]\n");
    line(p, "name", &quoted(&item.name), "");
    weight(p, &item.weight);
    for place in item.at.iter().take(1) {
        line(p, "tail-at", &quoted(place), "hangs to the floor here: grows with height");
    }
}
