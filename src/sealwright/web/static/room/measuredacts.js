// What a lane asks in the methods without doses: solutions made, the instrument, exercises and samples, readings.

import { readKit } from "./keep.js";
import { runAt } from "./lane.js";
import { thousandths } from "./numbers.js";
import { modeOf, readable, rowsOf } from "./readings.js";

const HOUR = 3600000, DAY = 24 * HOUR, READY_S = 5;
const one = (kind, data = {}) => ({ events: [{ kind, data }] });
const dayOf = (ms) => new Date(ms).toLocaleDateString([], { day: "numeric", month: "short", year: "numeric" });
const clock = (ms) => new Date(ms).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });

// When a solution was made: as kept on this device, or so long ago.
export function made(act, lane, pack, now) {
  const { which } = act.stage.where, life = lane.protocol.lives_min[which] * 60000;
  const kept = readKit()[`${lane.protocol.agent}/${which}`];
  const at = (made_at) => one("solution-made", { which, made_at });
  const good = kept && now - kept.made_at < life;
  act.key = good ? { label: `${act.stage.press}: the one made ${dayOf(kept.made_at)}, ${clock(kept.made_at)}`, ...at(kept.made_at) }
                 : { label: `${act.stage.press}: made just now`, ...at(now) };
  if (good) act.options.push({ label: "Made just now", ...at(now) });
  const steps = life > DAY ? [[2 * HOUR, "Today"], ...[1, 2, 3, 4, 5, 6].map((d) => [d * DAY, d === 1 ? "Yesterday" : `${d} days ago`])]
                           : [[HOUR, "1 h ago"], [2 * HOUR, "2 h ago"], [4 * HOUR, "4 h ago"], [8 * HOUR, "8 h ago"]];
  for (const [ago, label] of steps) act.options.push({ label, ...at(now - ago) });
  const beyond = life + (life > DAY ? DAY : HOUR);
  act.options.push({ label: life > DAY ? "Longer ago" : "Before today", tone: "warn", ...at(now - beyond) });
  act.note = `Good for ${life >= 2 * DAY ? `${Math.round(life / DAY)} days` : `${Math.round(life / HOUR)} h`}`;
}

// Which instrument: the one used last, kept on this device, or another.
export function instrument(act, lane, pack, now) {
  const kept = readKit()[`instrument/${lane.protocol.method}`];
  if (kept && !lane.draft.another) {
    const late = kept.due_at && kept.due_at < now;
    act.big = "";
    act.note = [late ? `Calibration ran out ${dayOf(kept.due_at)}` : kept.due_at ? `Calibration in date until ${dayOf(kept.due_at)}` : "No date of calibration known",
                kept.accuracy_per_mille !== undefined && `reads within ${kept.accuracy_per_mille / 10} %`,
                kept.flow_mm3_s && `draws ${Math.round(kept.flow_mm3_s * 0.06)} cm³ a minute`].filter(Boolean).join("; ");
    act.key = { label: `${act.stage.press}: ${kept.instrument}`, ...one("instrument-named", kept) };
    act.options.push({ label: "Another instrument, or other dates", draft: { ...lane.draft, another: true, typed: {
      "instrument.name": kept.instrument, "instrument.due": kept.due_at ? localDay(kept.due_at) : "", ...decimals(kept) } } });
    return;
  }
  const pressure = lane.protocol.method === "pressure";
  act.id += "/form";
  act.typing = { fields: [
    { name: "instrument.name", label: "The site's own name for it", text: true, value: "" },
    { name: "instrument.due", label: "Calibration in date until", date: true, value: "" },
    { name: "instrument.accuracy", label: "Reads within (if stated)", unit: "%", value: "" },
    ...(pressure ? [] : [{ name: "instrument.flow", label: "Air drawn through the counter (if known)", unit: "cm³ a minute", value: "" }]),
  ], make: (typed) => named(typed) };
  act.key = { label: act.stage.press, submit: true };
}

const localDay = (ms) => { const d = new Date(ms); return `${d.getFullYear()}-${String(d.getMonth() + 1).padStart(2, "0")}-${String(d.getDate()).padStart(2, "0")}`; };

