/** The running tally: counts by category, with the strokes of a paper sheet. */
import { drawMarks, el } from "./dom.js";

export function showTally(holder, tally, changed = null) {
  const rows = tally.lines.map((line) => {
    const marks = el("span", { class: "marks" });
    drawMarks(marks, line.count);
    return el("tr", line.category === changed ? { class: "fresh" } : {},
      el("th", { scope: "row" }, line.name, el("span", { class: "soft small block" }, line.routes.join(" or "))),
      el("td", { class: "n" }, String(line.count)),
      el("td", {}, marks));
  });
  holder.querySelector("tbody").replaceChildren(...rows);
  holder.querySelector("[data-objects]").textContent = String(tally.objects);
  holder.querySelector("[data-none]").hidden = rows.length > 0;
  holder.querySelector("table").hidden = rows.length === 0;
}

/** Said by a screen reader after each change; short, for it is heard a thousand times a day. */
export function tallyWords(tally, category) {
  const line = tally.lines.find((each) => each.category === category);
  return `${line ? `${line.name} ${line.count}. ` : ""}${tally.objects} in all.`;
}
