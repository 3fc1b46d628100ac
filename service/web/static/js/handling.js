/** Cautions about handling a pile: each is shown with the first such item of a sort, then no more. */
export class Handling {
  constructor(sort, words) {
    this.words = words;
    this.key = `tallytare-handling-${sort}`;
    this.heard = new Set(JSON.parse(localStorage.getItem(this.key) ?? "[]"));
  }

  /** The cautions of a category that nobody saw on this device in this sort. */
  due(category) {
    return this.words.handling(category).filter((caution) => !this.heard.has(caution.id));
  }

  /** They were on the ticket when an item was recorded. */
  done(category) {
    for (const caution of this.words.handling(category)) this.heard.add(caution.id);
    localStorage.setItem(this.key, JSON.stringify([...this.heard]));
  }
}
