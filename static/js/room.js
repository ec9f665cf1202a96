// Keeps the lead's page of a practical up to date: asks every few seconds whether anything changed, and puts it in place.

const EVERY_MS = 3000;

const room = document.getElementById("room");
const updates = document.getElementById("updates");
const trouble = document.getElementById("trouble");
let version = room.dataset.version;

async function look() {
  // Someone who was signed out would be sent to another page: that is no news of the room.
  const answer = await fetch(room.dataset.part, {
    headers: { "If-None-Match": `"${version}"` },
    redirect: "error",
  });
  if (answer.status === 304) {
    return;
  }
  if (!answer.ok) {
    throw new Error(String(answer.status));
  }
  const text = await answer.text();
  version = (answer.headers.get("ETag") || "").replace(/^W\//, "").replaceAll('"', "");
  put(text);
}

// The keyboard's place on the page is found again by the key of the element that had it.
function put(text) {
  const key = room.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  room.innerHTML = text;
  if (key) {
    room.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
  }
  updates.textContent = "";
  updates.textContent = room.dataset.updated;
}

async function again() {
  if (!document.hidden) {
    try {
      await look();
      trouble.hidden = true;
    } catch {
      trouble.hidden = false;
    }
  }
  setTimeout(again, EVERY_MS);
}

setTimeout(again, EVERY_MS);
