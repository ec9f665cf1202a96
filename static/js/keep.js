// Puts chosen photos into the outbox, each under an id of its own.
import { newId } from "./outbox.js";

let order = Date.now();

export async function keep(outbox, view, file, station) {
  order += 1;
  const photo = { id: newId(), name: file.name, type: file.type, order, station, trouble: null };
  try {
    photo.bytes = await file.arrayBuffer();
    await outbox.put(photo);
  } catch {
    view.refuse(file.name, "storage");
  }
}

export async function keepChosen(outbox, view, input, station, mostBytes) {
  const files = [...input.files];
  input.value = ""; // so that the same photo can be chosen again
  for (const file of files) {
    if (file.size > mostBytes) {
      view.refuse(file.name, "too-large");
    } else {
      await keep(outbox, view, file, station);
    }
  }
}
