import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";
import { ANSWER_KEYS, NOT_SURE_KEY, mayConfirm, ticketParts } from "../js/ticket.js";
import { fakePage } from "./fakes.js";

const ROUTE = { id: "kerbside", name: "Blue bin", condition: "", note: "", p: 0.9 };
const alternative = (category, p, routes = [ROUTE]) => ({ category, name: `the ${category}`, p, routes, question: null });
const QUESTION = {
  fact: "clean", text: "Is it clean?", how: "Look.",
  answers: [{ id: "yes", label: "Yes" }, { id: "no", label: "No" }, { id: "not_sure", label: "Not sure" }],
};
const SUGGESTION = {
  decision: "route", route: ROUTE, question: null, cautions: [], check: [], programme: null,
  categories: [{ id: "tin", p: 0.8 }, { id: "foil", p: 0.15 }, { id: "film", p: 0.04 }],
  alternatives: ["tin", "foil", "film", "cup", "pot"].map((id, i) => alternative(id, 0.5 / (i + 1))),
};
const CAUTION = { id: "fire", text: "May catch fire." };

let calls;

function ticket(suggestion = {}, view = {}, more = {}) {
  const page = fakePage();
  calls = [];
  page.append(...ticketParts({ suggestion: { ...SUGGESTION, ...suggestion }, facts: {}, ...view }, {
    names: (id) => `the ${id}`,
    handling: [],
    hazard: false,
    left: { offered: false, said: false },
    factWords: (fact, answer) => `${fact} ${answer}`,
    factQuestion: (fact) => ({ ...QUESTION, fact }),
    onAnswer: (...given) => calls.push(["answer", ...given]),
    onPick: (...given) => calls.push(["pick", ...given]),
    onReask: (...given) => calls.push(["again", ...given]),
    onLeft: () => calls.push(["left"]),
    ...more,
  }));
  return page;
}

const parts = (page) => page.all("data-part").map((each) => each.attributes["data-part"]);
const part = (page, name) => page.all("data-part").find((each) => each.attributes["data-part"] === name);
const tap = (node) => node.dispatchEvent(new Event("click"));

beforeEach(() => { fakePage(); });

test("a hazard's caution stands before everything, and no route is promised", () => {
  const page = ticket({ decision: "stop", route: null, cautions: [CAUTION], check: ["Look for a valve."] });
  assert.equal(parts(page)[0], "caution");
  assert.match(part(page, "caution").text, /Stop.*May catch fire/);
  assert.ok(!parts(page).includes("route"));
});

test("a stop is about the dangerous category, though another is more probable", () => {
  const page = ticket({ decision: "stop", route: null, alternatives: [alternative("cell", 0.2), alternative("tin", 0.8)] });
  assert.ok(page.children.some((each) => each.tag === "h2" && each.text === "the cell"));
  assert.deepEqual(page.all("data-alternative").map((each) => each.attributes["data-alternative"]), ["tin"]);
});

test("an everyday caution stands below the route, the first in full and the others behind it", () => {
  const page = ticket({ cautions: [CAUTION, { id: "edge", text: "Sharp edge." }] });
  assert.ok(parts(page).indexOf("route") < parts(page).indexOf("caution"));
  assert.match(part(page, "caution").text, /May catch fire\..*1 more.*Sharp edge/);
});

test("a question offers its answers on keys of their own, and that one is not sure", () => {
  const page = ticket({ decision: "ask", question: QUESTION });
  const answers = page.all("data-answer");
  assert.deepEqual(answers.map((each) => [each.attributes["data-answer"], each.attributes["data-key"]]),
    [["yes", ANSWER_KEYS[0]], ["no", ANSWER_KEYS[1]], ["not_sure", NOT_SURE_KEY]]);
  answers.forEach(tap);
  assert.deepEqual(calls, [["answer", "clean", "yes"], ["answer", "clean", "no"], ["answer", "clean", "not_sure"]]);
});

