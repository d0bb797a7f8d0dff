//! The pages' own words, from the lift's phrase file, put into each page before it is sent.
//!
//! In a page `{{key}}` is a phrase, and `{{words}}` all that its scripts say, as JSON in a block that no browser runs.

use super::files::hex;
use std::collections::BTreeMap;

/// Keys of words for one page alone begin so.
const OF_ONE_PAGE: [(&str, &str); 2] = [("desk-", "desk.html"), ("index-", "index.html")];

/// The words of a lift.
pub struct Words {
    words: BTreeMap<&'static str, String>,
    tag: String,
}

impl Words {
    /// Keys without `page-`, and `language`.
    pub fn new(of_pages: &BTreeMap<&'static str, &str>) -> Self {
        let words: BTreeMap<_, _> = of_pages.iter().map(|(key, text)| (*key, (*text).to_owned())).collect();
        let sum = ring::digest::digest(&ring::digest::SHA256, format!("{words:?}").as_bytes());
        Words { words, tag: hex(sum.as_ref().get(..6).unwrap_or_default()) }
    }

    /// Tells these words from others: a page that was opened with others opens itself anew.
    pub fn tag(&self) -> &str {
        &self.tag
    }

    /// The page with its words in place. A key that is no phrase is our own mistake, and stays to be seen.
    pub fn fill(&self, name: &str, page: &str) -> String {
        let mut filled = String::with_capacity(page.len() * 2);
        let mut rest = page;
        while let Some((before, after)) = rest.split_once("{{") {
            filled.push_str(before);
            let Some((key, behind)) = after.split_once("}}") else { break };
            match self.words.get(key) {
                Some(text) => filled.push_str(&escaped(text)),
                None if key == "words" => filled.push_str(&self.block(name)),
                None => filled.push_str(&format!("{{{{{key}}}}}")),
            }
            rest = behind;
        }
        filled.push_str(rest);
        filled
    }

    /// What the scripts of this page say. No text can end the block that it stands in.
    fn block(&self, name: &str) -> String {
        let here = |key: &str| OF_ONE_PAGE.iter().all(|(begin, page)| !key.starts_with(begin) || *page == name);
        let mut own: BTreeMap<&str, &str> =
            self.words.iter().filter(|(key, _)| here(key)).map(|(key, text)| (*key, text.as_str())).collect();
        own.insert("tag", &self.tag);
        serde_json::to_string(&own).unwrap_or_default().replace('<', "\\u003c")
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use raisewatch_watch::phrases::Phrases;

    #[test]
    fn words_are_put_in_place_and_cannot_break_out_of_it() {
        let phrases = Phrases::read("language = \"nl\"\npage-heard = \"</script><b>&\"", "nl.toml").unwrap();
        let words = Words::new(&phrases.of_pages());
        assert_eq!(
            words.fill("spotter.html", "<b lang=\"{{language}}\">{{heard}}</b>{{none}}"),
            "<b lang=\"nl\">&lt;/script&gt;&lt;b&gt;&amp;</b>{{none}}"
        );
        let block = words.fill("spotter.html", "{{words}}");
        assert!(!block.contains('<') && block.contains("\\u003c/script>"), "{block}");
        let read: BTreeMap<String, String> = serde_json::from_str(&block).unwrap();
        assert_eq!(read["heard"], "</script><b>&");
        assert_eq!(read["tag"], words.tag());
        assert!(!read.contains_key("desk-keys") && words.fill("desk.html", "{{words}}").contains("desk-keys"));
        assert_ne!(words.tag(), Words::new(&Phrases::default().of_pages()).tag());
    }
}
