//! The pages stay small: all that a phone fetches to open one, followed from its HTML, uncompressed.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Bytes of a phone's page in all, before compression: that opens within a second on the laptop's own access point.
const PHONE_BYTES: u64 = 150_000;
/// The desk stands on the laptop itself. What counts is what goes through the air: pages are sent compressed (gzip: what
/// every browser takes over plain HTTP as well), and so all pages and scripts together are under the phone's bound, the
/// desk's and the crew's words among them (tests/browser/unit/pages.test.js). This bound only tells of sudden growth.
const DESK_BYTES: u64 = 180_000;

fn pages() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../daemon/pages")
}

/// Names quoted in `text` directly after `before`, up to `end`.
fn quoted<'a>(text: &'a str, before: &str, end: char) -> Vec<&'a str> {
    text.match_indices(before).filter_map(|(at, _)| text[at + before.len()..].split(end).next()).collect()
}

/// What one file makes a browser fetch, as paths under the pages' folder.
fn fetches(name: &str) -> Vec<String> {
    let text = match fs::read_to_string(pages().join(name)) {
        Ok(text) => text,
        Err(_) => return Vec::new(), // a font: fetches nothing
    };
    let folder = Path::new(name).parent().unwrap().to_str().unwrap();
    let beside = |found: &str| if folder.is_empty() { found.to_owned() } else { format!("{folder}/{found}") };
    match name.rsplit('.').next() {
        Some("html") => {
            let links = quoted(&text, "href=\"/pages/", '"').into_iter().chain(quoted(&text, "src=\"/pages/", '"'));
            links.map(str::to_owned).collect()
        }
        Some("js") => {
            let workers = quoted(&text, "new Worker(\"/pages/", '"').into_iter().map(str::to_owned);
            quoted(&text, "from \"./", '"').into_iter().map(beside).chain(workers).collect()
        }
        Some("css") => quoted(&text, "url(fonts/", ')').into_iter().map(|found| format!("fonts/{found}")).collect(),
        _ => Vec::new(),
    }
}

fn all_of(page: &str) -> BTreeSet<String> {
    let (mut seen, mut open) = (BTreeSet::new(), vec![page.to_owned()]);
    while let Some(name) = open.pop() {
        if seen.insert(name.clone()) {
            open.extend(fetches(&name));
        }
    }
    seen
}

#[test]
fn every_page_is_under_its_budget() {
    let budgets = [("index.html", PHONE_BYTES), ("spotter.html", PHONE_BYTES), ("tower.html", PHONE_BYTES), ("desk.html", DESK_BYTES)];
    for (page, most) in budgets {
        let files = all_of(page);
        let size =
            |name: &String| fs::metadata(pages().join(name)).unwrap_or_else(|_| panic!("{page} fetches {name}, which is not there")).len();
        let whole: u64 = files.iter().map(size).sum();
        println!("{page}: {whole} bytes in {} files", files.len());
        assert!(files.len() > 5, "{page}: only {files:?} found; the links are read wrongly");
        assert!(whole < most, "{page} takes {whole} bytes in {} files, at most {most}", files.len());
    }
}

#[test]
fn no_file_lies_about_unused() {
    let mut used = BTreeSet::new();
    for page in ["index.html", "spotter.html", "tower.html", "desk.html"] {
        used.extend(all_of(page));
    }
    let mut open = vec![pages()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
                continue;
            }
            let name = path.strip_prefix(pages()).unwrap().to_str().unwrap().to_owned();
            let licence = name.starts_with("fonts/OFL");
            assert!(licence || used.contains(&name), "daemon/pages/{name} is in the binary, but no page uses it");
        }
    }
}

#[test]
fn the_fonts_carry_their_licence() {
    for font in ["call", "text"] {
        let licence = fs::read_to_string(pages().join(format!("fonts/OFL-{font}.txt"))).unwrap();
        assert!(licence.contains("SIL OPEN FONT LICENSE Version 1.1"));
        assert!(pages().join(format!("fonts/{font}.woff2")).exists());
    }
}
