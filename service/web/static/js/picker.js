/** The list of all categories, with a search, as a dialogue. */
import { el, swatch } from "./dom.js";
import { Search } from "./search.js";

export class Picker {
  constructor(dialog, groups) {
    this.dialog = dialog;
    this.title = dialog.querySelector("[data-title]");
    this.filter = dialog.querySelector("input[type=search]");
    this.list = dialog.querySelector("[data-list]");
    this.found = el("ul", { hidden: true });
    this.none = dialog.querySelector("[data-none]");
    this.entries = new Map();
    this.build(groups);
    this.search = new Search(groups.flatMap((group) => group.categories));
    this.filter.addEventListener("input", () => this.narrow());
    this.filter.addEventListener("keydown", (event) => this.onKey(event));
    dialog.querySelector("[data-close]").addEventListener("click", () => dialog.close());
    dialog.addEventListener("close", () => this.finish(null));
  }

  build(groups) {
    for (const group of groups) {
      const list = el("ul", {});
      for (const category of group.categories) this.entry(category, list);
      this.list.append(el("section", { "data-group": true }, el("h3", {}, group.name), list));
    }
    this.list.append(this.found);
  }

  /** Makes the line of a category; `home` is its place in the whole list. */
  entry(category, home) {
    const button = el("button", {
      type: "button", "data-category": category.id, onclick: () => this.finish(category.id),
    },
    el("span", { class: "alt-name" }, category.name,
      category.stop ? el("span", { class: "stop-word" }, " set aside") : null),
    el("span", { class: "alt-route" }, category.routes.map((route) => swatch(route.id)),
      category.routes.map((route) => route.name).join(" or ")));
    const item = el("li", {}, button);
    home.append(item);
    this.entries.set(category.id, { item, button, home });
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

  /** Shows the whole list by group, or what was found with the likeliest first. */
  narrow() {
    const found = this.search.find(this.filter.value);
    const searching = /[\p{L}\p{N}]/u.test(this.filter.value);
    for (const { item, button, home } of this.entries.values()) {
      if (!searching) home.append(item);
      item.hidden = searching;
      button.classList.remove("best");
    }
    for (const id of found) {
      const { item, button } = this.entries.get(id);
      item.hidden = false;
      button.classList.toggle("best", id === found[0]);
      this.found.append(item);
    }
    for (const group of this.list.querySelectorAll("[data-group]")) group.hidden = searching;
    this.found.hidden = !found.length;
    this.none.hidden = !searching || found.length > 0;
  }

  /** The line that Enter takes and from which the arrow keys go on. */
  first() {
    return [...this.list.querySelectorAll("li")].find((item) => item.checkVisibility())?.firstElementChild;
  }

  onKey(event) {
    const first = this.first();
    if (!first) return;
    if (event.key === "Enter") {
      event.preventDefault();
      this.finish(first.dataset.category);
    } else if (event.key === "ArrowDown") {
      event.preventDefault();
      first.focus();
    }
  }
}
