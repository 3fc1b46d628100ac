/** Forms of this page are sent only while the server answers: else the browser would leave the page,
 * and what was read off a scale would be gone with it. Each form holds its own id, so that sending
 * it twice counts once. */
import { Refused, call } from "./api.js";
import { el } from "./dom.js";

const AWAY = "The server can't be reached, so nothing was recorded. What you typed stays here: "
  + "try again when it is back.";

async function answers() {
  try {
    await call("GET", "/api/health");
    return true;
  } catch (error) {
    return error instanceof Refused; // it answered, whatever it says
  }
}

function guard(form) {
  const note = el("p", { class: "notice stop", role: "alert", hidden: true });
  form.append(note);
  let asking = false;
  let sure = false;
  form.addEventListener("submit", async (event) => {
    if (sure) return;
    event.preventDefault();
    if (asking) return;
    asking = true;
    note.hidden = true;
    const there = await answers();
    asking = false;
    if (there) {
      sure = true;
      form.requestSubmit(event.submitter);
      sure = false;
    } else {
      note.textContent = AWAY;
      note.hidden = false;
      note.scrollIntoView({ block: "nearest" });
    }
  });
}

for (const form of document.querySelectorAll("form[method=post]")) guard(form);
