// Two lanes that want the tester's hands in the same seconds: said before it happens.

import { doseGap, timed, topUps, underTest } from "./lane.js";

const HORIZON = 90000, APART = 2000;

// lanes: [{letter, facts, score}] -> [{at, first, second}] soonest first, one per pair of lanes.
export function clashes(lanes, now) {
  const rows = lanes.flatMap((lane) => (lane.score ? timed(lane.facts, lane.score) : [])
    .filter((t) => t.to > now && t.from < now + HORIZON).map((t) => ({ ...t, letter: lane.letter })));
  rows.sort((a, b) => a.from - b.from);
  const found = new Map();
  for (let i = 0; i < rows.length; i++) {
    for (let j = i + 1; j < rows.length && rows[j].from < rows[i].to + APART; j++) {
      const pair = [rows[i].letter, rows[j].letter].sort().join("");
      if (rows[i].letter !== rows[j].letter && !found.has(pair)) {
        found.set(pair, { at: rows[j].from, first: rows[i], second: rows[j] });
      }
    }
  }
  return [...found.values()];
}

const longest = (score) => Math.max(...topUps(score).map((a) => a.lasts)) * 1000;

// Milliseconds to wait so that a run begun then has its doses clear of the runs under way; 0: begin now.
export function clearStart(lanes, score, now) {
  if (!topUps(score).length) return 0;
  const lasts = longest(score), period = doseGap(topUps(score)) * 1000;
  const busy = lanes.filter((l) => underTest(l.facts) && l.score && topUps(l.score).length)
    .map((l) => ({ phase: l.facts.run.at % period, lasts: longest(l.score) }));
  for (let wait = 0; wait < period; wait += 1000) {
    const phase = (now + wait) % period;
    const free = busy.every((b) => {
      const ahead = (b.phase - phase + period) % period, behind = (phase - b.phase + period) % period;
      return ahead >= lasts + APART && behind >= b.lasts + APART;
    });
    if (free) return wait;
  }
  return busy.length ? null : 0;
}
