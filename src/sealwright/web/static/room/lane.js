// One wearer's thread in the room, worked out from its events and the conduct and score that the server compiled.
// Nothing here judges: the verdict comes from the server.

const MINUTE = 60000;

export function fold(events) {
  const back = new Set(events.filter((e) => e.kind === "taken-back").map((e) => e.data.event));
  const standing = events.filter((e) => !back.has(e.id) && e.kind !== "taken-back");
  const of = (kind) => standing.filter((e) => e.kind === kind);
  const last = (kind) => of(kind).at(-1);
  const opened = of("opened")[0];
  const firstDose = of("first-dose-begun")[0] || of("dosed")[0] || of("exposure-begun")[0] || of("run-started")[0];
  const tastes = standing.filter((e) => e.kind === "tasted" || e.kind === "noticed");
  const inRun = (e) => firstDose && e.at >= firstDose.at && standing.indexOf(e) > standing.indexOf(firstDose);
  const run = last("run-started");
  return {
    events, standing, of, last, opened, run,
    threshold: tastes.find((e) => !inRun(e)),
    tasted: tastes.find(inRun),
    squeezes: of("squeezed").reduce((sum, e) => sum + (e.data.n ?? 1), 0),
    asked: of("not-tasted").length,
    doses: new Map(of("dosed").map((e) => [e.data.act, e])),
    begun: new Set(of("exercise-started").map((e) => e.data.exercise)),
    over: last("exercises-ended"),
    sealBroken: last("seal-broken"),
    complete: last("seal-broken") || last("readings-complete"),
    measured: of("instrument-named").length > 0,
    unnoticed: last("agent-screened")?.data.noticed === false,
    read: new Map([...of("exercise-read"), ...of("leak-read")].map((e) => [e.data.exercise, e])),
    stopped: last("stopped"),
    closed: last("closed"),
  };
}

export function levelOf(facts, protocol) {
  if (!facts.threshold || !protocol.doses) return null;
  return protocol.doses.find((d) => Math.max(facts.squeezes, 1) <= d.upto) || null;
}

// A method without levels has one score.
export function scoreOf(facts, protocol) {
  if (!protocol.doses) return protocol.scores[0];
  const level = facts.run ? facts.run.data.level : levelOf(facts, protocol)?.level;
  return level ? protocol.scores[level] : null;
}

const matches = (data, where) => Object.entries(where || {}).every(([k, v]) => data[k] === v);

function isOver(facts, stage) {
  const ends = facts.of(stage.ends_with).filter((e) => matches(e.data, stage.where));
  if (stage.shape === "screening") return Boolean(facts.threshold);
  if (!ends.length) return false;
  const redo = (stage.redo_on || []).flatMap((r) => facts.of(r.kind).filter((e) => matches(e.data, r.where)));
  const order = facts.standing;
  return redo.every((r) => order.indexOf(r) < order.indexOf(ends.at(-1)));
}

// The test has ended before its last stage: why, or null.
export function endOf(facts, protocol) {
  if (facts.tasted) return "tasted";
  if (facts.stopped) return "stopped";
  if (facts.asked && facts.squeezes >= protocol.round * protocol.rounds && !facts.threshold) return "unsuited";
  if (facts.unnoticed) return "unsuited";
  if (facts.complete) return "complete";
  return null;
}

const AFTER_END = new Set(["sign-wearer", "sign-tester", "close"]);

export const conductOf = (facts, protocol) => protocol.conduct[facts.opened.data.facepiece.kind] || Object.values(protocol.conduct)[0];

export function stageOf(facts, protocol, relieved = false) {
  if (facts.closed) return null;
  const conduct = conductOf(facts, protocol);
  const end = endOf(facts, protocol);
  if (end && end !== "complete") {
    if (!relieved && !isRelieved(facts, protocol)) return relief(protocol);
    return conduct.find((s) => AFTER_END.has(s.id) && !isOver(facts, s)) || null;
  }
  return conduct.find((s) => !isOver(facts, s)) || null;
}

// What comes first when a test ends before its time. Only a hood's removal is an event of its own.
function relief(protocol) {
  const [title, prompt, press] = protocol.relief;
  return { id: "relief", shape: protocol.doses ? "press" : "relief", ends_with: "hood-removed", title, press, prompt };
}

