import assert from "node:assert/strict";
import { beforeEach, mock, test } from "node:test";
import { Refused, Unreachable } from "../js/api.js";
import { Outbox } from "../js/outbox.js";
import { FakeDatabase, FakeServer } from "./fakes.js";

const item = (name) => ({ kind: "item", url: "/items", json: { item_id: name }, words: name });
const error = (message) => ({ error: { code: "c", message } });
const names = (server) => server.requests.map((each) => each.sent.item_id);

let server;
let database;
let outbox;
let seen;

async function started({ stale = false, probe = async () => {} } = {}) {
  outbox = new Outbox();
  seen = { late: [], change: null };
  outbox.addEventListener("late", (event) => seen.late.push(event.detail));
  outbox.addEventListener("change", (event) => { seen.change = event.detail; });
  await outbox.open();
  await outbox.start(probe, stale);
  return outbox;
}

/** Sends, and waits until nothing goes on any more. */
async function drained() {
  outbox.drain();
  while (outbox.draining) await outbox.draining;
}

/** Enters something while the server is away, or fails at it. */
async function keeps(name, reason = Unreachable) {
  await assert.rejects(outbox.send(item(name)), reason);
  while (outbox.draining) await outbox.draining;
}

beforeEach(() => {
  mock.timers.reset();
  mock.timers.enable({ apis: ["setInterval"] });
  globalThis.window = new EventTarget();
  server = new FakeServer();
  database = new FakeDatabase();
});

test("entries go out in order and leave with their answers", async () => {
  server.answer = ({ sent }) => [201, { got: sent.item_id }];
  await started();
  const answers = await Promise.all(["a", "b", "c"].map((name) => outbox.send(item(name))));
  assert.deepEqual(answers.map((each) => each.got), ["a", "b", "c"]);
  assert.deepEqual(names(server), ["a", "b", "c"]);
  assert.equal(database.rows.size, 0);
});

test("a photo goes as a form with its id", async () => {
  await started();
  const photo = new TextEncoder().encode("pixels").buffer;
  await outbox.send({ kind: "capture", url: "/captures", captureId: "c1", photo, photoType: "image/jpeg" });
  const [{ sent }] = server.requests;
  assert.equal(sent.get("capture_id"), "c1");
  assert.equal(await sent.get("photo").text(), "pixels");
});

test("what was entered while the server is away goes out when it is back, the same", async () => {
  await started();
  server.away = true;
  await keeps("a");
  await keeps("b");
  assert.equal(outbox.away, true);
  assert.deepEqual((await outbox.waiting()).map((each) => each.words), ["a", "b"]);
  server.away = false;
  mock.timers.tick(4000);
  while (outbox.draining) await outbox.draining;
  assert.deepEqual(names(server), ["a", "b"]);
  assert.deepEqual(seen.late.map(({ entry }) => entry.words), ["a", "b"]);
  assert.deepEqual([outbox.away, seen.change.waiting.length], [false, 0]);
});

test("the page that comes back online sends at once", async () => {
  await started();
  server.away = true;
  await keeps("a");
  server.away = false;
  window.dispatchEvent(new Event("online"));
  while (outbox.draining) await outbox.draining;
  assert.deepEqual(names(server), ["a"]);
});

test("a no is told to who waits, and nothing stays", async () => {
  server.answer = () => [422, error("count is 0")];
  await started();
  await assert.rejects(outbox.send(item("a")), (given) => given instanceof Refused && given.message === "count is 0");
  assert.equal(database.rows.size, 0);
});

test("a no that nobody waits for stays in sight, can be tried again or left out", async () => {
  await started();
  server.away = true;
  await keeps("a");
  await keeps("b");
  server.away = false;
  server.answer = () => [409, error("the sort is closed")];
  await drained();
  assert.deepEqual((await outbox.refused()).map((each) => [each.words, each.refused]),
    [["a", "the sort is closed"], ["b", "the sort is closed"]]);
  assert.equal((await outbox.waiting()).length, 0);
  await drained();
  assert.deepEqual(names(server), ["a", "b"]); // not by itself
  server.answer = () => [201, {}];
  const [first, second] = await outbox.refused();
  await outbox.retry(first);
  await outbox.forget(second.seq);
  assert.deepEqual(names(server), ["a", "b", "a"]);
  assert.equal(database.rows.size, 0);
});

