/** The live picture, where the browser allows one (localhost or HTTPS, and the user agrees). */
import { shrink } from "./photo.js";

export class Camera {
  constructor(video) {
    this.video = video;
    this.stream = null;
    this.facing = "environment";
  }

  static possible() {
    return window.isSecureContext && Boolean(navigator.mediaDevices?.getUserMedia);
  }

  get live() {
    return Boolean(this.stream?.active) && this.video.videoWidth > 0;
  }

  async start() {
    this.stop();
    this.stream = await navigator.mediaDevices.getUserMedia({
      audio: false,
      video: {
        facingMode: { ideal: this.facing }, width: { ideal: 1280 }, height: { ideal: 960 },
      },
    });
    this.video.srcObject = this.stream;
    await this.video.play();
  }

  stop() {
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    this.stream = null;
    this.video.srcObject = null;
  }

  async turn() {
    this.facing = this.facing === "environment" ? "user" : "environment";
    await this.start();
  }

  take() {
    return shrink(this.video, this.video.videoWidth, this.video.videoHeight);
  }
}
