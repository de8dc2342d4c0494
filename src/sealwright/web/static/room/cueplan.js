// Which cue is due when: the score's acts turned into tones, a pitch of its own for every lane.

import { timed, underTest } from "./lane.js";

// Cues due between two performance times (ms): [{key, name, at, pitch}].
export function dueCues(lanes, clock, from, to) {
  const cues = [];
  for (const lane of lanes) {
    if (!lane.score) continue;
    const pitch = 2 ** ((lane.n % 4) * 3 / 12), pace = lane.protocol.pace_ms;
    const add = (key, name, at) => {
      const due = clock.toPerformance(at);
      if (due >= from - 50 && due < to) cues.push({ key: `${lane.test}/${key}`, name, at: due, pitch });
    };
    for (const { act, from: start } of timed(lane.facts, lane.score)) {
      if (act.kind === "seal-break") { add("end", "end", start); continue; }
      for (const s of [3, 2, 1]) add(`${act.id}-${s}`, "ready", start - s * 1000);
      add(act.id, "dose", start);
      for (let n = 1; n < act.squeezes; n++) add(`${act.id}+${n}`, "squeeze", start + n * pace);
      if (act.air === "hold") add(`${act.id}-end`, "exercise", start + act.lasts * 1000);
    }
    if (underTest(lane.facts)) {
      for (const act of lane.score.acts.filter((a) => a.kind === "exercise" && a.at > 0)) {
        add(act.id, "exercise", lane.facts.run.at + act.at * 1000);
      }
    }
  }
  return cues;
}
