// Photos are made smaller before they are sent: a phone's picture takes a tenth of the time then. Whoever has
// no scripts, or a browser that cannot, sends it as it is.
const SIDE = 2048, LEAVE_BYTES = 600_000, READ = ["image/jpeg", "image/png", "image/webp"];

async function smaller(file) {
  if (!file.type.startsWith("image/")) return file;
  const read = READ.includes(file.type);
  try {
    const picture = await createImageBitmap(file); // upright, as the camera meant it
    const scale = Math.min(1, SIDE / Math.max(picture.width, picture.height));
    if (read && file.size < LEAVE_BYTES) return file;
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    const pen = canvas.getContext("2d");
    pen.fillStyle = "#fff"; // a photo has no holes
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.86));
    return blob && (!read || blob.size < file.size) ? new File([blob], `${file.name}.jpg`, { type: blob.type }) : file;
  } catch {
    return file;
  }
}

for (const input of document.querySelectorAll("input[type=file]")) {
  const shrink = async () => {
    const chosen = [...input.files];
    const small = new DataTransfer();
    for (const file of chosen) small.items.add(await smaller(file));
    const same = input.files.length === chosen.length && chosen.every((file, at) => file === input.files[at]);
    if (same) input.files = small.files; // not while somebody chose others meanwhile
  };
  input.addEventListener("change", shrink);
  if (input.files.length) shrink(); // chosen before this was loaded
}
