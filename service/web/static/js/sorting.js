/** The sorting page: photograph, read the ticket, confirm, next. */
import { Refused, Unreachable, call } from "./api.js";
import { BlindCheck } from "./audit.js";
import { byId, pageData } from "./dom.js";
import { uuid4 } from "./ids.js";
import { Handling } from "./handling.js";
import { listenForKeys } from "./keys.js";
import { Recent } from "./recent.js";
import { CorrectionDialog } from "./correction.js";
import { Outbox } from "./outbox.js";
import { Picker } from "./picker.js";
import { sendSharp } from "./photo.js";
import { keepThisPage } from "./shell.js";
import { rememberSorter } from "./sorter.js";
import { Stage } from "./stage.js";
import { showTally, tallyWords } from "./tally.js";
import { Ticket } from "./ticket_view.js";
import { Unanswered, showOutage, showRefused, skip } from "./waiting.js";
import { Words, leading } from "./words.js";

const page = pageData("sorting-data");
sendSharp(page.sort.keeps_photos);
const sortUrl = `/api/sorts/${page.sort.id}`;
const words = new Words(page);
const outbox = new Outbox();
const picker = new Picker(byId("picker"), page.groups);
const handling = new Handling(page.sort.id, words);
const tally = byId("tally");
const drafts = new Map();
let current = null;

const stage = new Stage(byId("stage"), { onPhoto: startCapture, onProblem: problem });
const ticket = new Ticket(byId("ticket"), {
  words, handling, onAnswer: answerFact, onPick: choose, onConfirm: confirm, onSkip: skipCurrent,
  onOther: pickOther, onRetake: retake, onLeft: toggleLeft,
});
const recent = new Recent(byId("recent"), { onUndo: undo, onCorrect: correct, onAgain: again });
const unanswered = new Unanswered(byId("unanswered"), words, openCapture);
const correction = new CorrectionDialog(byId("correction"));
const blindCheck = new BlindCheck(byId("audit"), { words, onChange: changeToSuggested, onProblem: problem });
const sorter = byId("sorter");

function say(text) {
  byId("said").textContent = text;
}

function problem(text) {
  const box = byId("problem");
  box.hidden = !text;
  box.querySelector("p").textContent = text.charAt(0).toUpperCase() + text.slice(1);
  if (text) box.scrollIntoView({ block: "nearest" });
}

/* ---- a photograph and its answer ---- */

function fresh(captureId) {
  return {
    captureId, itemId: uuid4(), suggestion: null, chosen: null, facts: {}, notice: "", away: false,
  };
}

async function startCapture(blob) {
  problem("");
  setAside();
  const mine = fresh(uuid4());
  current = mine;
  unanswered.picture(mine.captureId, blob);
  ticket.looking();
  const entry = {
    kind: "capture", sort: page.sort.id, url: `${sortUrl}/captures`, captureId: mine.captureId,
    photo: await blob.arrayBuffer(), photoType: blob.type || "image/jpeg", words: "a photo",
  };
  try {
    const answer = await outbox.send(entry);
    if (current === mine) showAnswer(answer);
    else addUnanswered(answer);
  } catch (error) {
    if (current !== mine) return;
    if (error instanceof Refused) {
      current = null;
      ticket.empty();
      stage.ready();
      problem(error.message);
    } else {
      mine.away = true;
      ticket.away();
    }
  }
}

function showAnswer(capture) {
  current.capture = capture;
  current.suggestion = capture.suggestion;
  current.facts = { ...(capture.suggestion.facts ?? {}) };
  current.notice = capture.notice;
  blindCheck.expect(capture);
  ticket.show(current);
  say(words.heard(capture.suggestion, capture.hidden));
}

function openCapture(capture) {
  setAside();
  current = fresh(capture.id);
  stage.showPicture(unanswered.pictureOf(capture));
  ticket.clear();
  showAnswer(capture);
  if (drafts.has(capture.id)) ticket.restore(drafts.get(capture.id));
}

async function addUnanswered(capture) {
  const waiting = await outbox.waiting();
  if (!waiting.some((entry) => entry.json?.capture_id === capture.id)) unanswered.add(capture);
}

/** A photo on the ticket that was not answered goes to the list of those that wait. */
function setAside() {
  if (current?.capture) {
    drafts.set(current.captureId, ticket.draft());
    unanswered.add(current.capture);
  }
  current = null;
}