test("an entry that the server fails at three times lets the others pass", async () => {
  server.answer = ({ sent }) => (sent.item_id === "bad" ? [500, error("a mistake of ours")] : [201, {}]);
  await started();
  await keeps("bad");
  await keeps("good");
  assert.deepEqual(names(server), ["bad", "bad"]);
  await drained();
  assert.deepEqual(names(server), ["bad", "bad", "bad", "good"]);
  assert.deepEqual((await outbox.refused()).map((each) => each.words), ["bad"]);
});

test("a server that is down for long is not a mistake of an entry", async () => {
  server.answer = () => [503, error("the disk is full")];
  await started();
  await keeps("a", /the disk is full/);
  for (let times = 0; times < 5; times += 1) await drained();
  assert.equal((await outbox.refused()).length, 0);
  assert.equal(outbox.reason, "the disk is full");
});

test("what another tab has sent for us is sent once more, and its answer is ours", async () => {
  await started();
  const all = outbox.box.all;
  outbox.box.all = async () => {
    database.rows.clear(); // the other tab was quicker
    outbox.box.all = all;
    return all();
  };
  server.answer = () => [200, { id: "the first answer" }];
  assert.deepEqual(await outbox.send(item("a")), { id: "the first answer" });
  assert.deepEqual(names(server), ["a"]);
});

test("a page from before, or after an outage, asks what happened meanwhile", async () => {
  let asked = 0;
  await started({ stale: true, probe: async () => { asked += 1; } });
  assert.deepEqual([asked, outbox.away], [1, false]);
  await drained();
  assert.equal(asked, 1);
  server.away = true;
  await keeps("a");
  server.away = false;
  await drained();
  assert.equal(asked, 2);
});

test("a probe that fails leaves the page away", async () => {
  await started({ stale: true, probe: async () => { throw new Unreachable("no"); } });
  assert.deepEqual([outbox.away, outbox.stale, outbox.reason], [true, true, "no"]);
});

test("a full phone keeps entries in the page and says so; they go out after the others", async () => {
  await started();
  server.away = true;
  await keeps("kept");
  database.full = true;
  await keeps("spare");
  database.full = false;
  await keeps("behind");
  assert.equal(seen.change.lasting, false);
  assert.deepEqual([...database.rows.values()].map((each) => each.words), ["kept"]);
  server.away = false;
  await drained();
  assert.deepEqual(names(server), ["kept", "spare", "behind"]);
  assert.equal(seen.change.lasting, true);
});

test("a database that breaks while the page is open loses nothing and sends nothing twice", async () => {
  await started();
  server.away = true;
  await keeps("a");
  await keeps("b");
  database.broken = true;
  server.away = false;
  await drained();
  await drained();
  assert.deepEqual(names(server), ["a", "b"]);
  assert.equal((await outbox.waiting()).length, 0);
  database.broken = false; // what it still holds was sent: it must not come back
  assert.equal((await outbox.waiting()).length, 0);
});

test("a database that the system closed is opened again", async () => {
  await started();
  database.closed = true;
  await outbox.send(item("a"));
  assert.deepEqual([names(server), database.opened], [["a"], 2]);
});

test("a change of an entry that another tab removed does not bring it back", async () => {
  await started();
  server.away = true;
  await keeps("a");
  const [entry] = await outbox.waiting();
  database.rows.clear();
  await outbox.box.update({ ...entry, refused: "no" });
  assert.equal(database.rows.size, 0);
});

test("without a database the page itself keeps what was entered", async () => {
  globalThis.indexedDB = { open() { throw new Error("private mode"); } };
  await started();
  server.away = true;
  await keeps("a");
  assert.equal(seen.change.lasting, false);
  server.away = false;
  await drained();
  assert.deepEqual(names(server), ["a"]);
});
