// A station's page: every photo goes into the outbox first, then to the server; the list below follows by itself.
import { ARRIVED, LOST, NOT_JOINED, deliver } from "./deliver.js";
import { offerLiveView } from "./live.js";
import { keep, keepChosen } from "./keep.js";
import { openOutbox } from "./outbox.js";
import { OutboxView } from "./outbox-view.js";
import { SentList } from "./sent-list.js";

const FIRST_PAUSE_MS = 2000;
const LONGEST_PAUSE_MS = 60000;

const form = document.getElementById("capture");
const addresses = { photos: form.dataset.photos, nameHeader: form.dataset.nameHeader };
const mostBytes = Number(form.dataset.mostBytes);
const view = new OutboxView(document.getElementById("outbox"), document.getElementById("waiting"));
const sent = new SentList(document.getElementById("sent"), form.dataset.page, form.dataset.partHeader);
let outbox = null;
const opening = openOutbox(); // listens before that is done: a photo chosen meanwhile must not be missed

let sending = false;
let wanted = false;
let pause = FIRST_PAUSE_MS;
let timer = null;

async function show(note) {
  view.show(await outbox.all(), outbox.lasting, note);
}

async function choose(input) {
  await opening;
  await keepChosen(outbox, view, input, form.dataset.station, mostBytes);
  await show("");
  sendAll();
}

// Sends what waits, one after the other: the first result comes soonest.
async function sendAll() {
  clearTimeout(timer);
  wanted = true; // also while a round is ending that has looked for the last time
  if (sending) {
    return;
  }
  sending = true;
  try {
    while (wanted) {
      wanted = false;
      await sendEach();
    }
  } finally {
    sending = false;
  }
}

async function sendEach() {
  for (let photo = await next(); photo; photo = await next()) {
    await show("sending");
    const { state, trouble } = await deliver(photo, addresses, (share) => view.progress(photo.id, share));
    if (state === LOST || state === NOT_JOINED) {
      await show(state);
      later();
      return;
    }
    pause = FIRST_PAUSE_MS;
    if (state === ARRIVED) {
      await outbox.remove(photo.id);
      sent.refresh();
    } else {
      await outbox.put({ ...photo, trouble });
    }
  }
  await show("");
}

async function next() {
  return (await outbox.all()).find((photo) => !photo.trouble);
}

function later() {
  timer = setTimeout(sendAll, pause);
  pause = Math.min(2 * pause, LONGEST_PAUSE_MS);
}

function now() {
  pause = FIRST_PAUSE_MS;
  sendAll();
}

async function again(id) {
  const photo = (await outbox.all()).find((one) => one.id === id);
  if (photo) {
    // What was refused may have left a trace under its id.
    await outbox.put({ ...photo, trouble: null });
    now();
  }
}

async function discard(id) {
  await outbox.remove(id);
  await show("");
}

async function take(picture) {
  await opening;
  await keep(outbox, view, picture, form.dataset.station);
  await show("");
  sendAll();
}

document.documentElement.classList.add("scripted");
offerLiveView(take);
view.onAgain = again;
view.onDiscard = discard;
const inputs = [...form.querySelectorAll("input[type=file]")];
inputs.forEach((input) => input.addEventListener("change", () => choose(input)));
outbox = await opening;
window.addEventListener("online", now);
document.addEventListener("visibilitychange", () => { if (!document.hidden) { now(); } });
sent.follow();
await show("");
sendAll();
// Chosen before this script had come.
inputs.filter((input) => input.files.length).forEach(choose);
