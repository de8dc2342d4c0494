// Listens on the output of a player: posts the frame of the first sample of every tone, and the wall clock when that
// sample was made. A tone is over after QUIET_S below the threshold; within one cue the notes overlap, so that it is one.

const THRESHOLD = 0.01, QUIET_S = 0.015;

class Ear extends AudioWorkletProcessor {
  constructor() {
    super();
    this.quiet = Infinity;                          // frames since the last sample above the threshold
  }

  process([input]) {
    const samples = input[0];
    if (!samples) { this.quiet += 128; return true; }
    for (let n = 0; n < samples.length; n++) {
      if (Math.abs(samples[n]) < THRESHOLD) { this.quiet++; continue; }
      if (this.quiet > QUIET_S * sampleRate) this.port.postMessage({ at: (currentFrame + n) / sampleRate, wall: Date.now() });
      this.quiet = 0;
    }
    return true;
  }
}

registerProcessor("ear", Ear);
