/** Makes a photograph small before it is sent: at most 1024 px and under 200 kB. */
const LONGEST_SIDE = 1024;
const MOST_BYTES = 200_000;
const QUALITIES = [0.85, 0.75, 0.65, 0.5];

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
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(source, 0, 0, canvas.width, canvas.height);
  return canvas;
}

export async function shrink(source, width, height) {
  for (const side of [LONGEST_SIDE, 768, 512]) {
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