function isRelieved(facts, protocol) {
  if (!protocol.doses) return facts.of("signed").length > 0;
  return facts.of("hood-removed").some((e) => facts.standing.indexOf(e) > facts.standing.indexOf(
    facts.tasted || facts.stopped || facts.last("not-tasted")));
}

function anchor(facts, name) {
  if (name === "tasted") return facts.threshold?.at ?? null;
  if (name === "previous-taste") return facts.opened.data.tasted_at ?? null;
  if (name === "last-taken") return facts.last("questions-answered")?.data.last_taken_at ?? null;
  return facts.last(name)?.at ?? null;
}

// The wait that holds a stage longest: {until, why, source} or null.
export function waitOf(facts, stage) {
  let held = null;
  for (const wait of stage.waits || []) {
    const from = anchor(facts, wait.after);
    if (from === null) continue;
    const until = from + wait.minutes * MINUTE;
    if (!held || until > held.until) held = { until, from, why: wait.why, source: wait.source };
  }
  return held;
}

// Where a running score stands at room time `now`.
export function runAt(facts, score, now) {
  const s = (now - facts.run.at) / 1000;
  const exercises = score.acts.filter((a) => a.kind === "exercise");
  const exercise = exercises.findLast((a) => a.at <= s) || exercises[0];
  const next = exercises[exercises.indexOf(exercise) + 1] || null;
  // A dose stays askable until the next one is near; then it counts as missed.
  const gone = new Set(missed(facts, score, s));
  const dose = topUps(score).find((a) => !facts.doses.has(a.id) && !gone.has(a)) || null;
  const mist = score.acts.find((a) => a.kind === "mist");
  const mistDue = mist && s >= mist.at && !facts.of("mist-checked").length ? mist : null;
  const samples = score.acts.filter((a) => a.kind === "sample");
  return { s, exercise, next, dose, mistDue, left: Math.max(0, exercise.at + exercise.lasts - s), lasts: score.lasts,
           sample: samples.find((a) => a.at <= s && s < a.at + a.lasts) || null, nextSample: samples.find((a) => a.at > s) || null };
}

// Events that the passing of time brings: exercise starts and the end. `away`: the room was gone until now.
export function passed(facts, score, now, away) {
  const made = [];
  const due = (seconds) => facts.run.at + seconds * 1000;
  const seen = (at) => (away && at > away.from && at < away.to ? { witnessed: false } : {});
  for (const act of score.acts.filter((a) => a.kind === "exercise")) {
    if (due(act.at) <= now && !facts.begun.has(act.id)) {
      made.push({ kind: "exercise-started", at: due(act.at), data: { exercise: act.exercise, ...seen(due(act.at)) } });
    }
  }
  if (due(score.lasts) <= now && !facts.over) {
    made.push({ kind: "exercises-ended", at: due(score.lasts), data: seen(due(score.lasts)) });
  }
  return made;
}

// A run is under way: exercises and doses are going on.
export const underTest = (facts) => Boolean(facts.run && !facts.over && !facts.tasted && !facts.stopped);

export const underHood = (facts) => !facts.closed && !facts.tasted && !facts.stopped &&
  Boolean(((facts.run || facts.last("first-dose-begun") || facts.last("exposure-begun")) && !facts.complete && !(facts.measured && facts.over)) ||
          (facts.last("screening-started") && !facts.last("hood-removed")));

const NEAR_S = 6;
export const doseGap = (doses) => (doses.length > 1 ? doses[1].at - doses[0].at : 30);
export const topUps = (score) => score.acts.filter((a) => a.kind === "dose" && a.at >= 0);

// Top-ups whose moment has gone without them: the next one is near.
export function missed(facts, score, s) {
  const doses = topUps(score), gap = doseGap(doses);
  return doses.filter((a) => !facts.doses.has(a.id) && s >= a.at + gap - NEAR_S);
}

// Timed acts of a running lane that are still to come: [{from, to, act}] in room time.
export function timed(facts, score) {
  if (!underTest(facts)) return [];
  return score.acts.filter((a) => (a.kind === "dose" && a.at >= 0 && !facts.doses.has(a.id)) || a.kind === "seal-break" || a.air === "hold")
    .map((a) => ({ act: a, from: facts.run.at + a.at * 1000, to: facts.run.at + (a.at + a.lasts) * 1000 }));
}
