/** Talking to the server: two ways to fail, and the page treats them differently. */

/** No answer came, or the server could not keep what we sent. Sending again later is safe. */
export class Unreachable extends Error {
  constructor(message = "", status = 0) {
    super(message);
    this.name = "Unreachable";
    this.status = status;
  }
}

/** The server read it and said no; sending the same again would not help. */
export class Refused extends Error {
  constructor(status, error) {
    super(error.message);
    this.name = "Refused";
    this.status = status;
    this.code = error.code;
    this.details = error.details || {};
  }
}

/** Not let in (any longer), too slow, too often: nothing is wrong with what was sent. */
const LATER = [401, 408, 429];
const TIMEOUT_MS = 30_000;
/** A photo that this browser could not make smaller may have 40 MB to go through a weak network. */
const PHOTO_TIMEOUT_MS = 180_000;

async function readError(response) {
  try {
    const body = await response.json();
    if (body.error && body.error.message) return body.error;
  } catch {
    /* not our JSON: a proxy's page, say */
  }
  return { code: "error", message: `The server answered with status ${response.status}.` };
}

export async function call(method, url, { json = null, form = null } = {}) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), form ? PHOTO_TIMEOUT_MS : TIMEOUT_MS);
  let response;
  try {
    response = await fetch(url, {
      method,
      signal: stop.signal,
      headers: json ? { "content-type": "application/json", accept: "application/json" }
        : { accept: "application/json" },
      body: json ? JSON.stringify(json) : form,
    });
    if (response.ok) return await response.json();
  } catch {
    throw new Unreachable();
  } finally {
    clearTimeout(timer);
  }
  const error = await readError(response);
  if (response.status >= 500 || LATER.includes(response.status)) throw new Unreachable(error.message, response.status);
  throw new Refused(response.status, error);
}
