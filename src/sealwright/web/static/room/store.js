// What the room has recorded, kept on this device until the server has it: nothing is shown as done before it is here.

const NAME = "sealwright", VERSION = 1;

function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function finished(tx) {
  return new Promise((resolve, reject) => {
    tx.oncomplete = () => resolve();
    tx.onabort = tx.onerror = () => reject(tx.error);
  });
}

export async function openStore() {
  const request = indexedDB.open(NAME, VERSION);
  request.onupgradeneeded = () => {
    const db = request.result;
    db.createObjectStore("log", { keyPath: "id" }).createIndex("stream", "stream");
    db.createObjectStore("outbox", { keyPath: "n", autoIncrement: true });
    db.createObjectStore("refused", { keyPath: "n", autoIncrement: true });
    db.createObjectStore("lanes", { keyPath: "test" });
  };
  const db = await asked(request);
  db.onversionchange = () => db.close();
  navigator.storage?.persist?.();
  const store = new Store(db);
  await store.goOn();
  return store;
}

class Store {
  constructor(db) { this.db = db; this.order = 0; }

  #tx(stores, mode) { return this.db.transaction(stores, mode, { durability: "strict" }); }

  // The order of what is kept goes on from the last one, whatever the wall clock says by now.
  async goOn() {
    const rows = await asked(this.#tx(["log"], "readonly").objectStore("log").getAll());
    this.order = rows.reduce((last, row) => Math.max(last, row.order), 0);
  }

  // Events are on this device when this returns. `marks` are signature drawings, sent before the events that name them.
  async record(events, marks = []) {
    const tx = this.#tx(["log", "outbox"], "readwrite");
    for (const mark of marks) tx.objectStore("outbox").add({ type: "mark", body: mark });
    for (const event of events) {
      tx.objectStore("log").put({ ...event, order: this.#next() });
      tx.objectStore("outbox").add({ type: "event", body: event });
    }
    await finished(tx);
  }

  // Events that the server already has, taken in from there.
  async takeIn(events) {
    const tx = this.#tx(["log"], "readwrite");
    for (const event of events) tx.objectStore("log").put({ ...event, order: this.#next() });
    await finished(tx);
  }

  #next() { this.order = Math.max(this.order + 1, Date.now() * 1000); return this.order; }

  async events(test) {
    const rows = await asked(this.#tx(["log"], "readonly").objectStore("log").index("stream").getAll(`test:${test}`));
    rows.sort((a, b) => a.order - b.order);
    return rows.map(({ order, ...event }) => event);
  }

  async outbox(limit) { return asked(this.#tx(["outbox"], "readonly").objectStore("outbox").getAll(null, limit)); }

  async waiting() { return asked(this.#tx(["outbox"], "readonly").objectStore("outbox").count()); }

  // Events of one test that the server does not have yet.
  async waitingOf(test) { return (await this.outbox()).filter((row) => row.body.stream === `test:${test}`).length; }

  async delivered(rows) {
    const tx = this.#tx(["outbox"], "readwrite");
    for (const row of rows) tx.objectStore("outbox").delete(row.n);
    await finished(tx);
  }

  async refuse(row, why) {
    const tx = this.#tx(["outbox", "refused"], "readwrite");
    const { n, ...kept } = row;
    tx.objectStore("outbox").delete(n);
    tx.objectStore("refused").add({ ...kept, why });
    await finished(tx);
  }

  async refused() { return asked(this.#tx(["refused"], "readonly").objectStore("refused").getAll()); }

  async dropRefused() {
    const tx = this.#tx(["refused"], "readwrite");
    tx.objectStore("refused").clear();
    await finished(tx);
  }

  async lanes() {
    const rows = await asked(this.#tx(["lanes"], "readonly").objectStore("lanes").getAll());
    return rows.sort((a, b) => a.order - b.order);
  }

  async keepLane(lane) {
    const tx = this.#tx(["lanes"], "readwrite");
    tx.objectStore("lanes").put(lane);
    await finished(tx);
  }

  // A lane leaves the room once closed and delivered; its events go with it.
  async dropLane(test) {
    const ids = (await this.events(test)).map((e) => e.id);
    const tx = this.#tx(["lanes", "log"], "readwrite");
    tx.objectStore("lanes").delete(test);
    for (const id of ids) tx.objectStore("log").delete(id);
    await finished(tx);
  }
}
