// Delivers the outbox in order. The server knows every event by its id, so sending one twice is sending it once.

const BATCH = 50, PAUSES = [300, 600, 1200, 2500, 5000];

export class Sender {
  // `news(state)`: {state: "delivered" | "waiting" | "away" | "trouble" | "stale", waiting, refused}
  constructor(store, clock, build, news) {
    Object.assign(this, { store, clock, build, news, fails: 0, busy: false, again: false });
    addEventListener("online", () => this.wake());
    addEventListener("pageshow", () => this.wake());
  }

  wake() {
    clearTimeout(this.timer);
    if (this.busy) { this.again = true; return; }
    this.busy = true;
    this.again = false;
    const run = () => this.#empty();
    // One sender at a time over all tabs.
    const work = navigator.locks ? navigator.locks.request("sealwright-sender", run) : run();
    work.catch((error) => { console.error(error); this.#later(); })
      .finally(() => { this.busy = false; if (this.again) this.wake(); });
  }

  #later() {
    const pause = PAUSES[Math.min(this.fails++, PAUSES.length - 1)];
    this.timer = setTimeout(() => this.wake(), pause);
  }

  async #tell(state, extra = {}) {
    this.news({ state, waiting: await this.store.waiting(), refused: await this.store.refused(), ...extra });
  }

  async #empty() {
    for (;;) {
      const rows = await this.store.outbox(BATCH);
      if (!rows.length) { this.fails = 0; return this.#tell("delivered"); }
      const batch = rows[0].type === "mark" ? rows.slice(0, 1) : rows.slice(0, firstMark(rows));
      const outcome = await this.#send(batch);
      if (outcome === "away" || outcome === "trouble") { this.#later(); return this.#tell(outcome); }
      if (outcome === "stale") return this.#tell("stale");
      this.fails = 0;
    }
  }

  async #send(batch) {
    const mark = batch[0].type === "mark";
    const before = this.clock.now();
    const body = mark ? batch[0].body : { page: this.build, sent_at: before, events: batch.map((r) => r.body) };
    let response, answer;
    try {
      response = await fetch(mark ? "/api/marks" : "/api/events", {
        method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
        signal: AbortSignal.timeout(10000),
      });
      answer = await response.json();
    } catch { return "away"; }
    if (response.ok) {
      this.clock.compare(answer.now, before, this.clock.now());
      await this.store.delivered(batch);
      return "sent";
    }
    if (answer.error === "stale-page") return "stale";
    if (response.status >= 500 || response.status === 408 || response.status === 429) return "trouble";
    await this.#setAside(batch, answer);
    return "sent";
  }

  // The server refuses one event of the batch and has taken none: set that one aside, never drop it, and go on.
  async #setAside(batch, answer) {
    const index = /^events\[(\d+)\]/.exec(answer.place || "");
    const faulty = batch[index ? Number(index[1]) : 0] || batch[0];
    await this.store.refuse(faulty, answer);
    await this.#tell("waiting");
  }
}

function firstMark(rows) {
  const at = rows.findIndex((r) => r.type === "mark");
  return at < 0 ? rows.length : at;
}