async function answerFact(fact, answer) {
  const mine = current;
  mine.facts = { ...mine.facts, [fact]: answer };
  mine.reasked = null;
  try {
    if (mine.captureId && !mine.chosen) {
      const capture = await call("POST", `/api/captures/${mine.captureId}/facts`, { json: { fact, answer } });
      if (current === mine) showAnswer(capture);
    } else {
      await preview(mine);
    }
  } catch (error) {
    problem(error instanceof Refused ? error.message
      : "The server can't be reached, so the route stays open. You can still put the item on its pile.");
  }
}

/** One tap says that a pack still holds something, another one takes that back. */
async function toggleLeft() {
  const mine = current;
  await answerFact("empty", mine.facts.empty === "no" ? "yes" : "no");
  if (current !== mine || mine.suggestion.facts?.empty === mine.facts.empty) return;
  // The server did not answer: the device knows the rule itself, and the record says what was tapped.
  const category = mine.chosen ?? leading(mine.suggestion);
  const known = words.suggestionWithoutServer(category, mine.original ?? mine.suggestion, mine.facts);
  mine.suggestion = { ...mine.suggestion, route: known.route, check: known.check };
  problem("");
  ticket.show(mine);
}

async function preview(mine) {
  const facts = Object.entries(mine.facts);
  const query = new URLSearchParams([["category", mine.chosen], ...facts]);
  const suggestion = await call("GET", `${sortUrl}/preview?${query}`);
  if (current !== mine) return;
  mine.suggestion = suggestion;
  ticket.show(mine);
  say(words.heard(suggestion));
}

async function choose(category) {
  const mine = current ?? fresh(null);
  current = mine;
  mine.chosen = category;
  mine.original ??= mine.suggestion;
  mine.suggestion = words.suggestionWithoutServer(category, mine.original, mine.facts);
  ticket.show(mine);
  try {
    await preview(mine);
  } catch (error) {
    if (error instanceof Refused) problem(error.message);
  }
}

async function pickOther() {
  const category = await picker.ask(current?.captureId ? "Which pile is it?" : "An item without a photo");
  if (category) await choose(category);
}

async function withoutPhoto() {
  setAside();
  stage.ready();
  ticket.empty();
  await pickOther();
}

function skipCurrent() {
  if (current?.captureId) {
    skip(current.captureId);
    unanswered.remove(current.captureId);
  }
  current = null;
  next("Left out; nothing was counted.");
}

/** A photo that shows too little makes room for a better one. */
function retake() {
  skipCurrent();
  if (!stage.camera.live) stage.press();
}

/* ---- recording ---- */

function next(text) {
  ticket.empty();
  stage.ready();
  say(text);
}

function showWaiting(json) {
  const name = words.category(json.category);
  recent.put({
    ...json, id: json.item_id, category_name: name, route_name: "", waiting: true,
  });
  return name;
}

async function record(json, captureId = null) {
  const name = showWaiting(json);
  const entry = {
    kind: "item", sort: page.sort.id, url: `${sortUrl}/items`, json, words: `${json.count} × ${name}`,
  };
  try {
    taken(await outbox.send(entry));
  } catch (error) {
    if (error instanceof Unreachable) return;
    recent.drop(json.item_id);
    problem(`Not recorded: ${entry.words}. ${error.message}`);
  }
  if (captureId) unanswered.remove(captureId);
}

function taken(answer) {
  recent.put(answer.item);
  showTally(tally, answer.tally, answer.item.category);
  say(tallyWords(answer.tally, answer.item.category));
  blindCheck.recorded(answer.item);
}

function confirm(count, note) {
  const mine = current;
  const category = mine?.chosen ?? (mine?.suggestion && leading(mine.suggestion));
  if (!category) return; // nothing is named, or a second tap came after the first
  handling.done(category);
  current = null;
  next(`Put it on the ${words.category(category)} pile.`);
  record({
    item_id: mine.itemId, capture_id: mine.captureId, category, count, facts: words.known(mine.facts),
    note, sorter: sorter.value,
  }, mine.captureId);
}

function again(last, count) {
  problem("");
  record({
    item_id: uuid4(), capture_id: null, category: last.category, count,
    facts: last.facts ?? {}, note: "", sorter: sorter.value,
  });
}

