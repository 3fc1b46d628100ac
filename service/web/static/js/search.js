/** The search for a pile, as classifier/rules/search.py does it: one table of cases tests both. */

const SKIPPED = new Set(["a", "an", "and", "for", "from", "in", "my", "of", "or", "some", "the"]);
const SHORTEST_PLURAL = 4;
const ONE_SLIP = 4;
const TWO_SLIPS = 6;
const [WHOLE, PART, BEGINS, HOLDS, MENTIONED, NEAR] = [0, 1, 2, 3, 4, 5];

function stem(word) {
  const plural = word.endsWith("s") && !["ss", "us", "is"].some((end) => word.endsWith(end));
  const single = (plural && word.length >= SHORTEST_PLURAL ? word.slice(0, -1) : word)
    .replace(/(?<=o|x|z|ch|sh|ss)e$/, "").replace(/[fv]e$/, "f");
  if (single.endsWith("ie")) return single.slice(0, -1);
  return single.endsWith("y") ? `${single.slice(0, -1)}i` : single;
}

export function stemsOf(text) {
  return text.toLowerCase().normalize("NFD").replace(/\p{M}/gu, "").replace(/['’]/g, "")
    .replace(/[^a-z0-9]+/g, " ").split(" ").filter((word) => word && !SKIPPED.has(word)).map(stem);
}

/** Letters mistyped, a swap of two neighbours counting once. */
function distance(one, other) {
  let [before, last] = [[], [...Array(other.length + 1).keys()]];
  for (let i = 1; i <= one.length; i += 1) {
    const row = [i];
    for (let j = 1; j <= other.length; j += 1) {
      const same = one[i - 1] === other[j - 1];
      row[j] = Math.min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (same ? 0 : 1));
      const swapped = i > 1 && j > 1 && one[i - 1] === other[j - 2] && one[i - 2] === other[j - 1];
      if (swapped) row[j] = Math.min(row[j], before[j - 2] + 1);
    }
    [before, last] = [last, row];
  }
  return last[other.length];
}

function slips(typed, written) {
  const length = Math.min(typed.length, written.length);
  const most = length >= TWO_SLIPS ? 2 : length >= ONE_SLIP ? 1 : 0;
  if (Math.abs(typed.length - written.length) > most) return Infinity;
  const count = distance(typed, written);
  return count <= most ? count : Infinity;
}

const slipsOfAll = (these, those) => these.reduce(
  (total, each) => total + Math.min(...those.map((other) => slips(each, other))), 0);
const within = (these, those) => these.every((each) => those.includes(each));

function fitOf(wanted, name) {
  const [typed, written] = [wanted.join(""), name.join("")];
  if (typed === written) return [WHOLE, 0];
  if (within(wanted, name)) return [PART, 0];
  const begins = wanted.every((each) => name.some((word) => word.startsWith(each)));
  if (written.startsWith(typed) || begins) return [BEGINS, 0];
  if (within(name, wanted)) return [HOLDS, 0];
  const count = slips(typed, written);
  const least = count < Infinity ? count : Math.min(slipsOfAll(wanted, name), slipsOfAll(name, wanted));
  return least < Infinity ? [NEAR, least] : null;
}

function compare(one, other) {
  const at = one.findIndex((value, i) => value !== other[i]);
  return at < 0 ? 0 : one[at] - other[at];
}

export class Search {
  /** `categories` as the page holds them: id, name, group, stop, words, belongs. */
  constructor(categories) {
    this.entries = categories.map((each) => ({
      id: each.id, stop: each.stop, residual: each.group === "residual",
      names: [each.name, ...each.words].map(stemsOf),
      phrases: each.belongs.flatMap((line) => line.split(/[,;:]/)).map(stemsOf),
    }));
  }

  /** Ids of the categories that a text may mean, the likeliest first, hazards before others. */
  find(text) {
    const wanted = stemsOf(text);
    if (!wanted.length) return [];
    const found = this.entries.map((entry) => ({ entry, fit: this.best(wanted, entry) })).filter(({ fit }) => fit);
    const used = found.some(({ fit }) => fit[0] <= BEGINS);
    const kept = used ? found.filter(({ fit }) => fit[0] !== NEAR) : found;
    const order = ({ entry, fit: [fit, count] }) => {
      const waste = Number(entry.residual && fit > WHOLE);
      return used ? [waste, fit, Number(!entry.stop), count] : [waste, Number(!entry.stop), fit, count];
    };
    return kept.map((each) => ({ id: each.entry.id, key: order(each) }))
      .sort((one, other) => compare(one.key, other.key)).map(({ id }) => id);
  }

  best(wanted, entry) {
    const fits = entry.names.map((name) => fitOf(wanted, name)).filter(Boolean);
    if (entry.phrases.some((phrase) => within(wanted, phrase))) fits.push([MENTIONED, 0]);
    return fits.sort(compare)[0] ?? null;
  }
}
