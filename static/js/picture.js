// One picture at the camera's full resolution.
const PATIENCE_MS = 5000;
const BEST = 0.95;

export async function sharpPicture(stream, video) {
  const data = (await photographed(stream)) || (await drawn(video));
  return new File([data], `live ${new Date().toISOString().slice(0, 19).replaceAll(":", "-")}.jpg`, { type: data.type });
}

// As the camera app would take it: more pixels than the video has. Not every browser can; some take for ever.
async function photographed(stream) {
  if (!window.ImageCapture) {
    return null;
  }
  try {
    const taking = new ImageCapture(stream.getVideoTracks()[0]).takePhoto();
    const late = new Promise((resolve) => setTimeout(() => resolve(null), PATIENCE_MS));
    const photo = await Promise.race([taking, late]);
    return photo && photo.size && photo.type === "image/jpeg" ? photo : null;
  } catch {
    return null;
  }
}

function drawn(video) {
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  canvas.getContext("2d").drawImage(video, 0, 0);
  return new Promise((resolve, reject) => {
    canvas.toBlob((data) => (data ? resolve(data) : reject(new Error("no picture"))), "image/jpeg", BEST);
  });
}
