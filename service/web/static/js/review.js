/** The review page without a mouse: arrows move, space ticks, one letter labels what is ticked. */
import { byId } from "./dom.js";
import { listenForKeys } from "./keys.js";

const REMEMBERED = "tallytare-reviewer";
const form = byId("review");
const who = byId("who");

if (who) {
  if (!who.value) who.value = localStorage.getItem(REMEMBERED) ?? "";
  who.form.addEventListener("submit", () => localStorage.setItem(REMEMBERED, who.value));
}

if (form) {
  const boxes = [...form.querySelectorAll("[data-card] input")];
  const summary = form.querySelector("[data-ticked]");
  const nothing = summary.textContent;

  const say = () => {
    const count = boxes.filter((box) => box.checked).length;
    summary.textContent = count ? `${count} of ${boxes.length} ticked` : nothing;
  };

  const columns = () => {
    const top = boxes[0].getBoundingClientRect().top;
    const next = boxes.findIndex((box) => box.getBoundingClientRect().top > top + 5);
    return next < 0 ? boxes.length : next;
  };

  /** Without a tick the letter is for the photo that has the focus. */
  const tickFocused = () => {
    if (boxes.some((box) => box.checked) || !boxes.includes(document.activeElement)) return;
    document.activeElement.checked = true;
  };

  const move = (event) => {
    const here = boxes.indexOf(document.activeElement);
    const line = columns();
    const steps = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: line, ArrowUp: -line };
    if (!(event.key in steps) || (here < 0 && document.activeElement !== document.body)) return;
    event.preventDefault();
    const next = here < 0 ? 0 : Math.min(Math.max(here + steps[event.key], 0), boxes.length - 1);
    if (event.shiftKey && here >= 0) {
      const [from, to] = here < next ? [here, next] : [next, here];
      for (const box of boxes.slice(from, to + 1)) box.checked = true;
    }
    boxes[next].focus();
    boxes[next].closest("[data-card]").scrollIntoView({ block: "nearest" });
    say();
  };

  document.addEventListener("keydown", move);
  form.addEventListener("change", say);
  form.addEventListener("submit", tickFocused);

  const all = form.querySelector("[data-all]");
  all.hidden = false;
  all.addEventListener("click", () => {
    const tick = boxes.some((box) => !box.checked);
    for (const box of boxes) box.checked = tick;
    say();
  });

  form.querySelector("[data-keys-box]").hidden = false;
  listenForKeys(byId("keys"), { c: () => byId("label").focus() });
  byId("label").addEventListener("keydown", (event) => {
    if (event.key === "Enter") form.querySelector("[value=relabel]").click();
  });
  say();
}
