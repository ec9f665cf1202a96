// Sends a form and tells how far it is: XMLHttpRequest, because fetch reports no upload progress.

// Resolves to the answer's text, whatever its status, or to null where no answer came.
export function send(address, header, fields, onProgress, onSent) {
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    request.open("POST", address);
    request.setRequestHeader(header, "result");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) {
        onProgress(event.loaded / event.total);
      }
    });
    request.upload.addEventListener("load", onSent);
    request.addEventListener("load", () => resolve(request.responseText));
    for (const end of ["error", "abort", "timeout"]) {
      request.addEventListener(end, () => resolve(null));
    }
    request.send(fields);
  });
}
