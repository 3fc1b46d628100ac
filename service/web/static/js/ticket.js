/** The answer on one ticket: caution first, then what it is, where it goes, why, what to check. */
import { blindCaution, blindParts } from "./audit.js";
import { el, swatch } from "./dom.js";
import { leading } from "./words.js";

export const ANSWER_KEYS = ["a", "s", "d", "f", "g", "h", "j", "k"];
export const NOT_SURE_KEY = "x";
/** From this on the top category is worded as probable. */
const LIKELY = 0.5;
const key = (letter) => el("kbd", { "aria-hidden": "true" }, letter);
const inHundred = (p) => `${Math.max(1, Math.min(99, Math.round(p * 100)))} in 100`;

function routeNames(routes) {
  return [...new Map(routes.map((route) => [route.id ?? route.route, route.name])).entries()];
}

const lines = (texts) => el("ul", {}, texts.map((text) => el("li", {}, text)));

function stopBlock(suggestion) {
  if (suggestion.decision !== "stop") return null;
  return el("div", { class: "notice stop", "data-part": "caution" },
    el("p", { class: "shout" }, "Stop. Set it aside; do not sort it by hand."),
    lines(suggestion.cautions.map((caution) => caution.text)));
}

/** Cautions of things that may be sorted stand below the route, the most pressing one in full. */
function careBlock(suggestion, handling) {
  if (suggestion.decision === "stop") return null;
  const [first, ...others] = [...suggestion.cautions, ...handling]
    .map((caution) => caution.text.replace(/^Stop\. /, ""));
  if (!first) return null;
  return el("div", { class: "notice note care", "data-part": "caution" },
    el("p", {}, el("b", {}, "Take care. "), first),
    others.length ? el("details", {}, el("summary", {}, `${others.length} more`), lines(others)) : null);
}

function headline(suggestion, name, chosen) {
  if (chosen) return [el("p", { class: "over" }, "You chose"), el("h2", { tabindex: "-1" }, name)];
  const top = suggestion.categories[0];
  const sure = top && top.p >= LIKELY;
  const words = {
    route: [sure ? "Probably" : "Perhaps", name],
    ask: [sure ? "Probably" : "Perhaps", name],
    stop: ["Treat it as", name],
    unsure: ["Not sure", "Look closer, then choose"],
    not_an_item: ["No item seen", "Fill the frame with one item and take it again"],
  }[suggestion.decision];
  const showOdds = top && ["route", "ask"].includes(suggestion.decision);
  return [
    el("p", { class: "over" }, words[0], showOdds
      ? el("span", { class: "odds" }, ` · ${inHundred(top.p)}`) : null),
    el("h2", { tabindex: "-1" }, words[1]),
  ];
}

function routeBlock(suggestion) {
  const route = suggestion.route;
  if (!route) return null;
  return el("div", { class: "goes", "data-part": "route" },
    swatch(route.id),
    el("div", {},
      el("p", { class: "over" }, "Goes to"),
      el("p", { class: "route-name" }, route.name),
      route.condition ? el("p", {}, route.condition) : null,
      route.note ? el("p", { class: "soft" }, route.note) : null));
}

/** One tap for a pack that still holds something. */
function leftButton(left, onLeft) {
  if (!left.offered) return null;
  return el("button", {
    type: "button", id: "left", class: "left", "aria-pressed": String(left.said), "data-key": "l", onclick: onLeft,
  }, "Something left in it ", key("l"));
}

function why(suggestion, facts, { names, hazard, factWords, onReask }) {
  const reasons = Object.entries(facts).map(([fact, answer]) => [
    `You answered: ${factWords(fact, answer)} `,
    el("button", { type: "button", class: "plain again-fact", onclick: () => onReask(fact) }, "Change",
      el("span", { class: "unseen" }, ` the answer to ${factWords(fact, answer)}`)),
  ]);
  const route = suggestion.route;
  const tops = suggestion.categories.slice(0, 3).filter((each) => each.p >= 0.05);
  const open = tops.map((each) => names(each.id)).join(", ");
  if (suggestion.decision === "stop") {
    if (tops.length > 1) reasons.push(`It may be one of: ${open}. Treat it as the most dangerous of them.`);
  } else if (route && tops.length > 1) {
    reasons.push(`The material is not certain (${open}), but ${inHundred(route.p)} of the probability leads to this route.`);
  } else if (hazard) {
    reasons.push("It may be something dangerous: look first. If you are not sure, set it aside.");
  } else if (suggestion.decision === "ask") {
    reasons.push("Where it goes depends on something the photo can't show. "
      + "Without an answer the more cautious route is recorded.");
  } else if (suggestion.decision === "unsure") {
    reasons.push("No material and no route is likely enough to suggest.");
  }
  if (!reasons.length) return null;
  return el("ul", { class: "why", "data-part": "why" }, reasons.map((line) => el("li", {}, ...[line].flat())));
}

