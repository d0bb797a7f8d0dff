//! MQTT topics: ours by name, and the rules of filters (MQTT 3.1.1 section 4.7). Needs neither std nor alloc but for
//! the makers of topics.

/// The first level of every topic of ours.
pub const ROOT: &str = "raisewatch";
/// Names that a node may not have, because topics of ours have them in the node's place.
pub const TAKEN: [&str; 4] = ["finding", "call", "monitor", "said"];
/// Topics are no longer than this, bytes. Source: MQTT 3.1.1 sections 4.7.3 and 1.5.3.
pub const MAX_BYTES: usize = 65_535;

/// A topic that the daemon listens to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Topic<'a> {
    /// `raisewatch/<site>/<node>/readings`
    Readings {
        /// Node id.
        node: &'a str,
    },
    /// `raisewatch/<site>/<node>/presence`
    Presence {
        /// Node id.
        node: &'a str,
    },
    /// `raisewatch/<site>/said`
    Said,
}

impl<'a> Topic<'a> {
    /// Which topic of `site` this is; `None` for any other, and for a node by a name that is taken.
    pub fn of(topic: &'a str, site: &str) -> Option<Self> {
        let rest = topic.strip_prefix(ROOT)?.strip_prefix('/')?.strip_prefix(site)?.strip_prefix('/')?;
        match rest.split_once('/') {
            None => (rest == "said").then_some(Topic::Said),
            Some((node, _)) if !node_name(node) => None,
            Some((node, "readings")) => Some(Topic::Readings { node }),
            Some((node, "presence")) => Some(Topic::Presence { node }),
            Some(_) => None,
        }
    }
}

/// Whether a node may be called so: one level of a topic, no wildcard, none of the taken names.
pub fn node_name(name: &str) -> bool {
    level(name) && !TAKEN.contains(&name)
}

/// Whether a site may be called so: one level of a topic, no wildcard.
pub fn site_name(name: &str) -> bool {
    level(name)
}

fn level(name: &str) -> bool {
    !name.is_empty() && !name.contains(['/', '+', '#', '\0'])
}

/// What the daemon subscribes to.
pub fn filters(site: &str, said: bool) -> Vec<String> {
    let mut all = vec![format!("{ROOT}/{site}/+/readings"), format!("{ROOT}/{site}/+/presence")];
    if said {
        all.push(format!("{ROOT}/{site}/said"));
    }
    all
}

/// Where a node's readings go.
pub fn readings(site: &str, node: &str) -> String {
    format!("{ROOT}/{site}/{node}/readings")
}

/// Where a node's presence goes.
pub fn presence(site: &str, node: &str) -> String {
    format!("{ROOT}/{site}/{node}/presence")
}

/// Where steps and words come from, if the kit allows it.
pub fn said(site: &str) -> String {
    format!("{ROOT}/{site}/said")
}

/// Whether a topic may be published to.
pub fn valid_name(topic: &str) -> bool {
    !topic.is_empty() && topic.len() <= MAX_BYTES && !topic.contains(['+', '#', '\0'])
}

/// Whether a filter may be subscribed to: wildcards fill a whole level, `#` only the last.
pub fn valid_filter(filter: &str) -> bool {
    let mut levels = filter.split('/').peekable();
    let mut right = !filter.is_empty() && filter.len() <= MAX_BYTES && !filter.contains('\0');
    while let Some(level) = levels.next() {
        let last = levels.peek().is_none();
        right &= match level {
            "#" => last,
            "+" => true,
            _ => !level.contains(['+', '#']),
        };
    }
    right
}

/// Whether a filter matches a topic; case matters, `#` also matches the level above it, a leading wildcard never `$`.
pub fn matches(filter: &str, topic: &str) -> bool {
    if topic.starts_with('$') && filter.starts_with(['+', '#']) {
        return false;
    }
    let mut levels = topic.split('/');
    for wanted in filter.split('/') {
        match (wanted, levels.next()) {
            ("#", _) => return true,
            ("+", Some(_)) => {}
            (wanted, Some(level)) if wanted == level => {}
            _ => return false,
        }
    }
    levels.next().is_none()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every `[[match]]`, `[[filter]]` and `[[topic]]` of tests/checks/mqtt.toml (MQTT 3.1.1 and 5.0, section 4.7).
    #[test]
    fn the_published_topics() {
        let checks: toml::Table = toml::from_str(include_str!("../../tests/checks/mqtt.toml")).unwrap();
        let of = |key: &str| checks[key].as_array().unwrap().clone();
        for case in of("match") {
            let (filter, topic) = (case["filter"].as_str().unwrap(), case["topic"].as_str().unwrap());
            assert_eq!(case["match"].as_bool(), Some(matches(filter, topic)), "{filter} {topic}");
        }
        for case in of("filter") {
            assert_eq!(case["valid"].as_bool(), Some(valid_filter(case["filter"].as_str().unwrap())), "{case}");
        }
        for case in of("topic") {
            assert_eq!(case["valid_for_publish"].as_bool(), Some(valid_name(case["topic"].as_str().unwrap())), "{case}");
        }
        assert!(valid_name(&"a".repeat(MAX_BYTES)) && !valid_name(&"a".repeat(MAX_BYTES + 1)));
    }

    #[test]
    fn topics_of_ours() {
        let check = |topic: &str, expected| assert_eq!(Topic::of(topic, "hall"), expected, "{topic}");
        check("raisewatch/hall/n1/readings", Some(Topic::Readings { node: "n1" }));
        check("raisewatch/hall/n1/presence", Some(Topic::Presence { node: "n1" }));
        check("raisewatch/hall/said", Some(Topic::Said));
        for other in [
            "raisewatch/hall2/n1/readings",
            "raisewatch/hal/n1/readings",
            "Raisewatch/hall/n1/readings",
            "raisewatch/hall//readings",
            "raisewatch/hall/n1/readings/raw",
            "raisewatch/hall/n1",
            "raisewatch/hall/call/readings",
            "raisewatch/hall/monitor",
            "raisewatch/hall/said/readings",
        ] {
            check(other, None);
        }
    }

    #[test]
    fn the_filters_take_our_topics_and_no_others() {
        let filters = filters("hall", true);
        let taken = |topic: &str| filters.iter().any(|f| matches(f, topic));
        assert!(filters.iter().all(|f| valid_filter(f)));
        assert!(taken(&readings("hall", "n1")) && taken(&presence("hall", "n1")) && taken(&said("hall")));
        assert!(!taken("raisewatch/hall/call/spotter") && !taken("raisewatch/hall/monitor"));
        assert!(!super::filters("hall", false).iter().any(|f| matches(f, &said("hall"))));
    }
}
