// Cues to the ear, timed by the audio hardware: a look-ahead loop hands each tone to Web Audio well before it is due,
// and takes it back if, before it sounds, it is no longer wanted or the audio clock has moved against the page's.

import { steadily } from "./tick.js";

const LOOK_AHEAD_MS = 1000, EVERY_MS = 50;
const LATE_MS = 50;                                 // a cue later than this is left out, never made up for
const MOVED_S = 0.01, SOUNDING_S = 0.03, STALE_MS = 200;        // after a sleep the browser's pair of the clocks is of before it
const TONES = {
  ready: [[880, 0.05]],
  dose: [[660, 0.09], [990, 0.14]],
  squeeze: [[1320, 0.03]],
  exercise: [[523, 0.16], [784, 0.3]],
  end: [[784, 0.16], [523, 0.16], [392, 0.4]],
  stop: [[220, 0.5]],
  tap: [[1800, 0.02]],
};

export class Cues {
  // `due()`: cues of the coming seconds, [{key, name, at, pitch}] with `at` in performance time (ms).
  constructor(due) {
    this.due = due;
    this.given = new Map();
    this.on = localStorage.getItem("sealwright.sound") !== "off";
  }

  // Browsers let sound start only after a touch or a key.
  async wake() {
    if (!this.context) {
      this.context = new AudioContext({ latencyHint: "interactive" });
      this.context.onstatechange = () => this.look();
      this.out = this.context.createGain();
      this.out.connect(this.context.destination);
      this.level();
    }
    if (this.context.state !== "running") await this.context.resume();
    this.timer ||= steadily(() => this.look(), EVERY_MS);
  }

  level() { if (this.out) this.out.gain.value = this.on ? 0.5 : 0; }

  toggle() {
    this.on = !this.on;
    localStorage.setItem("sealwright.sound", this.on ? "on" : "off");
    this.level();
    return this.on;
  }

  // Audio time (s) at which a tone must start to leave the output at a performance time (ms). Asked anew for each cue:
  // the two clocks drift, and the delay of an output changes with the device.
  audioTime(performanceTime) {
    const { currentTime, outputLatency = 0 } = this.context, now = performance.now();
    const stamp = this.context.getOutputTimestamp?.();
    if (stamp && now - stamp.performanceTime < STALE_MS) {
      return stamp.contextTime + (performanceTime - stamp.performanceTime) / 1000;
    }
    return currentTime - outputLatency + (performanceTime - now) / 1000;
  }

  look() {
    const now = performance.now(), running = this.context.state === "running";
    const due = running ? this.due(now, now + LOOK_AHEAD_MS).filter((cue) => cue.at >= now - LATE_MS) : [];
    this.takeBack(new Map(due.map((cue) => [cue.key, cue])), now);
    for (const cue of due) {
      if (this.given.has(cue.key)) continue;
      const start = Math.max(this.audioTime(cue.at), this.context.currentTime);
      this.given.set(cue.key, { at: cue.at, start, tones: this.play(cue.name, start, cue.pitch) });
    }
  }

  // After a sleep of the device this silences what was to sound in it, and gives anew what is still to come.
  takeBack(wanted, now) {
    for (const [key, { at, start, tones }] of this.given) {
      if (start < this.context.currentTime + SOUNDING_S) {
        if (at < now - 60000) this.given.delete(key);
        continue;
      }
      const cue = wanted.get(key);
      if (cue && Math.abs(this.audioTime(cue.at) - start) < MOVED_S) continue;
      for (const tone of tones) tone.disconnect();
      this.given.delete(key);
    }
  }

  // Returns the sounding parts, one a note.
  play(name, at, pitch = 1) {
    let start = at ?? this.context.currentTime;
    return TONES[name].map(([frequency, lasts]) => {
      const tone = this.context.createOscillator(), gain = this.context.createGain();
      tone.frequency.value = frequency * pitch;
      gain.gain.setValueAtTime(1, start);
      gain.gain.setTargetAtTime(0, start + lasts * 0.6, lasts * 0.2);
      tone.connect(gain).connect(this.out);
      tone.start(start);
      tone.stop(start + lasts + 0.1);
      start += lasts;
      return tone;
    });
  }

  now(name) { if (this.context?.state === "running") this.play(name); }
}

export function speak(text, lang) {
  if (!("speechSynthesis" in window) || !text) return;
  const words = new SpeechSynthesisUtterance(text);
  words.lang = lang;
  speechSynthesis.speak(words);
}