function checks(suggestion) {
  if (!suggestion.check.length) return null;
  return el("div", { "data-part": "check" }, el("h3", {}, "Check"),
    lines(suggestion.check));
}

function question(asked, onAnswer) {
  if (!asked) return null;
  const buttons = asked.answers.filter((answer) => answer.id !== "not_sure").map((answer, i) =>
    el("button", {
      type: "button", "data-answer": answer.id, "data-key": ANSWER_KEYS[i],
      onclick: () => onAnswer(asked.fact, answer.id),
    }, answer.label, ANSWER_KEYS[i] ? key(ANSWER_KEYS[i]) : null));
  buttons.push(el("button", {
    type: "button", class: "plain", "data-answer": "not_sure", "data-key": NOT_SURE_KEY,
    onclick: () => onAnswer(asked.fact, "not_sure"),
  }, "Not sure", key(NOT_SURE_KEY)));
  return el("fieldset", { class: "ask", "data-part": "question" },
    el("legend", {}, asked.text), asked.how ? el("p", {}, asked.how) : null,
    el("div", { class: "acts" }, buttons));
}

function alternatives(suggestion, shown, onPick) {
  const others = suggestion.alternatives.filter((each) => each.category !== shown).slice(0, 3);
  if (!others.length) return null;
  const entry = (other, i) => {
    const routes = routeNames(other.routes);
    return el("li", {}, el("button", {
      type: "button", "data-alternative": other.category, "data-key": String(i + 1),
      onclick: () => onPick(other.category),
    },
    key(String(i + 1)),
    el("span", { class: "alt-name" }, other.name,
      el("span", { class: "odds" }, ` ${inHundred(other.p)}`)),
    el("span", { class: "alt-route" }, routes.map(([id]) => swatch(id)),
      routes.length ? routes.map(([, name]) => name).join(" or ") : "Route not decided")));
  };
  return el("div", { "data-part": "alternatives" },
    el("h3", {}, suggestion.decision === "unsure" ? "It may be" : "Or is it"),
    el("ol", { class: "alternatives" }, others.map(entry)));
}

/** Says that what was confirmed before had a part in the suggestion. */
function learnedLine(capture) {
  const from = capture?.learned_from ?? null;
  if (from === null) return null;
  const words = from === 0 ? "This suggestion also uses what another study learned."
    : `This suggestion also uses your own confirmations (${from} so far).`;
  return el("p", { class: "small soft", "data-part": "learned" }, words);
}

/** Builds the ticket's upper part; `shown` is what it is counted as. */
export function ticketParts(view, {
  names, handling, hazard, left, factWords, factQuestion, onAnswer, onPick, onReask, onLeft,
}) {
  const { suggestion, chosen, facts, notice, capture } = view;
  if (capture?.hidden && !chosen) return blindParts(suggestion);
  const asked = view.reasked ? factQuestion(view.reasked) : suggestion.question;
  const shown = chosen ?? leading(suggestion);
  // A question is the next thing to do, so that its reasons stand behind it.
  const reasons = why(suggestion, facts, { names, hazard, factWords, onReask });
  return [
    capture?.hidden && suggestion.decision !== "stop" ? blindCaution(capture.suggestion) : null,
    stopBlock(suggestion),
    ...headline(suggestion, names(shown), chosen),
    notice ? el("p", { class: "notice note" }, notice) : null,
    routeBlock(suggestion),
    leftButton(left, onLeft),
    asked ? null : reasons,
    careBlock(suggestion, handling),
    question(asked, onAnswer),
    asked ? reasons : null,
    checks(suggestion),
    alternatives(suggestion, shown, onPick),
    chosen ? null : learnedLine(capture),
    suggestion.programme ? el("p", { class: "small soft" }, suggestion.programme.statement) : null,
  ].filter(Boolean);
}

/** Whether one tap records the category in the headline, or a person has to name one first. */
export function mayConfirm(view) {
  return Boolean(view.chosen) || ["stop", "route", "ask"].includes(view.suggestion.decision);
}
