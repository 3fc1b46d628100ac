/** Lists the sorting pages that this device has kept. */
import { byId, el } from "./dom.js";

async function keptPages() {
  const found = [];
  for (const name of await caches.keys()) {
    if (!name.startsWith("tallytare-pages-")) continue;
    const pages = await caches.open(name);
    for (const request of await pages.keys()) {
      const text = await (await pages.match(request)).text();
      const title = new DOMParser().parseFromString(text, "text/html").querySelector("h1");
      found.push({ path: new URL(request.url).pathname, title: title?.textContent.trim() ?? "" });
    }
  }
  return found;
}

const found = "caches" in window ? await keptPages() : [];
byId("kept-pages").append(...found.map(({ path, title }) => el("li", {}, el("a", { href: path }, title))));
byId("kept-none").hidden = found.length > 0;
