/** What the scripts need of a browser, as little as they use. */

/** A server whose answers a test sets: a function of the request to [status, body], or away. */
export class FakeServer {
  constructor() {
    this.requests = [];
    this.away = false;
    this.answer = () => [201, {}];
    globalThis.fetch = async (url, { method, body }) => {
      if (this.away) throw new TypeError("no network");
      const sent = typeof body === "string" ? JSON.parse(body) : body;
      this.requests.push({ method, url, sent });
      const [status, given] = await this.answer({ url, sent });
      return new Response(typeof given === "string" ? given : JSON.stringify(given), { status });
    };
  }
}

function soon(request, work) {
  queueMicrotask(() => {
    try {
      request.result = work();
      request.onsuccess?.();
    } catch (error) {
      request.error = error;
      request.onerror?.();
    }
  });
  return request;
}

/** One object store with numbered keys; `broken` and `full` make it fail as a phone does. */
export class FakeDatabase {
  constructor() {
    this.rows = new Map();
    this.last = 0;
    this.broken = false;
    this.full = false;
    this.opened = 0;
    globalThis.indexedDB = { open: () => this.open() };
    globalThis.navigator ??= {};
  }

  open() {
    this.opened += 1;
    return soon({}, () => ({ transaction: () => this.transaction(), createObjectStore() {} }));
  }

  transaction() {
    if (this.closed) {
      this.closed = false;
      throw Object.assign(new Error("closed"), { name: "InvalidStateError" });
    }
    const transaction = { error: null };
    const run = (writes, work) => {
      if (this.broken) transaction.error = new Error("broken");
      else if (this.full && writes) transaction.error = new Error("full");
      return soon({}, () => (transaction.error ? undefined : work()));
    };
    transaction.objectStore = () => ({
      add: (row) => run(true, () => {
        this.last += 1;
        this.rows.set(this.last, { ...row, seq: this.last });
        return this.last;
      }),
      put: (row) => run(true, () => { this.rows.set(row.seq, row); }),
      delete: (seq) => run(false, () => { this.rows.delete(seq); }),
      get: (seq) => run(false, () => this.rows.get(seq)),
      getAll: () => run(false, () => [...this.rows.values()]),
    });
    setImmediate(() => (transaction.error ? transaction.onabort() : transaction.oncomplete()));
    return transaction;
  }
}

class FakeNode extends EventTarget {
  constructor(tag) {
    super();
    this.tag = tag;
    this.attributes = {};
    this.children = [];
  }

  setAttribute(name, value) { this.attributes[name] = value; }
  append(...children) { this.children.push(...children); }
  get text() { return this.children.map((each) => each.text ?? String(each)).join(""); }

  /** Every node below that has an attribute, in the order of the page. */
  all(name) {
    return this.children.filter((each) => each instanceof FakeNode)
      .flatMap((each) => [...(name in each.attributes ? [each] : []), ...each.all(name)]);
  }
}

/** Makes `document` and gives a holder to append to. */
export function fakePage() {
  const make = (tag) => new FakeNode(tag);
  globalThis.document = { createElement: make, createElementNS: (_, tag) => make(tag) };
  return make("main");
}
