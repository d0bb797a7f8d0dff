// The crew's own words for what pages say of themselves: they came with the page, from the lift's one phrase file.

let words = typeof document === "undefined" ? {} : JSON.parse(document.getElementById("words")?.textContent ?? "{}");

/** Takes these words from now on; a page has them from the start. */
export const learn = told => { words = told; };

/** A phrase, with its braces filled: t("last-heard", {tower: "Bravo", amount: "2.1 s"}). */
export function t(key, fill = {}) {
  return (words[key] ?? key).replace(/\{(\w+)\}/g, (_, name) => fill[name] ?? "");
}
export const has = key => key in words;
export const language = () => words.language ?? "en";

/** A monitor that speaks with other words than this page was opened with: it is opened anew, once for each. */
export function agree(tag) {
  if (typeof tag !== "string" || !words.tag || tag === words.tag) return;
  try {
    if (sessionStorage.getItem("raisewatch.words") === tag) return;
    sessionStorage.setItem("raisewatch.words", tag);
  } catch { return; }
  location.reload();
}
