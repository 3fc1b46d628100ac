/** What was entered and is not yet on the server, in order, in IndexedDB.
 *
 * Everything the sorting page records goes through here first. An entry leaves only when the
 * server has answered it; the ids in it were made by this page, so sending it twice counts once.
 */
import { Refused, Unreachable, call } from "./api.js";

const STORE = "unsent";
const RETRY_MS = 4000;
/** After so many "internal error" answers to one entry it no longer holds up those behind it. */
const MOST_TRIES = 3;

function openBox() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open("tallytare-outbox", 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore(STORE, { keyPath: "seq", autoIncrement: true });
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** Lasts as long as the page: some browsers refuse IndexedDB, and a full phone takes nothing new. */
function memoryBox() {
  const entries = new Map();
  let last = 0;
  return {
    lasting: false,
    get size() { return entries.size; },
    async add(entry) {
      last -= 1; // below zero, so that it differs from what the database numbers
      entries.set(last, { ...entry, seq: last });
      return last;
    },
    async remove(seq) { entries.delete(seq); },
    async update(entry) { entries.set(entry.seq, entry); },
    async all() { return [...entries.values()]; },
  };
}

function databaseBox(database) {
  let open = database;
  const once = (mode, work) => new Promise((resolve, reject) => {
    // strict: what is said to be kept here has reached the disk
    const transaction = open.transaction(STORE, mode, { durability: "strict" });
    const request = work(transaction.objectStore(STORE));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error);
  });
  const run = async (mode, work) => {
    try {
      return await once(mode, work);
    } catch (error) {
      if (error?.name !== "InvalidStateError") throw error;
      open = await openBox(); // the system closed it while the page was in the background
      return once(mode, work);
    }
  };
  return {
    add: (entry) => run("readwrite", (store) => store.add(entry)),
    remove: (seq) => run("readwrite", (store) => store.delete(seq)),
    /** Another tab may have sent and removed the entry meanwhile: it must not come back. */
    update: (entry) => run("readwrite", (store) => {
      const asked = store.get(entry.seq);
      asked.onsuccess = () => { if (asked.result) store.put(entry); };
      return asked;
    }),
    all: () => run("readonly", (store) => store.getAll()),
  };
}

/** What the database has no room for is kept in the page, and goes out after all that it has.
 *
 * A database that can't be read or written any more loses nothing while the page is open: the page
 * goes by what it has seen there and by what it has done since. It never rejects.
 */
function roomyBox(database) {
  const spare = memoryBox();
  const unwritten = new Map(); // by seq: how an entry has to be, or null for removed
  let known = new Map();
  let readable = true;
  const read = async () => {
    try {
      known = new Map((await database.all()).map((entry) => [entry.seq, entry]));
      readable = true;
    } catch {
      readable = false;
    }
    for (const [seq, entry] of unwritten) {
      if (entry && known.has(seq)) known.set(seq, entry);
      else known.delete(seq);
    }
    return [...known.values()];
  };
  const write = async (seq, entry, written) => {
    if (entry) known.set(seq, entry);
    else known.delete(seq);
    try {
      await written;
      unwritten.delete(seq);
    } catch {
      unwritten.set(seq, entry);
    }
  };
  return {
    get lasting() { return spare.size === 0 && readable; },
    async add(entry) {
      if (spare.size > 0) return spare.add(entry);
      try {
        const seq = await database.add(entry);
        known.set(seq, { ...entry, seq });
        return seq;
      } catch {
        return spare.add(entry);
      }
    },
    remove: (seq) => (seq < 0 ? spare.remove(seq) : write(seq, null, database.remove(seq))),
    update: (entry) => (entry.seq < 0 ? spare.update(entry)
      : write(entry.seq, entry, database.update(entry))),
    all: async () => [...await read(), ...await spare.all()],
  };
}

async function transmit(entry) {
  if (!entry.photo) return call("POST", entry.url, { json: entry.json });
  const form = new FormData();
  form.append("capture_id", entry.captureId);
  form.append("photo", new Blob([entry.photo], { type: entry.photoType }), "photo.jpg");
  return call("POST", entry.url, { form });
}

export class Outbox extends EventTarget {
  constructor() {
    super();
    this.waiters = new Map();
    this.failures = new Map();
    this.draining = null;
    this.again = false;
    this.away = false;
    this.reason = "";
    this.probe = null;
    this.stale = false;
  }

