// Keeps the shell: the files that pages are made of, and the page shown without a network. Nothing else is ever kept.

const SHELL = "the shell";
const OURS = /^shell-/;
const KEPT = new Set(SHELL.files.filter((address) => address !== SHELL.offline));

// Without cookies: what is kept is the same for everybody who uses this browser.
const asked = (address) => new Request(address, { credentials: "omit", cache: "no-cache" });

async function keep() {
  const cache = await caches.open(SHELL.cache);
  await cache.addAll(SHELL.files.map(asked));
  await self.skipWaiting();
}

async function dropOlder() {
  const names = await caches.keys();
  const older = names.filter((name) => OURS.test(name) && name !== SHELL.cache);
  await Promise.all(older.map((name) => caches.delete(name)));
  await self.clients.claim();
}

async function kept(request) {
  const cache = await caches.open(SHELL.cache);
  return (await cache.match(request.url)) || fetch(request);
}

async function page(request) {
  try {
    return await fetch(request);
  } catch (lost) {
    const cache = await caches.open(SHELL.cache);
    const instead = await cache.match(SHELL.offline);
    if (!instead) throw lost;
    return instead;
  }
}

self.addEventListener("install", (event) => event.waitUntil(keep()));
self.addEventListener("activate", (event) => event.waitUntil(dropOlder()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (KEPT.has(address.pathname)) event.respondWith(kept(request));
});
