import assert from "node:assert/strict";
import { test } from "node:test";
import { uuid4 } from "../js/ids.js";
import { Words, leading } from "../js/words.js";

const category = (id, more = {}) => ({ id, name: `the ${id}`, stop: false, cautions: [], routes: [], ...more });
const BLUE = { route: "kerbside", name: "Blue bin" };
const RED = { route: "residual", name: "Grey bin" };
const WORDS = new Words({
  programme: { statement: "Check your local rules." },
  groups: [{ categories: [
    category("tin", { routes: [BLUE] }),
    category("film", { routes: [BLUE, RED] }),
    category("cell", { stop: true, routes: [RED], cautions: [{ id: "fire", text: "May catch fire." }] }),
  ] }],
  facts: [{ id: "clean", question: "Is it clean?", how: "Look.", answers: [{ id: "yes", label: "Yes" }] }],
});
const suggestion = (more) => ({ decision: "route", categories: [{ id: "tin", p: 0.8 }], alternatives: [], cautions: [], ...more });

test("a ticket is about the most probable category, a stop about the dangerous one", () => {
  assert.equal(leading(suggestion()), "tin");
  assert.equal(leading(suggestion({ decision: "stop", alternatives: [{ category: "cell" }] })), "cell");
  assert.equal(leading(suggestion({ decision: "unsure" })), null);
  assert.equal(leading(suggestion({ decision: "not_an_item" })), null);
  assert.equal(leading(suggestion({ categories: [] })), null);
});

test("unknown ids are shown as they are", () => {
  assert.equal(WORDS.category("tin"), "the tin");
  assert.equal(WORDS.category("new"), "new");
  assert.equal(WORDS.fact("clean", "yes"), "Is it clean? Yes.");
  assert.equal(WORDS.fact("clean", "not_sure"), "Is it clean? Not sure.");
  assert.equal(WORDS.fact("new", "odd"), "new odd.");
});

test("an answer that leaves a fact open is not recorded", () => {
  assert.deepEqual(WORDS.known({ clean: "yes", dry: "not_sure" }), { clean: "yes" });
});

test("without the server one route is certain and several are left open", () => {
  assert.equal(WORDS.suggestionWithoutServer("tin", null, {}).route.name, "Blue bin");
  const open = WORDS.suggestionWithoutServer("film", null, {});
  assert.equal(open.route, null);
  assert.match(open.check[0], /Blue bin; Grey bin/);
});

test("without the server a dangerous category still stops, with its cautions", () => {
  const found = WORDS.suggestionWithoutServer("cell", null, {});
  assert.equal(found.decision, "stop");
  assert.deepEqual(found.cautions.map((each) => each.id), ["fire"]);
});

test("what is heard says the danger first, and nothing of a blind check", () => {
  assert.match(WORDS.heard(suggestion({ decision: "stop", alternatives: [{ category: "cell" }] })), /^Stop\..*the cell/);
  assert.match(WORDS.heard(suggestion({ route: BLUE })), /the tin.*Blue bin/);
  const hidden = WORDS.heard(suggestion({ cautions: [{ id: "fire" }], route: BLUE }), true);
  assert.match(hidden, /^Take care/);
  assert.doesNotMatch(hidden, /tin|Blue/);
});

test("ids are UUIDs of version 4, also where the browser has none to give", () => {
  const shape = /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;
  const given = crypto.randomUUID;
  const made = new Set();
  try {
    Object.defineProperty(crypto, "randomUUID", { value: undefined, configurable: true });
    for (let n = 0; n < 200; n += 1) made.add(uuid4());
  } finally {
    Object.defineProperty(crypto, "randomUUID", { value: given, configurable: true });
  }
  made.add(uuid4());
  assert.equal(made.size, 201);
  for (const id of made) assert.match(id, shape);
});