  async open() {
    try {
      this.box = roomyBox(databaseBox(await openBox()));
      navigator.storage?.persist?.().catch(() => {}); // else a full phone may throw it away
    } catch {
      this.box = memoryBox();
    }
  }

  /** Sends what waits. `probe` learns what happened meanwhile: at once if the page is `stale`, and
   * whenever the server is back, since another tab may have sent what waited. */
  async start(probe, stale) {
    this.probe = probe;
    this.stale = stale;
    this.away = stale;
    setInterval(() => { if (this.away) this.drain(); }, RETRY_MS);
    window.addEventListener("online", () => this.drain());
    await this.drain();
  }

  /** Keeps the entry, then sends it. Rejects with Unreachable while it goes on waiting here. */
  async send(entry) {
    const seq = await this.box.add({ ...entry, at: new Date().toISOString() });
    const answer = new Promise((resolve, reject) => {
      this.waiters.set(seq, { resolve, reject, entry: { ...entry, seq } });
    });
    this.drain();
    return answer;
  }

  async waiting() {
    return (await this.box.all()).filter((entry) => !entry.refused);
  }

  async refused() {
    return (await this.box.all()).filter((entry) => entry.refused);
  }

  async retry(entry) {
    await this.box.update({ ...entry, refused: "" });
    this.failures.delete(entry.seq);
    await this.drain();
  }

  async forget(seq) {
    await this.box.remove(seq);
    this.announce();
  }

  drain() {
    this.again = true;
    if (!this.draining) {
      this.draining = this.drainAll().finally(() => {
        this.draining = null;
        if (this.again) this.drain(); // something came in between the last look and now
      });
    }
    return this.draining;
  }

  async drainAll() {
    while (this.again) {
      this.again = false;
      const awaited = [...this.waiters.keys()];
      const kept = await this.box.all();
      for (const entry of [...this.sentElsewhere(awaited, kept), ...kept.filter((each) => !each.refused)]) {
        if (!(await this.deliver(entry))) return;
      }
      await this.ask();
      await this.announce();
    }
  }

  /** Another tab has sent these for us: sent once more, they get the same answer. */
  sentElsewhere(awaited, kept) {
    const waiting = new Set(kept.filter((each) => !each.refused).map((each) => each.seq));
    return awaited.filter((seq) => !waiting.has(seq) && this.waiters.has(seq))
      .map((seq) => this.waiters.get(seq).entry);
  }

  /** A page that opened without the server, or was without it for a while, has to learn what happened
   * meanwhile: another tab may have sent some of what waited here. */
  async ask() {
    if (!this.stale) return;
    try {
      await this.probe();
      this.stale = false;
      this.away = false;
    } catch (error) {
      this.away = true;
      this.reason = error instanceof Unreachable ? error.message : "";
    }
  }

  /** Returns whether the next entry may go. */
  async deliver(entry) {
    try {
      const answer = await transmit(entry);
      await this.box.remove(entry.seq);
      this.away = false;
      const waiter = this.settle(entry.seq);
      if (waiter) waiter.resolve(answer);
      else this.dispatchEvent(new CustomEvent("late", { detail: { entry, answer } }));
      await this.announce();
      return true;
    } catch (error) {
      if (error instanceof Refused || this.hopeless(entry, error)) {
        await this.keepRefused(entry, error);
        return true;
      }
      this.away = true;
      this.stale = true;
      this.again = false;
      this.reason = error instanceof Unreachable ? error.message : "";
      for (const seq of [...this.waiters.keys()]) this.settle(seq).reject(new Unreachable(this.reason));
      await this.announce();
      return false;
    }
  }

  hopeless(entry, error) {
    if (error.status !== 500) return false;
    const failures = (this.failures.get(entry.seq) ?? 0) + 1;
    this.failures.set(entry.seq, failures);
    return failures >= MOST_TRIES;
  }

  /** A refused entry stays in sight when nobody waits for its answer any more. */
  async keepRefused(entry, error) {
    const waiter = this.settle(entry.seq);
    if (waiter) {
      await this.box.remove(entry.seq);
      waiter.reject(error);
    } else {
      await this.box.update({ ...entry, refused: error.message });
    }
    await this.announce();
  }

  settle(seq) {
    const waiter = this.waiters.get(seq);
    this.waiters.delete(seq);
    return waiter;
  }

  async announce() {
    const [waiting, refused] = [await this.waiting(), await this.refused()];
    this.dispatchEvent(new CustomEvent("change", {
      detail: { waiting, refused, away: this.away, reason: this.reason, lasting: this.box.lasting },
    }));
  }
}
