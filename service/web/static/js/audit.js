/** Photos drawn to check the suggestions: the sorter says first, the suggestion is shown after. */
import { Refused, call } from "./api.js";
import { el } from "./dom.js";

const inHundred = (p) => `${Math.max(1, Math.min(99, Math.round(p * 100)))} in 100`;

/** What the ticket says before the choice; a hazard is announced, though not which. */
export function blindParts(suggestion) {
  return [
    el("p", { class: "over" }, "Blind check"),
    el("h2", { tabindex: "-1" }, "You say first"),
    el("p", {}, "This photo was chosen at random to check the suggestions. Choose its pile from the list. "
      + "The suggestion is shown after that."),
    blindCaution(suggestion),
  ].filter(Boolean);
}

export function blindCaution(suggestion) {
  if (!suggestion.cautions.length) return null;
  return el("div", { class: "notice stop", "data-part": "caution" },
    el("p", { class: "shout" }, "Take care before you touch it."),
    ...suggestion.cautions.map((caution) => el("p", {}, caution.text)));
}

export class BlindCheck {
  constructor(holder, { words, onChange, onProblem }) {
    this.holder = holder;
    this.body = holder.querySelector("[data-body]");
    this.words = words;
    this.actions = { onChange, onProblem };
    this.expected = new Set();
  }

  /** Remembers that a photo's suggestion is hidden until its pile is recorded. */
  expect(capture) {
    if (capture.hidden) this.expected.add(capture.id);
  }

  /** Shows what was hidden once the choice stands in the log. */
  async recorded(item) {
    if (item.voided || !this.expected.delete(item.capture_id)) return;
    try {
      this.show(await call("GET", `/api/captures/${item.capture_id}`), item);
    } catch (error) {
      if (error instanceof Refused) this.actions.onProblem(error.message);
    }
  }

  show(capture, item) {
    const top = capture.suggestion.alternatives[0];
    this.body.replaceChildren(...(top ? this.compared(capture, item, top) : [
      el("p", {}, "The model had nothing to suggest for this photo."), this.closing("Go on")]));
    this.holder.hidden = false;
    this.holder.scrollIntoView({ block: "nearest" });
  }

  compared(capture, item, top) {
    const agrees = top.category === item.category;
    const said = el("p", {}, `You chose ${item.category_name}. The suggestion was `,
      el("b", {}, this.words.category(top.category)), ` (${inHundred(top.p)}): `,
      el("b", { "data-verdict": agrees ? "agrees" : "differs" }, agrees ? "agrees." : "differs."));
    const { decision, cautions } = capture.suggestion;
    const shown = decision === "stop" ? cautions : cautions.slice(0, 1);
    const counts = el("p", { class: "small soft" },
      "Your first choice counts in the blind check, whatever you do now.");
    const acts = agrees ? [this.closing("Go on")] : [
      this.closing(`Keep mine: ${item.category_name}`),
      el("button", {
        type: "button", class: "plain", "data-change": top.category,
        onclick: () => { this.close(); this.actions.onChange(item, top.category); },
      }, `Change to ${this.words.category(top.category)}`),
    ];
    return [said, ...(agrees ? [] : shown.map((each) => el("p", { class: "notice note" }, each.text))), counts,
      el("div", { class: "acts" }, acts)].filter(Boolean);
  }

  closing(words) {
    return el("button", { type: "button", "data-keep": true, onclick: () => this.close() }, words);
  }

  close() {
    this.holder.hidden = true;
    this.body.replaceChildren();
  }
}
