/** Small helpers around the document. Text is always set as text, never as markup. */
export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return node;
}

export const byId = (id) => document.getElementById(id);

export function pageData(id) {
  const holder = byId(id);
  return holder ? JSON.parse(holder.textContent) : null;
}

const SVG = "http://www.w3.org/2000/svg";

/** Draws tally strokes in gates of five, as on paper; beyond `most` the number alone must do. */
export function drawMarks(holder, count, most = 30) {
  holder.replaceChildren();
  holder.setAttribute("aria-hidden", "true");
  const shown = Math.min(count, most);
  for (let start = 0; start < shown; start += 5) {
    const strokes = Math.min(5, shown - start);
    const gate = document.createElementNS(SVG, "svg");
    gate.setAttribute("viewBox", "0 0 26 18");
    const path = document.createElementNS(SVG, "path");
    let d = "";
    for (let i = 0; i < Math.min(strokes, 4); i += 1) d += `M${4 + i * 6} 2l-1 14`;
    if (strokes === 5) d += "M0 13 26 5";
    path.setAttribute("d", d);
    gate.append(path);
    holder.append(gate);
  }
  if (count > most) holder.append(el("span", {}, "…"));
}

/** A patch of the route's own pattern; the patterns themselves stand once in the page. */
export function swatch(route) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 28 20");
  svg.setAttribute("class", "swatch");
  svg.setAttribute("aria-hidden", "true");
  const rect = document.createElementNS(SVG, "rect");
  rect.setAttribute("width", "28");
  rect.setAttribute("height", "20");
  rect.setAttribute("fill", `url(#route-${route})`);
  rect.setAttribute("stroke", "currentColor");
  rect.setAttribute("stroke-width", "2");
  svg.append(rect);
  return svg;
}
