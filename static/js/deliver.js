// Sends one photo of the outbox: XMLHttpRequest, because fetch reports no upload progress.

export const ARRIVED = "arrived";
export const REFUSED = "refused";
export const NOT_JOINED = "not-joined";
export const LOST = "lost";
const TOO_OFTEN = "too-often";

// What became of it: { state, trouble }. Lost means: nobody knows, so it is sent again, under the same id.
export function deliver(photo, addresses, onProgress) {
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    request.open("PUT", `${addresses.photos}/${photo.id}`);
    request.setRequestHeader(addresses.nameHeader, encodeURIComponent(photo.name));
    request.setRequestHeader("Content-Type", photo.type || "application/octet-stream");
    request.setRequestHeader("Accept", "application/json");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) {
        onProgress(event.loaded / event.total);
      }
    });
    request.addEventListener("load", () => resolve(outcome(request)));
    for (const end of ["error", "abort", "timeout"]) {
      request.addEventListener(end, () => resolve({ state: LOST }));
    }
    request.send(photo.bytes);
  });
}

function outcome(request) {
  const answer = parsed(request.responseText);
  if ((request.status === 200 || request.status === 201) && answer && answer.id) {
    return { state: ARRIVED };
  }
  // Only words of our own server count: a network's sign-in page answers too.
  const trouble = answer && answer.error;
  if (!trouble || request.status >= 500 || trouble.code === TOO_OFTEN) {
    return { state: LOST };
  }
  return { state: trouble.code === NOT_JOINED ? NOT_JOINED : REFUSED, trouble };
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
