/** Forms of this page are sent only while the server answers: else the browser would leave the page,
 * and what was read off a scale would be gone with it. Each form holds its own id, so that sending
 * it twice counts once. */
import { el } from "./dom.js";

const TIMEOUT_MS = 8000;
const AWAY = "The server can't be reached, so nothing was recorded. What you typed stays here: "
  + "try again when it is back.";

async function answers() {
  try {
    const response = await fetch("/api/health", { cache: "no-store", signal: AbortSignal.timeout(TIMEOUT_MS) });
    return response.status < 500; // else it can't keep anything either
  } catch {
    return false;
  }
}

function guard(form) {
  const note = el("p", { class: "notice stop", role: "alert", hidden: true });
  form.append(note);
  let sure = false;
  form.addEventListener("submit", async (event) => {
    if (sure) return;
    event.preventDefault();
    const { submitter } = event;
    note.hidden = true;
    form.inert = true; // what is sent is what stood there when it was sent; a second tap does nothing
    const there = await answers();
    form.inert = false;
    if (there) {
      sure = true;
      form.requestSubmit(submitter);
      sure = false;
    } else {
      note.textContent = AWAY;
      note.hidden = false;
      submitter?.focus({ preventScroll: true });
      note.scrollIntoView({ block: "nearest" });
    }
  });
}

for (const form of document.querySelectorAll("form[method=post]")) guard(form);
