/** Makes a photograph small before it is sent: under 200 kB, and no larger than it is used. */
const SHARP_SIDE = 1024; // what a sort keeps whose photos may train a model
const ENOUGH_SIDE = 640; // recognition looks at 372 px of the shorter side, the log keeps 512 px
const MOST_BYTES = 200_000;
const QUALITIES = [0.85, 0.75, 0.65, 0.5];

let longestSide = SHARP_SIDE;

/** Says whether the sort keeps its photos; without that a third of the bytes will do. */
export function sendSharp(keepsPhotos) {
  longestSide = keepsPhotos ? SHARP_SIDE : ENOUGH_SIDE;
}

function toBlob(canvas, quality) {
  return new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", quality); });
}

function drawn(source, width, height, side) {
  const scale = Math.min(1, side / Math.max(width, height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(width * scale));
  canvas.height = Math.max(1, Math.round(height * scale));
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#ffffff"; // clear parts of a PNG would else turn black in a JPEG
  pen.imageSmoothingQuality = "high"; // else small print and edges turn to grain
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(source, 0, 0, canvas.width, canvas.height);
  return canvas;
}

export async function shrink(source, width, height) {
  for (const side of [longestSide, 768, 512].filter((each) => each <= longestSide)) {
    const canvas = drawn(source, width, height, side);
    for (const quality of QUALITIES) {
      const blob = await toBlob(canvas, quality);
      if (blob && blob.size < MOST_BYTES) return blob;
    }
  }
  throw new Error("The picture could not be made small enough to send.");
}

/** A chosen file. What this browser can't open goes as it is: the server may read it, or will
 * say in words what is wrong with it. */
export async function shrinkFile(file) {
  try {
    const bitmap = await createImageBitmap(file, { imageOrientation: "from-image" });
    try {
      return await shrink(bitmap, bitmap.width, bitmap.height);
    } finally {
      bitmap.close();
    }
  } catch {
    return file;
  }
}
