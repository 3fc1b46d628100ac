/** Keeps the sorting page on this device, so that it opens while the server is away.
 *
 * The server always goes first; what is kept serves only when it does not answer. Answers of the
 * JSON interface and photos are never kept, nor touched here. Version and digests are filled in by
 * the server: files of two versions are never mixed.
 */
const VERSION = "VERSION";
const FILES = { "FILES": "" };
const SHELL = `tallytare-shell-${VERSION}`;
const PAGES = `tallytare-pages-${VERSION}`;
const AWAY = "/away";
const SORTING_PAGE = /^\/sorts\/[0-9a-f-]{36}$/;
const TIMEOUT_MS = 5000;
/** Once the server did not answer, scripts of the page come from here without asking again. */
const AWAY_MS = 20_000;
const MOST_PAGES = 20;
let awayUntil = 0;
/** Set when the server turned out to be of another version: then nothing of this one may serve. */
let outdated = false;

async function digestOf(response) {
  const digest = await crypto.subtle.digest("SHA-256", await response.arrayBuffer());
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

async function fetchFile(path) {
  const response = await fetch(path, { cache: "reload" });
  if (!response.ok || await digestOf(response.clone()) !== FILES[path]) {
    throw new Error(`${path} is not of this version`);
  }
  return response;
}

async function install() {
  const shell = await caches.open(SHELL);
  for (const path of Object.keys(FILES)) await shell.put(path, await fetchFile(path));
  const away = await fetch(AWAY, { cache: "reload" });
  if (!sameVersion(away)) throw new Error("the server is of another version");
  await shell.put(AWAY, away);
  await self.skipWaiting();
}

async function activate() {
  for (const name of await caches.keys()) {
    if (name.startsWith("tallytare-") && ![SHELL, PAGES].includes(name)) await caches.delete(name);
  }
  await self.clients.claim();
}

function sameVersion(response) {
  return response.ok && response.headers.get("x-tallytare-shell") === VERSION;
}

/** Keeps a page as it is now; the mark tells the page, when it is opened later, how old it is. */
async function keep(path, response) {
  const text = await response.text();
  const headers = new Headers(response.headers);
  headers.delete("content-length");
  const marked = text.replace("<body", `<body data-kept="${new Date().toISOString()}"`);
  const pages = await caches.open(PAGES);
  await pages.delete(path);
  await pages.put(path, new Response(marked, { headers }));
  for (const old of (await pages.keys()).slice(0, -MOST_PAGES)) await pages.delete(old);
}

async function keepByAddress(path, client) {
  const response = await fetch(path, { headers: { accept: "text/html" } });
  if (!sameVersion(response)) return;
  await keep(path, response);
  client?.postMessage({ kept: path });
}

async function navigate(event, path) {
  const kept = await (await caches.open(PAGES)).match(path);
  try {
    const response = await fetch(event.request, kept ? { signal: AbortSignal.timeout(TIMEOUT_MS) } : {});
    awayUntil = 0;
    const version = response.headers.get("x-tallytare-shell");
    if (version) outdated = version !== VERSION;
    if (response.status === 401) event.waitUntil(caches.delete(PAGES)); // let in no longer
    else if (SORTING_PAGE.test(path) && sameVersion(response)) event.waitUntil(keep(path, response.clone()));
    return response;
  } catch (error) {
    if (outdated) throw error;
    awayUntil = Date.now() + AWAY_MS;
    const instead = kept ?? await (await caches.open(SHELL)).match(AWAY);
    if (!instead) throw error;
    return instead;
  }
}

async function asset(request, path) {
  const kept = outdated ? null : await (await caches.open(SHELL)).match(path);
  if (kept && Date.now() < awayUntil) return kept;
  try {
    return await fetch(request, kept ? { signal: AbortSignal.timeout(TIMEOUT_MS) } : {});
  } catch (error) {
    if (!kept) throw error;
    awayUntil = Date.now() + AWAY_MS;
    return kept;
  }
}

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));
self.addEventListener("message", (event) => {
  const path = event.data?.keep;
  if (SORTING_PAGE.test(path)) event.waitUntil(keepByAddress(path, event.source).catch(() => {}));
});
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate") event.respondWith(navigate(event, url.pathname));
  else if (url.pathname in FILES) event.respondWith(asset(request, url.pathname));
});
