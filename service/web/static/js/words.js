/** Names for ids, and what can be said about a category when the server is away. */

/** The category that a ticket is about, if any. Where something dangerous is likely enough it is
 * that, which need not be the most probable one; where nothing is named there is none. */
export function leading(suggestion) {
  if (suggestion.decision === "stop" && suggestion.alternatives.length) {
    return suggestion.alternatives[0].category;
  }
  if (["unsure", "not_an_item"].includes(suggestion.decision)) return null;
  return suggestion.categories[0]?.id ?? null;
}

export class Words {
  constructor(page) {
    this.categories = new Map(page.groups.flatMap((group) => group.categories).map((each) => [each.id, each]));
    this.facts = new Map(page.facts.map((fact) => [fact.id, fact]));
    this.programme = page.programme;
  }

  category(id) {
    return this.categories.get(id)?.name ?? id;
  }

  fact(id, answer) {
    const fact = this.facts.get(id);
    if (answer === "not_sure") return `${fact?.question ?? id} Not sure.`;
    const label = fact?.answers.find((each) => each.id === answer)?.label ?? answer;
    return `${fact?.question ?? id} ${label}.`;
  }

  /** A fact's question in the shape that suggestions have. */
  question(id) {
    const fact = this.facts.get(id);
    return { fact: id, text: fact.question, how: fact.how, answers: fact.answers };
  }

  /** Whether a suggestion asks for a hazard, so that nothing is put on a pile before the answer. */
  looksForHazard(suggestion) {
    return Boolean(suggestion.question && this.facts.get(suggestion.question.fact)?.hazard);
  }

  /** What to know about handling a category. */
  handling(id) {
    return this.categories.get(id)?.handling ?? [];
  }

  /** Where a pack of this category goes that still holds something, null if the rules don't say. */
  left(id) {
    return this.categories.get(id)?.left ?? null;
  }

  /** Answers that say something; "not sure" leaves a fact open and is not recorded. */
  known(facts) {
    return Object.fromEntries(Object.entries(facts).filter(([, answer]) => answer !== "not_sure"));
  }

  /** What the ticket shows for a category that a person chose, before or without an answer. */
  suggestionWithoutServer(id, before, facts) {
    const category = this.categories.get(id);
    const left = facts.empty === "no" ? category.left : null;
    const only = left ?? (category.routes.length === 1 ? category.routes[0] : null);
    const decided = only && { ...only, p: 1 };
    const open = decided ? [] : [
      `The route is one of: ${category.routes.map((route) => route.name).join("; ")}. `
      + "Read its conditions in the guide.",
    ];
    return {
      decision: category.stop ? "stop" : "route",
      categories: [{ id, p: 1 }],
      route: decided,
      question: null,
      cautions: category.cautions,
      check: open,
      alternatives: before?.alternatives ?? [],
      programme: this.programme,
    };
  }

  heard(suggestion, hidden = false) {
    if (hidden) return `${suggestion.cautions.length ? "Take care. " : ""}You say first: choose its pile.`;
    const top = this.category(leading(suggestion));
    if (suggestion.decision === "stop") return `Stop. Set it aside. It may be ${top}.`;
    if (suggestion.decision === "unsure") return "Not sure. Look closer, then choose.";
    if (suggestion.decision === "not_an_item") return "No item seen. Take it again.";
    const route = suggestion.route ? ` Goes to ${suggestion.route.name}.` : "";
    const question = suggestion.question ? ` ${suggestion.question.text}` : "";
    return `Probably ${top}.${route}${question}`;
  }
}
