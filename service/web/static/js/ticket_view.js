/** The ticket as a piece of the page: its states, the count, the note and the confirm button. */
import { byId, el } from "./dom.js";
import { mayConfirm, ticketParts } from "./ticket.js";
import { leading } from "./words.js";

const MOST = 999;

export class Ticket {
  constructor(holder, { words, handling, onAnswer, onPick, onConfirm, onSkip, onOther, onRetake, onLeft }) {
    this.holder = holder;
    this.body = holder.querySelector("[data-body]");
    this.bar = holder.querySelector("[data-bar]");
    this.more = holder.querySelector("[data-more-acts]");
    this.confirm = byId("confirm");
    this.count = byId("count");
    this.note = byId("note");
    this.noteBox = byId("note-box");
    this.skipButton = byId("skip-photo");
    this.retake = byId("retake");
    this.words = words;
    this.handling = handling;
    this.actions = { onAnswer, onPick, onLeft };
    this.confirm.addEventListener("click", () => {
      if (this.count.reportValidity()) onConfirm(this.counted(), this.note.value.trim());
    });
    this.skipButton.addEventListener("click", onSkip);
    this.retake.addEventListener("click", onRetake);
    byId("other").addEventListener("click", onOther);
    holder.querySelector("[data-less]").addEventListener("click", () => this.step(-1));
    holder.querySelector("[data-more]").addEventListener("click", () => this.step(1));
    this.count.addEventListener("input", () => this.label());
  }

  counted() {
    return Math.min(MOST, Math.max(1, Number.parseInt(this.count.value, 10) || 1));
  }

  step(by) {
    if (this.bar.hidden) return;
    this.count.value = String(Math.min(MOST, Math.max(1, this.counted() + by)));
    this.label();
  }

  empty() {
    this.fill("empty", [el("p", { class: "soft" },
      "No item yet. Take a photo, or choose its pile without a photo.")]);
    this.offer(false);
    this.clear();
  }

  /** Without a pile to confirm the first step left leads: a better photo, or a pile by hand. */
  offer(shown, { confirmable = false, again = false, empty = false } = {}) {
    this.bar.hidden = !(shown && confirmable);
    this.more.hidden = !shown;
    this.retake.hidden = !again;
    this.retake.classList.toggle("main", empty);
    const other = byId("other");
    other.classList.toggle("main", shown && !confirmable && !empty);
    other.firstChild.textContent = confirmable ? "Another pile " : "Choose its pile ";
  }

  clear() {
    this.count.value = "1";
    this.note.value = "";
    this.noteBox.open = false;
  }

  /** What was typed for an item before it was put by, to be there when it is opened again. */
  draft() {
    return { count: this.count.value, note: this.note.value };
  }

  restore({ count, note }) {
    this.count.value = count;
    this.note.value = note;
    this.noteBox.open = note !== "";
    this.label();
  }

  looking() {
    this.clear();
    this.fill("looking", [el("p", { class: "looking" }, "Looking at the photo …")]);
    this.offer(false);
  }

  away() {
    this.fill("away", [
      el("h2", { tabindex: "-1" }, "The photo is kept here"),
      el("p", {}, "The server can't be reached. The photo is kept on this device and sent "
        + "automatically. Name the pile yourself now, or go on to the next item and answer later."),
    ]);
    this.offer(true);
    this.focus();
  }

  /** What the view is about: the category that was chosen or leads, none while that is hidden. */
  category(view) {
    return view.chosen ?? (view.capture?.hidden ? null : leading(view.suggestion));
  }

  show(view) {
    this.view = view;
    const category = this.category(view);
    const hazard = this.words.looksForHazard(view.suggestion);
    this.fill(view.suggestion.decision, ticketParts(view, {
      ...this.actions,
      names: (id) => this.words.category(id),
      handling: category && !hazard ? this.handling.due(category) : [],
      hazard,
      left: { offered: this.mayHold(category) && !hazard, said: this.holdsSomething() },
      factWords: (fact, answer) => this.words.fact(fact, answer),
      factQuestion: (fact) => this.words.question(fact),
      onReask: (fact) => {
        view.reasked = fact;
        this.show(view);
        this.body.querySelector(".ask button").focus();
      },
    }));
    const { decision } = view.suggestion;
    const seen = view.captureId && !view.chosen && !view.capture?.hidden;
    this.offer(true, {
      confirmable: mayConfirm(view) && !hazard,
      again: Boolean(seen) && ["unsure", "not_an_item"].includes(decision),
      empty: Boolean(seen) && decision === "not_an_item",
    });
    this.skipButton.querySelector("[data-name]").textContent =
      view.captureId ? "Skip this photo" : "Cancel";
    this.label();
    this.focus();
  }

  /** Whether the rules send a pack of this category another way while something is left in it. */
  mayHold(category) {
    return this.view.suggestion.decision !== "stop" && this.words.left(category) !== null;
  }

  holdsSomething() {
    return this.view.facts.empty === "no" && this.mayHold(this.category(this.view));
  }

  label() {
    if (!this.view?.suggestion) return;
    const pile = this.words.category(this.view.chosen ?? leading(this.view.suggestion));
    const count = this.counted();
    const stop = this.view.suggestion.decision === "stop";
    const verb = stop ? "Set aside" : this.holdsSomething() ? "Set apart" : "Put on";
    this.confirm.querySelector("[data-name]").textContent =
      count === 1 ? `${verb}: ${pile}` : `${verb} ${count}: ${pile}`;
  }

  fill(state, parts) {
    this.holder.dataset.state = state;
    this.holder.setAttribute("aria-busy", state === "looking" ? "true" : "false");
    this.body.replaceChildren(...parts);
  }

  /** Brings the answer to eye and ear, but never takes the focus from somebody who is typing. */
  focus() {
    if (document.activeElement?.closest("input:not([type=file], [type=checkbox]), select, dialog")) return;
    this.body.querySelector("h2")?.focus({ preventScroll: true });
    const beside = window.matchMedia("(min-width: 56rem)").matches;
    this.holder.scrollIntoView({ block: beside ? "nearest" : "start" });
  }

  openNote() {
    if (this.more.hidden) return;
    this.noteBox.open = true;
    this.note.focus();
  }

  pressConfirm() {
    if (!this.bar.hidden) this.confirm.click();
  }

  pressSkip() {
    if (!this.more.hidden) this.skipButton.click();
  }
}