test("an answer that was given can be changed", () => {
  const page = ticket({}, { facts: { clean: "yes" } });
  tap(part(page, "why").all("type")[0]);
  assert.deepEqual(calls, [["again", "clean"]]);
});

test("a pack that may hold something has one tap for that, which shows what was said", () => {
  assert.deepEqual(ticket().all("aria-pressed"), []);
  const page = ticket({}, {}, { left: { offered: true, said: true } });
  const [button] = page.all("aria-pressed");
  assert.equal(button.attributes["aria-pressed"], "true");
  tap(button);
  assert.deepEqual(calls, [["left"]]);
});

test("while a hazard is asked about, the reason is the danger", () => {
  const asked = { decision: "ask", question: QUESTION, route: null };
  assert.match(part(ticket(asked, {}, { hazard: true }), "why").text, /dangerous/);
  assert.doesNotMatch(part(ticket(asked), "why").text, /dangerous/);
});

test("three alternatives at most, never what is shown, each on a number", () => {
  const page = ticket();
  const others = page.all("data-alternative");
  assert.deepEqual(others.map((each) => each.attributes["data-alternative"]), ["foil", "film", "cup"]);
  assert.deepEqual(others.map((each) => each.attributes["data-key"]), ["1", "2", "3"]);
  tap(others[1]);
  assert.deepEqual(calls, [["pick", "film"]]);
  const chosen = ticket({}, { chosen: "foil" });
  assert.ok(!chosen.all("data-alternative").some((each) => each.attributes["data-alternative"] === "foil"));
});

test("routes of one name are named once", () => {
  const routes = [ROUTE, { ...ROUTE }, { ...ROUTE, id: "drop_off", name: "Depot" }];
  const page = ticket({ alternatives: [alternative("tin", 0.8), alternative("foil", 0.1, routes)] });
  assert.match(page.all("data-alternative")[0].text, /Blue bin or Depot$/);
});

test("odds are never said to be none or certain", () => {
  const page = ticket({ categories: [{ id: "tin", p: 0.999 }], alternatives: [alternative("tin", 1), alternative("foil", 0.001)] });
  assert.match(page.text, /99 in 100/);
  assert.match(page.text, /the foil 1 in 100/);
});

test("only likely materials are named as open", () => {
  const open = part(ticket(), "why").text;
  assert.match(open, /the tin, the foil\)/);
  assert.doesNotMatch(open, /the film/);
  assert.equal(part(ticket({ categories: [{ id: "tin", p: 1 }] }), "why"), undefined);
});

test("a blind check shows neither category nor route nor alternatives", () => {
  const capture = { hidden: true, suggestion: SUGGESTION, learned_from: 3 };
  const page = ticket({}, { capture });
  assert.doesNotMatch(page.text, /tin|foil|Blue bin|3/);
  assert.deepEqual(page.all("data-alternative"), []);
});

test("a blind check announces that something may do harm", () => {
  const dangerous = { ...SUGGESTION, decision: "stop", cautions: [CAUTION] };
  const page = ticket(dangerous, { capture: { hidden: true, suggestion: dangerous } });
  assert.ok(page.text.length > ticket({}, { capture: { hidden: true, suggestion: SUGGESTION } }).text.length);
});

test("that confirmations had a part is said beside the suggestion, not beside a choice", () => {
  const capture = { hidden: false, learned_from: 12 };
  assert.match(part(ticket({}, { capture }), "learned").text, /12/);
  assert.equal(part(ticket({}, { capture, chosen: "foil" }), "learned"), undefined);
  assert.equal(part(ticket({}, { capture: { hidden: false } }), "learned"), undefined);
});

test("one tap confirms only what is named", () => {
  const may = (decision, chosen) => mayConfirm({ chosen, suggestion: { ...SUGGESTION, decision } });
  assert.deepEqual(["stop", "route", "ask", "unsure", "not_an_item"].map((each) => may(each)),
    [true, true, true, false, false]);
  assert.equal(may("unsure", "foil"), true);
});