const decimals = (kept) => ({
  ...(kept.accuracy_per_mille === undefined ? {} : { "instrument.accuracy": String(kept.accuracy_per_mille / 10) }),
  ...(kept.flow_mm3_s ? { "instrument.flow": String(Math.round(kept.flow_mm3_s * 60) / 1000) } : {}) });

function named(typed) {
  const wrong = {}, data = { instrument: (typed["instrument.name"] || "").trim() };
  if (!data.instrument) wrong["instrument.name"] = "Empty: write what this site calls it, such as Counter 2";
  else if (data.instrument.length > 120) wrong["instrument.name"] = "Too long: use at most 120 characters";
  const due = typed["instrument.due"];
  if (due) {
    const end = new Date(`${due}T23:59:59.999`).getTime();
    if (Number.isFinite(end) && end > 0 && due.length === 10) data.due_at = end;
    else wrong["instrument.due"] = "No such day: year, month and day";
  }
  const some = (name, most, set, words) => {
    const said = (typed[name] || "").trim();
    if (!said) return;
    const { milli, wrong: why } = thousandths(said, 1);
    if (why) wrong[name] = why; else if (milli > most * 1000) wrong[name] = words; else set(milli);
  };
  some("instrument.accuracy", 100, (m) => { data.accuracy_per_mille = Math.round(m / 100); }, "Over 100 %: give the stated accuracy, such as 5");
  some("instrument.flow", 100000, (m) => { data.flow_mm3_s = Math.max(1, Math.round(m / 60)); }, "More than any counter draws: give cm³ a minute, such as 100");
  return Object.keys(wrong).length ? { wrong } : { events: [{ kind: "instrument-named", data }] };
}

export function relief(act, lane) {
  act.rank = 0;
  act.key = { label: act.stage.press, draft: { ...lane.draft, relieved: true } };
}

// Exercises without doses. Room air that is sampled before the first exercise is a countdown of its own.
export function plainRun(act, lane, now) {
  const { facts, score } = lane;
  if (!facts.run) return lane.draft.zero ? lead(act, lane, now) : begin(act, lane);
  const at = runAt(facts, score, now);
  Object.assign(act, { running: at, title: at.exercise.title, short: at.exercise.title, big: String(Math.ceil(at.left)), rank: 2, prompt: "",
    figure: at.exercise.figure, due: facts.run.at + score.lasts * 1000, ahead: lane.protocol.quantitative ? "Readings" : act.after || "Break the seal" });
  const how = lane.protocol.exercises?.find((e) => e.id === at.exercise.exercise)?.how;
  act.note = [sampleSaid(at), how, at.next ? `then ${at.next.title.toLowerCase()}` : lane.protocol.quantitative ? "then the readings" : "then the last question"].filter(Boolean).join("; ");
  act.options.push({ label: "Facepiece touched", tone: "warn", ...one("facepiece-touched") });
  act.id += `/${at.exercise.id}/${at.sample?.air || ""}`;
  if (lane.protocol.quantitative) { heldBreath(act, at, how); donnedAgain(act, lane, at); readNow(act, lane, at); }
}

const AIR = { ambient: "Room air", mask: "Mask air", hold: "Breath held" };

function sampleSaid(at) {
  const { sample, nextSample: next } = at;
  if (sample && next && next.at - at.s <= 10 && next.air !== "hold") return `${AIR[sample.air]}; ${AIR[next.air].toLowerCase()} in ${Math.ceil(next.at - at.s)} s`;
  return sample ? AIR[sample.air] : "";
}

function begin(act, lane) {
  const first = lane.score.acts.find((a) => a.kind === "exercise"), before = -Math.min(0, ...lane.score.acts.map((a) => a.at));
  const run = [{ kind: "run-started", data: {} }, { kind: "exercise-started", data: { exercise: first.exercise } }];
  Object.assign(act, { rank: 1, note: `First: ${first.title.toLowerCase()}`, figure: first.figure });
  if (!before) { act.key = { label: act.stage.press, events: run }; return; }
  act.note = `First room air for ${before} s, then ${first.title.toLowerCase()}`;
  act.key = { label: `Sample the room air: ${before} s to the exercises`, start: before * 1000 };
}

function lead(act, lane, now) {
  Object.assign(act, { title: "Room air", big: String(Math.max(0, Math.ceil((lane.draft.zero - now) / 1000))), rank: 2, due: lane.draft.zero,
    note: "then the first exercise begins by itself", prompt: "", figure: "" });
  act.id += "/lead";
  const { zero, ...rest } = lane.draft;
  act.options.push({ label: "Not yet: stop the countdown", draft: rest });
}

