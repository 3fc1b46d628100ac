/** What was recorded last: undo, correct, and the same again. */
import { byId, el } from "./dom.js";

const KEPT = 12;

export class Recent {
  constructor(holder, { onUndo, onCorrect, onAgain }) {
    this.holder = holder;
    this.list = holder.querySelector("ol");
    this.again = holder.querySelector("[data-again]");
    this.count = byId("again-count");
    this.items = [];
    this.actions = { onUndo, onCorrect };
    this.again.addEventListener("click", () => {
      const last = this.last();
      if (!last || !this.count.reportValidity()) return;
      onAgain(last, Math.max(1, Number.parseInt(this.count.value, 10) || 1));
      this.count.value = "1"; // else it would multiply the next kind too
    });
  }

  /** The newest item that still counts. */
  last() {
    return this.items.find((item) => !item.voided) ?? null;
  }

  put(item) {
    const place = this.items.findIndex((each) => each.id === item.id);
    if (place >= 0) this.items[place] = item;
    else this.items.unshift(item);
    this.items.length = Math.min(this.items.length, KEPT);
    this.show();
  }

  drop(id) {
    const left = this.items.filter((item) => item.id !== id);
    if (left.length === this.items.length) return; // drawing again would take the focus
    this.items = left;
    this.show();
  }

  /** What the server has; above it stays what was entered meanwhile and has not reached it. */
  fill(items) {
    const arrived = new Set(items.map((item) => item.id));
    const waiting = this.items.filter((item) => item.waiting && !arrived.has(item.id));
    this.items = [...waiting, ...items].slice(0, KEPT);
    this.show();
  }

  show() {
    this.list.replaceChildren(...this.items.map((item) => this.line(item)));
    const last = this.last();
    this.again.closest("[data-again-bar]").hidden = !last;
    if (last) this.again.querySelector("[data-name]").textContent = last.category_name;
    this.holder.hidden = this.items.length === 0;
  }

  line(item) {
    const stamp = item.waiting ? "waiting" : item.voided ? "undone" : item.corrected ? "corrected" : "";
    const first = this.last() === item;
    const what = () => el("span", { class: "unseen" }, ` ${item.count} ${item.category_name}`);
    const acts = item.voided ? [] : [
      el("button", {
        type: "button", class: "plain", "data-key": first ? "u" : null, "data-undo": item.id,
        onclick: () => this.actions.onUndo(item),
      }, "Undo", first ? el("kbd", { "aria-hidden": "true" }, "u") : null, what()),
    ];
    if (!item.voided && !item.waiting) {
      acts.push(el("button", {
        type: "button", class: "plain", "data-correct": item.id,
        onclick: () => this.actions.onCorrect(item),
      }, "Correct", what()));
    }
    return el("li", { class: item.voided ? "void" : null, "data-item": item.id },
      el("span", { class: "recent-name" }, el("b", { class: "figure" }, `${item.count} × `),
        item.category_name,
        item.route_name ? el("span", { class: "soft small block" }, item.route_name) : null,
        item.note ? el("span", { class: "soft small block" }, `“${item.note}”`) : null),
      stamp ? el("span", { class: "stamp" }, stamp) : null,
      el("span", { class: "acts" }, acts));
  }
}