/** `shown` is how the item looks meanwhile, should the server be away. */
async function change(url, json, shown, text) {
  const entry = { kind: "change", sort: page.sort.id, url, json, words: text };
  try {
    const answer = await outbox.send(entry);
    taken(answer);
    if (answer.item.voided) await reopen(answer.item.capture_id);
  } catch (error) {
    if (error instanceof Refused) problem(`${text} was not recorded. ${error.message}`);
    else recent.put({ ...shown, waiting: true });
  }
}

/** The photo of an undone item waits for another answer. */
async function reopen(captureId) {
  if (captureId) addUnanswered(await call("GET", `/api/captures/${captureId}`));
}

const undoing = new Set();

/** A second tap, while the first is on its way, is the same wish. */
async function undo(item) {
  if (undoing.has(item.id)) return;
  undoing.add(item.id);
  problem("");
  await change(`/api/items/${item.id}/undo`, { change_id: uuid4(), reason: "", sorter: sorter.value },
    { ...item, voided: true }, `Undo of ${item.count} × ${item.category_name}`);
  undoing.delete(item.id);
}

function changeToSuggested(item, category) {
  change(`/api/items/${item.id}/corrections`, {
    change_id: uuid4(), category, count: item.count, facts: {}, sorter: sorter.value,
    reason: "changed after seeing the suggestion",
  }, item, `Correction of ${item.count} × ${item.category_name}`);
}

/** A pack with something left in it stays one when its pile or count is corrected. */
function stillHolds(item) {
  return item.facts?.empty === "no" ? { empty: "no" } : {};
}

async function correct(item) {
  problem("");
  const wanted = await correction.ask(item);
  if (!wanted) return;
  change(`/api/items/${item.id}/corrections`,
    { change_id: uuid4(), ...wanted, facts: stillHolds(item), sorter: sorter.value },
    item, `Correction of ${item.count} × ${item.category_name}`);
}

/* ---- start ---- */

/** This page is the device's own copy, or was without the server: take in what was recorded. */
async function catchUp() {
  const [counts, items, open] = await Promise.all(
    ["tally", "items", "captures"].map((each) => call("GET", `${sortUrl}/${each}`)),
  );
  showTally(tally, counts);
  recent.fill(items.map((each) => each.current));
  for (const capture of open) arrived(capture);
}

/** An answer to a photo that was taken while the server was away. */
function arrived(capture) {
  if (current?.captureId !== capture.id) addUnanswered(capture);
  else if (current.away && !current.chosen) {
    current.away = false;
    showAnswer(capture);
  } else if (current.away) current.capture = capture; // set aside, it goes where photos wait
}

outbox.addEventListener("change", ({ detail }) => {
  showOutage(detail);
  for (const { kind, json } of detail.refused) if (kind === "item") recent.drop(json.item_id);
  showRefused(byId("refused"), detail.refused, {
    onForget: (seq) => outbox.forget(seq), onRetry: (entry) => outbox.retry(entry),
  });
});
outbox.addEventListener("late", ({ detail: { entry, answer } }) => {
  if (entry.sort !== page.sort.id) return;
  if (entry.kind !== "capture") {
    taken(answer);
    return;
  }
  unanswered.picture(answer.id, new Blob([entry.photo], { type: entry.photoType }));
  arrived(answer);
});

rememberSorter(sorter, page.sort.id);

byId("by-hand").addEventListener("click", withoutPhoto);
listenForKeys(byId("letters"), {
  p: () => stage.press(), y: () => ticket.pressConfirm(), c: () => pickOther(), w: () => withoutPhoto(),
  n: () => ticket.openNote(), r: () => byId("recent").querySelector("[data-again]").click(),
  q: () => ticket.pressSkip(), "+": () => ticket.step(1), "-": () => ticket.step(-1),
});
document.querySelector(".keys").open = window.matchMedia("(min-width: 80rem)").matches;
showTally(tally, page.tally);
recent.fill(page.recent);
for (const capture of page.open) unanswered.add(capture);
stage.begin();
await outbox.open();
for (const { kind, sort, json } of await outbox.waiting()) {
  if (kind === "item" && sort === page.sort.id) showWaiting(json);
}
await outbox.start(catchUp, "kept" in document.body.dataset);
keepThisPage();
document.body.dataset.ready = "yes";
