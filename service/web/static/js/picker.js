/** The list of all categories, with a filter, as a dialogue. */
import { el, swatch } from "./dom.js";

const plain = (text) => text.toLowerCase().normalize("NFD").replace(/\p{M}/gu, "");

export class Picker {
  constructor(dialog, groups) {
    this.dialog = dialog;
    this.title = dialog.querySelector("[data-title]");
    this.filter = dialog.querySelector("input[type=search]");
    this.list = dialog.querySelector("[data-list]");
    this.none = dialog.querySelector("[data-none]");
    this.entries = [];
    this.build(groups);
    this.filter.addEventListener("input", () => this.narrow());
    this.filter.addEventListener("keydown", (event) => this.onKey(event));
    dialog.querySelector("[data-close]").addEventListener("click", () => dialog.close());
    dialog.addEventListener("close", () => this.finish(null));
  }

  build(groups) {
    for (const group of groups) {
      const list = el("ul", {}, group.categories.map((category) => this.entry(group, category)));
      this.list.append(el("section", { "data-group": true }, el("h3", {}, group.name), list));
    }
  }

  entry(group, category) {
    const button = el("button", {
      type: "button", "data-category": category.id, onclick: () => this.finish(category.id),
    },
    el("span", { class: "alt-name" }, category.name,
      category.stop ? el("span", { class: "stop-word" }, " set aside") : null),
    el("span", { class: "alt-route" }, category.routes.map((route) => swatch(route.id)),
      category.routes.map((route) => route.name).join(" or ")));
    const item = el("li", {}, button);
    const words = plain([category.name, group.name, ...category.belongs].join(" "));
    this.entries.push({ item, button, words, name: plain(category.name) });
    return item;
  }

  /** Opens the list; resolves with a category id, or null when the person left it. */
  ask(title) {
    this.title.textContent = title;
    this.filter.value = "";
    this.narrow();
    this.dialog.showModal();
    this.filter.focus();
    return new Promise((resolve) => { this.resolve = resolve; });
  }

  finish(category) {
    const resolve = this.resolve;
    this.resolve = null;
    if (this.dialog.open) this.dialog.close();
    if (resolve) resolve(category);
  }

  wanted() {
    return plain(this.filter.value).split(/\s+/).filter(Boolean);
  }

  narrow() {
    const wanted = this.wanted();
    for (const entry of this.entries) {
      entry.item.hidden = !wanted.every((word) => entry.words.includes(word));
    }
    for (const group of this.list.querySelectorAll("[data-group]")) {
      group.hidden = ![...group.querySelectorAll("li")].some((item) => !item.hidden);
    }
    this.none.hidden = this.shown().length > 0;
    const best = wanted.length ? this.best(wanted) : null;
    for (const entry of this.entries) entry.button.classList.toggle("best", entry === best);
  }

  /** What Enter takes: a pile whose name fits comes before one that only holds such things. */
  best(wanted) {
    const shown = this.shown();
    return shown.find((entry) => wanted.every((word) => entry.name.includes(word))) ?? shown[0];
  }

  shown() {
    return this.entries.filter((entry) => !entry.item.hidden);
  }

  onKey(event) {
    const first = this.shown()[0];
    if (!first) return;
    if (event.key === "Enter") {
      event.preventDefault();
      this.finish(this.best(this.wanted()).button.dataset.category);
    } else if (event.key === "ArrowDown") {
      event.preventDefault();
      first.button.focus();
    }
  }
}