// The events that end the countdown, when its moment has come.
export function leadOver(lane, now) {
  const { zero } = lane.draft;
  if (!zero || lane.facts.run || zero > now) return null;
  const first = lane.score.acts.find((a) => a.kind === "exercise");
  return [{ kind: "run-started", at: zero, data: {} }, { kind: "exercise-started", at: zero, data: { exercise: first.exercise } }];
}

function heldBreath(act, at, how) {
  if (at.sample?.air === "hold") {
    Object.assign(act, { title: "Hold your breath", big: String(Math.ceil(at.sample.at + at.sample.lasts - at.s)), rank: 0, figure: "hold-breath", note: `Mouth shut, still${at.next ? `; then ${at.next.title.toLowerCase()}` : ""}` });
    return;
  }
  const next = at.nextSample;
  if (next?.air !== "hold") return;
  const wait = Math.ceil(next.at - at.s);
  const within = next.at < at.exercise.at + at.exercise.lasts;
  if (within) act.big = String(wait);
  if (within) act.note = wait <= READY_S ? `Breath held in ${wait} s: breathe in, mouth shut` : `to the held breath${how ? `. ${how}` : ""}`;
  if (wait <= READY_S) act.rank = 0;
}

// The wearer takes it off and dons it again, unhelped, while the score goes on.
function donnedAgain(act, lane, at) {
  if (at.exercise.figure !== "redon") return;
  const from = lane.facts.run.at + at.exercise.at * 1000, before = lane.facts.of("donned").filter((e) => e.at < from).at(-1);
  if (lane.facts.of("donned").some((e) => e.at >= from)) { act.note = `Donned again; ${act.note}`; return; }
  act.rank = 0;
  act.id += "/redon";
  act.key = { label: "Donned again", ...one("donned", { checks: before?.data.checks || {} }) };
}

// Readings of exercises that are over, typed while the next one goes on.
function readNow(act, lane, at) {
  const over = new Set(lane.score.acts.filter((a) => a.kind === "exercise" && a.at + a.lasts <= at.s).map((a) => a.exercise));
  const waiting = readable(lane).filter((e) => over.has(e.id) && !lane.facts.read.has(e.id)).slice(-3);
  if (!waiting.length || lane.live?.samples?.count) return;
  act.typing = { rows: rowsOf(lane, waiting.map((e) => ({ ...e, how: "" }))), caption: "Readings, if you have them now" };
  act.id += `/${waiting.map((e) => e.id)}`;
}

export function readings(act, lane) {
  const exercises = readable(lane), rows = rowsOf(lane, exercises), typed = lane.draft.typed || {}, factor = modeOf(lane) === "factor";
  const pending = rows.filter((r) => r.touched(typed)), missing = rows.filter((r) => r.counts && !r.read && !pending.includes(r));
  const sampled = Boolean(lane.live?.samples?.count), all = sampled || !missing.length;
  const done = one(act.stage.ends_with);
  act.rank = 1;
  act.id += `/${modeOf(lane)}/${sampled}`;
  act.prompt = sampled ? "Samples have come in: the numbers below are made from them. Readings typed beside them are kept, and do not count" : act.stage.prompt;
  const mode = (name, label) => ({ label, on: name === modeOf(lane), mode: name, draft: { ...lane.draft, mode: name } });
  act.typing = { rows, caption: "Point or comma for decimals. A column copied from a table can be pasted into any field", paste: true,
    last: all ? done.events : [], modes: lane.protocol.method === "pressure" ? [] : [mode("factor", "Factors"), mode("pair", "Mask and room air")] };
  const n = `${pending.length} reading${pending.length === 1 ? "" : "s"}`;
  if (pending.length) act.key = { label: all ? `Record ${n}: all are in` : `Record ${n}; ${missing.length} to come`, submit: true };
  else if (all) act.key = { label: act.stage.press, ...done };
  act.idle = `${missing.length} reading${missing.length === 1 ? "" : "s"} to come`;
  if (!all && !pending.length) act.options.push({ label: "Go on with readings missing", tone: "warn", ...done });
  act.paste = lane.draft.paste;
}
