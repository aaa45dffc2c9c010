// What scripts say, in the reader's language. The page carries the texts of its language as data (view.py
// finds them in these scripts); a text that it lacks is said in English, as it stands here.

const known = JSON.parse(document.body.dataset.words || "{}");
export const language = document.documentElement.lang || "en";
const forms = new Intl.PluralRules(language);

// `text` with its {parts} filled in: say("{n} h", { n: 3 }).
export function say(text, parts = {}) {
  return filled(known[text] ?? text, parts);
}

// As say, of a number of things, which is also to be had as {n}.
export function say_many(one, many, number, parts = {}) {
  const [single, several] = known[one] ?? [one, many];
  return filled(forms.select(number) === "one" ? single : several, { n: number, ...parts });
}

// What a kind, field or value of an entry is called.
export function word(code) {
  const plain = code.replaceAll("_", " ");
  return known[plain] ?? plain;
}

function filled(text, parts) {
  return text.replace(/\{(\w+)\}/g, (whole, name) => parts[name] ?? whole);
}
