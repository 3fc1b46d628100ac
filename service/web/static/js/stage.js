/** The place where the photo is taken: live camera, file, drop or paste. */
import { Camera } from "./camera.js";
import { byId } from "./dom.js";
import { shrinkFile } from "./photo.js";

export class Stage {
  constructor(holder, { onPhoto, onProblem }) {
    this.holder = holder;
    this.video = holder.querySelector("video");
    this.still = holder.querySelector("img");
    this.words = byId("stage-words");
    this.shutter = byId("shutter");
    this.file = byId("file");
    // On a phone "capture" opens its own camera at once; the other input offers the gallery too.
    this.phoneCamera = byId("phone-camera");
    this.turnButton = byId("turn");
    this.camera = new Camera(this.video);
    this.onPhoto = onPhoto;
    this.onProblem = onProblem;
    this.listen();
  }

  listen() {
    this.shutter.addEventListener("click", () => this.press());
    this.turnButton.addEventListener("click", () => this.camera.turn().catch(() => this.noCamera()));
    for (const input of [this.file, this.phoneCamera]) {
      input.addEventListener("change", () => {
        const [file] = input.files;
        if (file) this.useFile(file);
        input.value = "";
      });
    }
    const halt = (event) => event.preventDefault();
    for (const name of ["dragenter", "dragover"]) document.addEventListener(name, halt);
    document.addEventListener("drop", (event) => {
      event.preventDefault();
      const [file] = event.dataTransfer.files;
      if (file) this.useFile(file);
    });
    document.addEventListener("paste", (event) => {
      const file = [...(event.clipboardData?.files ?? [])][0];
      if (file) this.useFile(file);
    });
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) this.camera.stop();
      else if (this.wanted) this.begin();
    });
  }

  async begin() {
    this.wanted = Camera.possible();
    if (!this.wanted) {
      this.noCamera();
      return;
    }
    try {
      await this.camera.start();
      this.holder.dataset.camera = "live";
      this.turnButton.hidden = !(await this.severalCameras());
    } catch {
      this.noCamera();
    }
  }

  async severalCameras() {
    const devices = await navigator.mediaDevices.enumerateDevices();
    return devices.filter((device) => device.kind === "videoinput").length > 1;
  }

  /** Without a live picture the same button opens the phone's own camera, or a file. */
  noCamera() {
    this.wanted = false;
    this.holder.dataset.camera = "none";
    this.turnButton.hidden = true;
  }

  ready() {
    this.holder.dataset.picture = "live";
    if (this.still.src) URL.revokeObjectURL(this.still.src);
    this.still.removeAttribute("src");
    this.shutter.focus({ preventScroll: true });
    this.holder.scrollIntoView({ block: "nearest" });
  }

  showPicture(url) {
    if (!url) return;
    this.still.src = url;
    this.holder.dataset.picture = "still";
  }

  async press() {
    if (this.holder.dataset.picture === "still" && this.camera.live) this.ready();
    if (!this.camera.live) {
      this.phoneCamera.click();
      return;
    }
    if (this.taking) return; // a second press while the shutter is still open
    this.taking = true;
    const taken = this.camera.take().finally(() => { this.taking = false; });
    await this.use(await taken);
  }

  async useFile(file) {
    await this.use(await shrinkFile(file));
  }

  async use(blob) {
    this.showPicture(URL.createObjectURL(blob));
    try {
      await this.onPhoto(blob);
    } catch (error) {
      this.onProblem(`The photo could not be used: ${error.message}`);
    }
  }
}
