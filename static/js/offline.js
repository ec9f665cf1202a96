// The page without a network: what waits on this phone is seen and added to, and the page goes back by itself.
import { keepChosen } from "./keep.js";
import { openOutbox } from "./outbox.js";
import { OutboxView } from "./outbox-view.js";

const LOOK_MS = 4000;

const form = document.getElementById("capture");
const view = new OutboxView(document.getElementById("outbox"), document.getElementById("waiting"));
const outbox = await openOutbox();

async function show() {
  view.show(await outbox.all(), outbox.lasting, "");
}

async function choose(input) {
  await keepChosen(outbox, view, input, null, Number(form.dataset.mostBytes));
  await show();
}

async function look() {
  if (!document.hidden) {
    try {
      // Not the page itself: the worker would answer for it.
      const answer = await fetch("/manifest.webmanifest", { method: "HEAD", cache: "no-store" });
      if (answer.ok) {
        location.reload();
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
form.querySelectorAll("input[type=file]").forEach((input) => input.addEventListener("change", () => choose(input)));
form.addEventListener("submit", (event) => event.preventDefault());
window.addEventListener("online", () => location.reload());
document.addEventListener("visibilitychange", () => { if (!document.hidden) { show(); } });
await show();
// Opened by its own address there is no page to go back to.
if (location.pathname !== "/offline") {
  look();
}
