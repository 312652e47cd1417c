// Photos scaled down on the device before they are kept or sent: a phone's 5 MB become some 300 kB.
"use strict";
(() => {
  const LONG_SIDE = 1600, SMALL_SIDE = 240, QUALITY = 0.82, LARGEST = 40e6;

  async function drawn(picture, side, type) {
    const scale = Math.min(1, side / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    const pen = canvas.getContext("2d");
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    if (type === "text") return canvas.toDataURL("image/jpeg", 0.7);
    return new Promise((resolve, reject) =>
      canvas.toBlob((b) => (b ? resolve(b) : reject(new Error("this photo can't be made smaller"))), "image/jpeg", QUALITY));
  }

  // blob : JPEG of at most 1600 pixels, without the camera's metadata. small : for showing, as text
  async function scaled(file) {
    if (file.size > LARGEST) throw new Error(`${file.name} has ${Math.round(file.size / 1e6)} MB; up to ${LARGEST / 1e6} MB can be taken`);
    let picture;
    try {
      picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    } catch {
      throw new Error(`${file.name} is no picture that this browser can read; take a JPEG, PNG or WebP photo`);
    }
    try {
      return { blob: await drawn(picture, LONG_SIDE), small: await drawn(picture, SMALL_SIDE, "text") };
    } finally {
      picture.close();
    }
  }

  // Plain forms: the chosen files are replaced by smaller ones, and the form is sent as ever.
  for (const input of document.querySelectorAll("input[type=file][data-scale]")) {
    input.addEventListener("change", async () => {
      const told = input.parentElement.querySelector("[role=status]");
      const smaller = new DataTransfer();
      try {
        for (const file of input.files) {
          const { blob } = await scaled(file);
          smaller.items.add(new File([blob], file.name.replace(/\.\w+$/, "") + ".jpg", { type: "image/jpeg" }));
        }
        input.files = smaller.files;
        if (told) told.textContent = `${input.files.length} chosen`;
      } catch (error) {
        input.value = "";
        if (told) told.textContent = error.message;
      }
    });
  }

  window.fieldfarePhotos = { scaled };
})();
