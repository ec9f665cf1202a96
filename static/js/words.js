// The texts that scripts show, in the page's language. They come with the page: see webcapture/web/script_words.py.

const page = document.body.dataset.words;
const WORDS = page ? JSON.parse(page) : {};
const PLURAL = new Intl.PluralRules(document.documentElement.lang || undefined);

function filled(text, values) {
  return text.replace(/%\((\w+)\)s|%%/g, (place, name) => (name ? String(values[name]) : "%"));
}

export function known(name) {
  return name in WORDS;
}

export function word(name, values = {}) {
  return filled(WORDS[name], values);
}

// The form of the text that fits the count.
export function counted(name, count) {
  const forms = WORDS[name];
  return filled(forms[PLURAL.select(count)] ?? forms.other, { count });
}
