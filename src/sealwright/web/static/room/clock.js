// The room's clock: runs evenly whatever happens to the computer's own, and goes on in the right second after a reload.
// room time (ms) = performance.now() + a base fixed when the page loads.

const KEY = "sealwright.beat";

function readBeat() {
  try { return JSON.parse(localStorage.getItem(KEY)) || {}; } catch { return {}; }
}

export class RoomClock {
  constructor() {
    const beat = readBeat();
    this.correction = beat.correction || 0;         // room minus wall clock, carried over reloads
    this.offset = beat.offset ?? null;              // room minus server, as last seen
    this.unsure = beat.unsure || 0;                 // a step of the wall clock not yet explained
    this.lastBeat = beat.room ?? null;              // when this room was last alive
    this.base = Date.now() + this.correction - performance.now();
    this.wallGap = this.#gap();
  }

  now() { return Math.round(performance.now() + this.base); }

  at(performanceTime) { return performanceTime + this.base; }

  toPerformance(roomTime) { return roomTime - this.base; }

  #gap() { return Date.now() - performance.now(); }

  // How far the wall clock stepped since last asked (ms); small drift is taken in silently.
  stepped() {
    const gap = this.#gap(), step = gap - this.wallGap;
    this.wallGap = gap;
    if (Math.abs(step) < 1000) return 0;
    this.correction -= step;
    return Math.round(step);
  }

  beat() {
    localStorage.setItem(KEY, JSON.stringify({
      room: this.now(), correction: this.correction, offset: this.offset, unsure: this.unsure,
    }));
  }

  // A step not yet explained is remembered over a reload; 0: explained.
  doubt(step) {
    this.unsure = step;
    this.beat();
  }

  // The server's clock was `serverNow` between the two room times. Returns room minus server (ms).
  compare(serverNow, before, after) {
    this.offset = Math.round((before + after) / 2 - serverNow);
    return this.offset;
  }

  // The server's steady clock (it runs on through sleep and knows no clock changes) was `steady` between two room times.
  compareSteady({ steady, boot }, before, after) { this.steady = { boot, offset: (before + after) / 2 - steady }; }

  // The wall clock went ahead by `step`: did this computer sleep? Then the room's clock stood still meanwhile and is put
  // forward. Returns by how much (ms); 0: the wall clock was set.
  woke(step, { steady, boot }, before, after) {
    if (!this.steady || this.steady.boot !== boot) return 0;
    const behind = Math.round(steady + this.steady.offset - (before + after) / 2);
    if (behind < 1000 || Math.abs(behind - step) > Math.max(2000, step / 20)) return 0;
    this.base += behind;
    this.correction += step;
    return behind;
  }

  // After a reload: did the wall clock step while the page was gone? If so go on by the server's clock.
  resume(serverNow, before, after) {
    const middle = (before + after) / 2;
    const expected = this.offset === null ? null : serverNow + this.offset;
    if (expected === null || Math.abs(middle - expected) < 2000) { this.compare(serverNow, before, after); return 0; }
    const step = Math.round(middle - expected);
    this.base -= step;
    this.correction -= step;
    return step;
  }
}
