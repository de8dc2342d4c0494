// Cues to the ear, timed by the audio hardware: a look-ahead loop hands each tone to Web Audio before it is due.

const LOOK_AHEAD_MS = 250, EVERY_MS = 25;
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
    this.context ||= new AudioContext({ latencyHint: "interactive" });
    if (!this.out) {
      this.out = this.context.createGain();
      this.out.connect(this.context.destination);
      this.level();
    }
    if (this.context.state === "suspended") await this.context.resume();
    this.timer ||= setInterval(() => this.look(), EVERY_MS);
  }

  level() { if (this.out) this.out.gain.value = this.on ? 0.5 : 0; }

  toggle() {
    this.on = !this.on;
    localStorage.setItem("sealwright.sound", this.on ? "on" : "off");
    this.level();
    return this.on;
  }

  // Audio time (s) of a performance time (ms).
  audioTime(performanceTime) {
    const stamp = this.context.getOutputTimestamp?.();
    if (stamp && stamp.performanceTime > 0) {
      return stamp.contextTime + (performanceTime - stamp.performanceTime) / 1000;
    }
    return this.context.currentTime + (performanceTime - performance.now()) / 1000;
  }

  look() {
    if (this.context?.state !== "running") return;
    const now = performance.now();
    for (const cue of this.due(now, now + LOOK_AHEAD_MS)) {
      if (this.given.has(cue.key) || cue.at < now - 50) continue;
      this.given.set(cue.key, now);
      this.play(cue.name, Math.max(this.audioTime(cue.at), this.context.currentTime), cue.pitch || 1);
    }
    if (this.given.size > 500) for (const [key, at] of this.given) if (at < now - 60000) this.given.delete(key);
  }

  play(name, at, pitch = 1) {
    if (!this.context) return;
    let start = at ?? this.context.currentTime;
    for (const [frequency, lasts] of TONES[name]) {
      const tone = this.context.createOscillator(), gain = this.context.createGain();
      tone.frequency.value = frequency * pitch;
      gain.gain.setValueAtTime(1, start);
      gain.gain.setTargetAtTime(0, start + lasts * 0.6, lasts * 0.2);
      tone.connect(gain).connect(this.out);
      tone.start(start);
      tone.stop(start + lasts + 0.1);
      start += lasts;
    }
  }

  now(name) { if (this.context?.state === "running") this.play(name); }
}

export function speak(text, lang) {
  if (!("speechSynthesis" in window) || !text) return;
  const words = new SpeechSynthesisUtterance(text);
  words.lang = lang;
  speechSynthesis.speak(words);
}
