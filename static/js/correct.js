// Corrections in place: every form of the page is sent by script, and the marks on the pictures move by finger, mouse and keys.
// What moves only fills in a form's number: the form is the one way in, with and without this script.
import { makeMovable } from "./marks.js";
import { localTimes } from "./times.js";
import { word } from "./words.js";

const result = document.getElementById("result");
const said = document.getElementById("said");
const header = result.dataset.partHeader;
const LOOK_MS = 100;
let latest = 0; // of several answers under way only the last one counts
let marks = [];

function focusKey(element) {
  if (!element || !result.contains(element)) {
    return null;
  }
  if (element.dataset.form) {
    return `[data-form="${element.dataset.form}"][data-field="${element.dataset.field}"]`;
  }
  if (element.id) {
    return `#${CSS.escape(element.id)}`;
  }
  const form = element.closest("form[id]");
  return form && element.name ? `#${CSS.escape(form.id)} [name="${element.name}"][value="${CSS.escape(element.value)}"]` : null;
}

function put(html) {
  const part = new DOMParser().parseFromString(html, "text/html").querySelector(".whole");
  if (!part) {
    return false;
  }
  const key = focusKey(document.activeElement);
  const open = [...result.querySelectorAll("details[open]")].map((details) => details.id);
  result.replaceChildren(document.adoptNode(part));
  for (const id of open) {
    document.getElementById(id)?.setAttribute("open", "");
  }
  prepare();
  if (key) {
    result.querySelector(key)?.focus({ preventScroll: true });
  }
  return true;
}

function prepare() {
  localTimes(result);
  marks = [...result.querySelectorAll("svg.marks")].flatMap((picture) => makeMovable(picture, move));
}

// A page made anew under a mark on the move would lose the move. Where it comes to rest elsewhere, a newer answer is under way.
async function rest(mine) {
  while (mine === latest && marks.some((mark) => mark.moving)) {
    await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
  }
}

async function send(form, submitter) {
  latest += 1;
  const mine = latest;
  const fields = new URLSearchParams(new FormData(form));
  if (submitter && submitter.name) {
    fields.append(submitter.name, submitter.value);
  }
  said.textContent = word("saving");
  try {
    const answer = await fetch(form.action, { method: "POST", headers: { [header]: "result" }, body: fields });
    const html = await answer.text();
    await rest(mine);
    if (mine === latest) {
      said.textContent = put(html) && answer.ok ? word("saved") : word("not-saved");
    }
  } catch {
    said.textContent = word("not-saved-lost");
    alertOnPage();
  }
}

function alertOnPage() {
  if (!result.querySelector(".lost")) {
    const words = document.createElement("p");
    words.className = "trouble lost";
    words.textContent = said.textContent;
    result.prepend(words);
  }
}

// A mark has come to rest at s millimetres.
function move(mark, s) {
  const form = document.getElementById(mark.dataset.form);
  form.elements[mark.dataset.field].value = s.toFixed(2);
  send(form, null);
}

result.addEventListener("submit", (event) => {
  if (event.target.matches("form[data-correct]")) {
    event.preventDefault();
    send(event.target, event.submitter);
  }
});
prepare();
