// The page without a network: what waits on this phone is seen and added to, and the page goes back by itself.
import { keepChosen } from "./keep.js";
import { openOutbox } from "./outbox.js";
import { OutboxView } from "./outbox-view.js";

const LOOK_MS = 4000;

const form = document.getElementById("capture");
const view = new OutboxView(document.getElementById("outbox"), document.getElementById("waiting"));
let outbox = null;
const opening = openOutbox(); // listens before that is done: a photo chosen meanwhile must not be missed
let keeping = Promise.resolve();

async function show() {
  view.show(await outbox.all(), outbox.lasting, "");
}

async function choose(input) {
  await opening;
  const kept = keepChosen(outbox, view, input, null, Number(form.dataset.mostBytes));
  keeping = Promise.allSettled([keeping, kept]);
  await kept;
  await show();
}

// Not while a photo is on its way into the outbox: it would be lost with this page.
async function goBack() {
  await keeping;
  location.reload();
}

async function look() {
  if (!document.hidden) {
    try {
      // Not the page itself: the worker would answer for it.
      const answer = await fetch("/manifest.webmanifest", { method: "HEAD", cache: "no-store" });
      if (answer.ok) {
        await goBack();
        return;
      }
    } catch {
      // Still out of reach.
    }
  }
  setTimeout(look, LOOK_MS);
}

document.documentElement.classList.add("scripted");
view.onAgain = async (id) => {
  const photo = (await outbox.all()).find((one) => one.id === id);
  if (photo) {
    await outbox.put({ ...photo, trouble: null });
    await show();
  }
};
view.onDiscard = async (id) => {
  await outbox.remove(id);
  await show();
};
const inputs = [...form.querySelectorAll("input[type=file]")];
inputs.forEach((input) => input.addEventListener("change", () => choose(input)));
form.addEventListener("submit", (event) => event.preventDefault());
outbox = await opening;
window.addEventListener("online", goBack);
document.addEventListener("visibilitychange", () => { if (!document.hidden) { show(); } });
await show();
// Chosen before this script had come.
inputs.filter((input) => input.files.length).forEach(choose);
// Opened by its own address there is no page to go back to.
if (location.pathname !== "/offline") {
  look();
}
