// Registers the worker that keeps the shell, and offers installation where the browser does.

const place = document.querySelector("[data-install]");

// Private windows and blocked storage refuse: the pages then work as they do without a worker.
if (window.isSecureContext && "serviceWorker" in navigator) {
  navigator.serviceWorker.register("/sw.js").catch(() => {});
}

if (place) {
  let offer = null;
  window.addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    offer = event;
    place.hidden = false;
  });
  place.querySelector("button").addEventListener("click", async () => {
    if (!offer) return;
    const asked = offer;
    offer = null; // A browser's offer can be taken up once.
    place.hidden = true;
    await asked.prompt();
  });
  window.addEventListener("appinstalled", () => { place.hidden = true; });
}
