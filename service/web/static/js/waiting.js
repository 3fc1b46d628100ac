/** Says when the server is away and what waits; lists photos that still need an answer. */
import { byId, el } from "./dom.js";

const SKIPPED = "tallytare-skipped";

function skippedIds() {
  return new Set(JSON.parse(localStorage.getItem(SKIPPED) ?? "[]"));
}

/** Photos that count for nothing are remembered here, so that a reload does not ask again. */
export function skip(captureId) {
  const ids = [...skippedIds(), captureId].slice(-500);
  localStorage.setItem(SKIPPED, JSON.stringify(ids));
}

export class Unanswered {
  constructor(holder, words, onOpen) {
    this.holder = holder;
    this.list = holder.querySelector("ul");
    this.words = words;
    this.captures = new Map();
    this.pictures = new Map();
    this.onOpen = onOpen;
  }

  /** The server may be set to keep no photos; this page shows its own copy while it is open. */
  picture(captureId, blob) {
    this.pictures.set(captureId, blob);
  }

  pictureOf(capture) {
    const blob = this.pictures.get(capture.id);
    return blob ? URL.createObjectURL(blob) : capture.photo;
  }

  add(capture) {
    if (capture.confirmed_item || skippedIds().has(capture.id)) return;
    this.captures.set(capture.id, capture);
    this.show();
  }

  remove(id) {
    this.pictures.delete(id);
    if (this.captures.delete(id)) this.show();
  }

  open(capture) {
    this.captures.delete(capture.id);
    this.show();
    this.onOpen(capture);
  }

  show() {
    this.list.replaceChildren(...[...this.captures.values()].map((capture) => {
      const picture = this.pictureOf(capture);
      const top = capture.suggestion.categories[0];
      const said = capture.hidden ? "you say first"
        : capture.suggestion.decision === "not_an_item" ? "no item seen"
        : top ? `perhaps ${this.words.category(top.id)}` : "nothing recognised";
      return el("li", {}, el("button", {
        type: "button", "data-capture": capture.id, onclick: () => this.open(capture),
      }, picture ? el("img", { src: picture, alt: "", width: "64", height: "48" }) : null,
      el("span", {}, "Answer this photo", el("span", { class: "soft small block" }, said))));
    }));
    this.holder.hidden = this.captures.size === 0;
  }
}

function counted(entries) {
  const photos = entries.filter((entry) => entry.kind === "capture").length;
  const others = entries.length - photos;
  const parts = [];
  if (photos) parts.push(`${photos} ${photos === 1 ? "photo" : "photos"}`);
  if (others) parts.push(`${others} ${others === 1 ? "record" : "records"}`);
  return parts.join(" and ");
}

function clock(moment) {
  return new Date(moment).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
}

/** The bar on top; it stays until everything has arrived. */
export function showOutage({ waiting, away, reason, lasting }) {
  const bar = byId("outage");
  bar.hidden = !away;
  if (!away) return;
  const where = lasting ? "Kept on this device" : "Kept in this page (leave it open)";
  const kept = document.body.dataset.kept;
  const old = kept ? ` This page is as it was at ${clock(kept)}.` : "";
  const what = waiting.length ? `${where}: ${counted(waiting)}. All of it is sent once the server is back; go on sorting.`
    : "Nothing is waiting; go on sorting.";
  bar.textContent = `${reason || "The server can't be reached."} ${what}${old}`;
}

export function showRefused(holder, refused, { onForget, onRetry }) {
  holder.hidden = refused.length === 0;
  holder.querySelector("ul").replaceChildren(...refused.map((entry) => el("li", {},
    el("p", {}, el("b", {}, `Not recorded: ${entry.words}. `), entry.refused),
    el("div", { class: "acts" },
      el("button", { type: "button", onclick: () => onRetry(entry) }, "Try again"),
      el("button", { type: "button", class: "plain", onclick: () => onForget(entry.seq) },
        "Leave it out")))));
}
