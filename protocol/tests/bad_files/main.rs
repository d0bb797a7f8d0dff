//! Bad plans and kits: each case changes one thing in a good file; every mistake is told, each with its exact words.
//!
//! A case is: what is replaced (first place), by what, and the lines `LINE:COLUMN KIND MESSAGE` that must come out.

use raisewatch_protocol::files::Mistakes;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use std::collections::BTreeSet;

mod cases;
use cases::{HUNG, KIT, KITS, PLAN, RIG};

fn lines(mistakes: &Mistakes) -> String {
    mistakes.list.iter().map(|m| format!("{}:{} {} {m}\n", m.line, m.column, m.kind)).collect()
}

fn check(what: &str, good: &str, cases: &[(&str, &str, &str)], read: impl Fn(&str) -> Result<(), Mistakes>) {
    let mut wrong = String::new();
    for (from, to, expected) in cases {
        assert!(good.contains(from), "{what}: the good file has no {from:?}");
        let found = read(&good.replacen(from, to, 1)).map_or_else(|m| lines(&m), |()| "no mistake\n".into());
        if found != *expected {
            wrong += &format!("--- {from:?} -> {to:?}\nexpected:\n{expected}found:\n{found}\n");
        }
    }
    assert!(wrong.is_empty(), "{what}\n{wrong}");
}

#[test]
fn bad_plans_are_told_word_for_word() {
    assert!(Plan::read(PLAN, "plan.toml").is_ok());
    for cases in [RIG, HUNG] {
        check("plan", PLAN, cases, |text| Plan::read(text, "plan.toml").map(drop));
    }
}

#[test]
fn bad_kits_are_told_word_for_word() {
    let plan = Plan::read(PLAN, "plan.toml").unwrap();
    assert!(Kit::read_for(KIT, "kit.toml", &plan).is_ok());
    check("kit", KIT, KITS, |text| Kit::read_for(text, "kit.toml", &plan).map(drop));
}

#[test]
fn the_tables_hold_many_different_mistakes() {
    let all = || [RIG, HUNG, KITS].into_iter().flatten().flat_map(|c| c.2.lines());
    let different: BTreeSet<&str> = all().filter_map(|l| l.split_once(' ')).map(|(_, m)| m).collect();
    let kinds: BTreeSet<&str> = all().filter_map(|l| l.split(' ').nth(1)).collect();
    assert!(different.len() >= 120 && kinds.len() >= 40, "{} mistakes, {} kinds", different.len(), kinds.len());
}

#[test]
fn all_mistakes_come_in_one_go_in_the_order_of_the_file() {
    let text = PLAN
        .replace("pace = \"25 mm/s\"", "pace = 25")
        .replace("rated = \"500 lb\"\n", "")
        .replace("at = [\"0.4 m\", \"7.6 m\"]", "at = \"9 m\"");
    let mistakes = Plan::read(&text, "plan.toml").unwrap_err();
    assert_eq!(
        mistakes.plain(),
        "plan.toml:5:8: pace: found the number 25 without a unit; expected a speed, as \"25 mm/s\", in quotes\n\
         plan.toml:13:1: tower A, rated: found nothing; expected the rated load, as \"500 lb\", or by height, as [{ to = \"3 m\", load = \"500 lb\" }]\n\
         plan.toml:19:1: tower B, rated: found nothing; expected the rated load, as \"500 lb\", or by height, as [{ to = \"3 m\", load = \"500 lb\" }]\n\
         plan.toml:28:6: load wash, at: found 9 m, off the piece; expected a place from 0 m to 8 m on `front`\n"
    );
    assert_eq!(mistakes.render(false), mistakes.plain());
    let fancy = mistakes.render(true);
    assert!(fancy.contains("plan.toml:5:8") && fancy.contains("pace = 25") && fancy.contains("found nothing"), "{fancy}");
}

/// Cuts a good file at two places and puts `middle` between: what comes back is a plan or mistakes inside the file.
fn mangled(good: &str, a: usize, b: usize, middle: &str) {
    let cut = |at: usize| (0..=at.min(good.len())).rev().find(|i| good.is_char_boundary(*i)).unwrap_or(0);
    let (a, b) = (cut(a % (good.len() + 1)), cut(b % (good.len() + 1)));
    let text = format!("{}{middle}{}", &good[..a.min(b)], &good[a.max(b)..]);
    let plan = Plan::read(&text, "plan.toml");
    let kit = Kit::read(&text, "kit.toml");
    for mistakes in [plan.err(), kit.err()].into_iter().flatten() {
        assert!(!mistakes.list.is_empty());
        assert!(mistakes.list.iter().all(|m| m.line >= 1 && m.column >= 1 && m.offset <= text.len()));
        assert!(mistakes.plain().lines().count() == mistakes.list.len(), "one line each: {}", mistakes.plain());
        let _ = mistakes.render(true);
    }
}

proptest::proptest! {
    #[test]
    fn mangled_files_never_panic(a in 0_usize..2000, b in 0_usize..2000, middle in "\\PC{0,12}|[\\[\\]={}\",0-9a-z\n .#-]{0,30}") {
        mangled(PLAN, a, b, &middle);
        mangled(KIT, a, b, &middle);
    }

    #[test]
    fn arbitrary_text_never_panics(text in "(?s).{0,300}") {
        mangled("", 0, 0, &text);
    }
}
