// Photos kept on this phone until the server has said that it has them: as bytes in IndexedDB, so that they survive the page.

const DATABASE = "outbox";
const PHOTOS = "photos";

// A random UUID. crypto.randomUUID is missing on pages that come over plain http.
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

function done(request) {
  return new Promise((resolve, reject) => {
    request.addEventListener("success", () => resolve(request.result));
    request.addEventListener("error", () => reject(request.error));
  });
}

function kept(transaction) {
  return new Promise((resolve, reject) => {
    transaction.addEventListener("complete", () => resolve());
    transaction.addEventListener("abort", () => reject(transaction.error));
    transaction.addEventListener("error", () => reject(transaction.error));
  });
}

function open() {
  const request = indexedDB.open(DATABASE, 1);
  request.addEventListener("upgradeneeded", () => request.result.createObjectStore(PHOTOS, { keyPath: "id" }));
  return done(request);
}

class Kept {
  constructor(database) {
    this.database = database;
    this.lasting = true;
  }

  async put(photo) {
    const transaction = this.database.transaction(PHOTOS, "readwrite", { durability: "strict" });
    transaction.objectStore(PHOTOS).put(photo);
    await kept(transaction);
  }

  async remove(id) {
    const transaction = this.database.transaction(PHOTOS, "readwrite");
    transaction.objectStore(PHOTOS).delete(id);
    await kept(transaction);
  }

  async all() {
    const found = await done(this.database.transaction(PHOTOS).objectStore(PHOTOS).getAll());
    return found.sort((a, b) => a.order - b.order);
  }
}

// Where the browser keeps nothing (some private windows): as long as the page is open.
class Held {
  constructor() {
    this.photos = new Map();
    this.lasting = false;
  }

  async put(photo) {
    this.photos.set(photo.id, photo);
  }

  async remove(id) {
    this.photos.delete(id);
  }

  async all() {
    return [...this.photos.values()];
  }
}

export async function openOutbox() {
  try {
    return new Kept(await open());
  } catch {
    return new Held();
  }
}
