// What a lane asks of the tester at this moment, as words, one key and a few other answers.
// An answer is {events: [{kind, data, at?}]}, or {draft: {...}} for a form not yet complete.

import { readKit } from "./keep.js";
import { endOf, levelOf, runAt, stageOf, waitOf } from "./lane.js";
import { instrument, made, plainRun, readings, relief } from "./measuredacts.js";

const clock = (ms) => new Date(ms).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
const day = (ms) => new Date(ms).toLocaleDateString([], { day: "numeric", month: "short", year: "numeric" });

export function countdown(ms) {
  const s = Math.max(0, Math.ceil(ms / 1000));
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
}

const SAME_KIT_MS = 60 * 60000;

const one = (kind, data = {}) => ({ events: [{ kind, data }] });

// lane: {test, letter, facts, protocol, score, draft}. Returns the act, or null when nothing is left to do.
export function actOf(lane, pack, now) {
  const { facts, protocol } = lane;
  const stage = stageOf(facts, protocol, lane.draft.relieved);
  if (!stage) return null;
  const act = { lane, stage, title: stage.title, prompt: stage.prompt || "", big: "", note: "", options: [], rank: 1,
                source: stage.source || "", taste: mayNotice(facts, stage, protocol), id: `${lane.test}/${stage.id}` };
  (SHAPES[stage.shape] || press)(act, lane, pack, now);
  const held = waitOf(facts, stage);
  if (held && held.until > now && !facts.run) hold(act, held, now);
  return act;
}

function mayNotice(facts, stage, protocol) {
  if (facts.tasted || facts.stopped || !protocol.notice) return false;
  return stage.shape === "screening" || stage.id === "run";
}

// A wait is shown, not enforced: going on early takes a second, deliberate press and is found by the verdict.
function hold(act, held, now) {
  act.rank = 3;
  act.due = held.until;
  act.waiting = true;
  act.big = countdown(held.until - now);
  act.note = `${held.why}, until ${clock(held.until)}`;
  act.progress = (now - held.from) / (held.until - held.from);
  if (act.key) act.early = { ...act.key, label: `Go on early: ${act.key.label}` };
  act.key = null;
  act.figure = "";
  act.options = act.options.filter((o) => o.during);
  act.form = act.typing = null;
}

function press(act, lane) {
  if (act.stage.id === "hood-over" && lane.score) {
    const first = lane.score.acts.find((a) => a.id === "dose-0");
    Object.assign(act, { big: String(first.squeezes), figure: "hood-mask", starts: first.lasts,
      note: `squeezes of the test solution (level ${lane.score.level}: tasted within ${levelOf(lane.facts, lane.protocol)?.upto})` });
  }
  act.key = { label: act.stage.press || "Done", ...one(act.stage.ends_with, act.stage.where) };
}

// The kit was looked at for another wearer a little while ago: the same answer again, given as one.
function sameKit(act, lane, now) {
  const kept = readKit()[lane.protocol.agent];
  if (act.stage.id !== "kit" || !kept || now - kept.at > SAME_KIT_MS || !Object.values(kept.checks).every(Boolean)) return;
  act.options.push({ label: `Same kit, looked at again: all as at ${clock(kept.at)}`, ...one("kit-checked", { checks: kept.checks }) });
}

function checks(act, lane, pack, now) {
  const ticked = lane.draft.ticked || {}, items = act.stage.items;
  const next = items.find((i) => !(i.id in ticked));
  act.form = { items: items.map((i) => ({ ...i, state: ticked[i.id], next: i === next })) };
  act.id += `/${Object.keys(ticked).length}`;
  const tick = (id, value) => ({ draft: { ticked: { ...ticked, [id]: value } } });
  act.form.items.forEach((i) => { i.yes = tick(i.id, true); i.no = tick(i.id, false); });
  sameKit(act, lane, now);
  if (next) { act.key = { label: `✓ ${next.text}`, ...tick(next.id, true) }; return; }
  const wrong = items.filter((i) => !ticked[i.id]);
  act.key = { label: wrong.length ? `Record with ${wrong.length} not right` : act.stage.press,
              ...one(act.stage.ends_with, { checks: ticked }) };
  act.options.push({ label: "Tick again", draft: {} });
}

function load(act, lane, pack, now) {
  const { which } = act.stage.where, { protocol } = lane;
  const lots = pack.lots.filter((l) => l.agent === protocol.agent && l.use === which);
  const kept = readKit()[`${protocol.agent}/${which}`];
  const life = protocol.life_min * 60000;
  const fill = (lot, at) => one("nebuliser-loaded",
    { which, lot: lot.lot, expires_at: lot.expires_at, loaded_at: at ?? now });
  const good = lots.filter((l) => l.expires_at > now).sort((a, b) => a.expires_at - b.expires_at);
  const same = kept && lots.find((l) => l.lot === kept.lot);
  const first = same || good[0] || lots[0];
  if (!first) { act.prompt = `No ${which} solution of this agent is on the shelf: add a lot first`; return; }
  const still = same && now - kept.loaded_at < life - 15 * 60000;
  act.key = still ? { label: `Still in: lot ${same.lot}, filled ${clock(kept.loaded_at)}`, ...fill(same, kept.loaded_at) }
                  : { label: `Filled now: lot ${first.lot}, good until ${day(first.expires_at)}`, ...fill(first) };
  if (still) act.options.push({ label: `Filled now: lot ${same.lot}`, ...fill(same) });
  for (const lot of lots.filter((l) => l !== first)) {
    const out = lot.expires_at <= now ? " — OUT OF DATE" : "";
    act.options.push({ label: `Lot ${lot.lot}, ${day(lot.expires_at)}${out}`, tone: out && "warn", ...fill(lot) });
  }
  act.note = `Rinsed, shaken dry and filled; good for ${protocol.life_min / 60}\u00a0h`;
}

function questions(act, lane, pack, now) {
  const answers = lane.draft.answers || {};
  const item = act.stage.items.find((i) => !(i.id in answers));
  const answer = (value) => ({ draft: { answers: { ...answers, [item.id]: value } } });
  act.form = { answered: act.stage.items.filter((i) => i.id in answers).map((i) => ({
    text: i.text, value: sayAnswer(answers[i.id]),
    again: { draft: { answers: Object.fromEntries(Object.entries(answers).filter(([k]) => k !== i.id)) } } })) };
  act.id += `/${item?.id}/${JSON.stringify(answers)}`;
  if (!item) {
    const { equipment, last_taken: taken, smoked_at: smoked, ...plain } = answers;
    const used = Object.keys(equipment), worn = used.filter((k) => equipment[k] === "worn");
    act.prompt = "Read back to the wearer, then record";
    act.key = { label: "Record the answers", ...one("questions-answered", {
      ...plain, ...(taken ? { last_taken_at: taken } : {}), ...(smoked ? { smoked_at: smoked } : {}), equipment_used: used, equipment_worn: worn }) };
    return;
  }
  act.prompt = item.text;
  QUESTIONS[item.id](act, answer, lane, pack, now);
}

const yesNo = (yes, no) => (act, answer) => {
  act.key = { label: yes, ...answer(true) };
  act.options.push({ label: no, tone: "warn", ...answer(false) });
};

// How long ago, when less than `need` minutes.
function ago(act, answer, need, none, now) {
  act.key = { label: `${none} for ${need} min or more`, ...answer(null) };
  for (const m of [0, 5, 10, 15, 20, 30, 40, 50].filter((m) => m < need)) {
    act.options.push({ label: m ? `${m} min ago` : "Just now", ...answer(now - m * 60000) });
  }
}

const QUESTIONS = {
  cleared: yesNo("Cleared", "Not cleared"),
  trained: yesNo("Shown and practised", "Not yet"),
  feels_well: yesNo("Well", "Not well"),
  last_taken(act, answer, lane, pack, now) { ago(act, answer, lane.protocol.abstention_min, "Nothing", now); },
  smoked_at(act, answer, lane, pack, now) { ago(act, answer, lane.protocol.smoke_free_min, "Not", now); },
  seal_hair(act, answer) {
    act.key = { label: "Clean at the seal", ...answer("none") };
    act.options.push({ label: "Stubble", tone: "warn", ...answer("stubble") },
                     { label: "Beard, moustache or sideburn at the seal", tone: "warn", ...answer("hair") });
  },
  equipment(act, answer, lane, pack) {
    const chosen = lane.draft.equipment || {};
    const turn = { undefined: "worn", worn: "absent", absent: undefined };
    const said = { undefined: "not used", worn: "used at work, worn now", absent: "used at work, NOT here" };
    act.form.chips = pack.equipment.map((e) => ({
      text: e.text, state: chosen[e.id], said: said[chosen[e.id]],
      turn: { draft: { ...lane.draft, equipment: { ...chosen, [e.id]: turn[chosen[e.id]] } } } }));
    const kept = Object.fromEntries(Object.entries(chosen).filter(([, v]) => v));
    act.id += JSON.stringify(chosen);
    act.key = { label: Object.keys(kept).length ? "That is all of it" : "Nothing else is worn", ...answer(kept) };
  },
};

function sayAnswer(value) {
  if (value === true) return "yes";
  if (value === false) return "no";
  if (value === null) return "long enough ago";
  if (typeof value === "number") return `at ${clock(value)}`;
  if (typeof value === "object") return Object.entries(value).map(([k, v]) => `${k} (${v})`).join(", ") || "nothing";
  return value;
}

function identity(act, lane, pack) {
  const piece = lane.facts.opened.data.facepiece;
  const sizes = [...new Set(pack.facepieces.filter((f) => f.make === piece.make && f.model === piece.model)
    .map((f) => f.size))];
  const read = (size) => one("identity-confirmed", { wearer_named: true, model_read: true, size_read: size });
  act.big = piece.size;
  act.note = `${piece.make} ${piece.model}, ${piece.material}`;
  act.key = { label: `${lane.name}, size ${piece.size} read off the facepiece`, ...read(piece.size) };
  for (const size of sizes.filter((s) => s !== piece.size)) {
    act.options.push({ label: `It says ${size}`, tone: "warn", ...read(size) });
  }
}

function screening(act, lane) {
  const { facts, protocol } = lane;
  const ask = facts.squeezes > 0 && facts.squeezes >= (facts.asked + 1) * protocol.round;
  act.big = String(facts.squeezes);
  act.rank = 0;
  act.figure = "taste";
  act.note = `of ${(facts.asked + 1) * protocol.round} in this round`;
  act.id += `/${facts.squeezes}/${facts.asked}`;
  if (ask) {
    act.title = "Tasted?";
    act.prompt = `${facts.squeezes} squeezes given. Ask: can you taste it?`;
    act.key = { label: "Not tasted", ...one("not-tasted") };
    return;
  }
  const rest = (facts.asked + 1) * protocol.round - facts.squeezes;
  act.prompt = "Full, firm squeezes in quick order; one press a squeeze. Hold the key when the wearer tastes";
  act.key = { label: "Squeeze", quick: true, ...one("squeezed", { n: 1 }) };
  if (rest > 1) act.options.push({ label: `${rest} squeezes given`, ...one("squeezed", { n: rest }) });
}

function ask(act) {
  const { stage } = act;
  const yes = one(stage.ends_with, stage.where && Object.keys(stage.where).length ? stage.where : yesData(stage));
  const no = one(stage.ends_with, negated(stage));
  act.key = { label: stage.yes, ...yes };
  act.options.push({ label: stage.no, tone: "warn", ...no });
  if (stage.id === "seal-break") {
    const { notice, method } = act.lane.protocol;
    act.rank = 0;
    act.figure = method === "smoke" ? "" : "break-seal";
    act.options.push({ label: notice.before_break, tone: "warn", ...one(notice.kind) });
  }
}

const yesData = (stage) => (stage.ends_with === "seal-broken" ? { tasted: true } : {});
const negated = (stage) => (stage.ends_with === "seal-broken" ? { tasted: false }
  : Object.fromEntries(Object.entries(stage.where).map(([k, v]) => [k, !v])));

function run(act, lane, pack, now) {
  const { facts, protocol, score } = lane;
  if (!protocol.doses) { plainRun(act, lane, now); return; }
  if (!score) { act.prompt = "No screening level is on record"; return; }
  if (!facts.run) { startRun(act, lane); return; }
  const at = runAt(facts, score, now);
  Object.assign(act, { running: at, title: at.exercise.title, short: at.exercise.title, big: String(Math.ceil(at.left)), rank: 2,
                       note: at.next ? `then ${at.next.title.toLowerCase()}` : "then break the seal",
                       prompt: "", figure: at.exercise.figure });
  act.options.push({ label: "Facepiece touched", tone: "warn", ...one("facepiece-touched") });
  const toDose = at.dose ? at.dose.at - at.s : null;
  act.due = facts.run.at + (toDose === null ? score.lasts : at.dose.at) * 1000;
  if (toDose !== null && toDose <= 5) giveDose(act, lane, at, toDose);
  else if (at.mistDue) seeMist(act);
  else if (toDose !== null) act.note = `Next dose in ${Math.ceil(toDose)} s; ${act.note}`;
  act.ahead = toDose === null ? "Break the seal" : `${at.dose.squeezes} squeezes`;
  act.id += `/${at.exercise.id}/${act.doseId || ""}/${at.mistDue ? "mist" : ""}`;
}

function startRun(act, lane) {
  const { score } = lane;
  const first = score.acts.find((a) => a.id === "dose-0"), begin = score.acts.find((a) => a.kind === "exercise");
  act.title = "First dose";
  act.rank = 0;
  act.big = String(first.squeezes);
  act.note = "squeezes of the test solution";
  act.figure = "hold";
  act.key = { label: `${first.squeezes} given: begin the exercises`, events: [
    { kind: "dosed", data: { squeezes: first.squeezes, act: first.id } },
    { kind: "run-started", data: { level: score.level } },
    { kind: "exercise-started", data: { exercise: begin.exercise } }] };
}

const WEARER_DOES = { "hold-still": "Wearer holds still", "pause-talking": "Wearer stops talking, then goes on where they were",
                      "hold-hem": "Hold the hood's edge down" };

function giveDose(act, lane, at, toDose) {
  const given = lane.draft.squeezes ?? at.dose.squeezes;
  act.doseId = at.dose.id;
  act.rank = 0;
  act.dose = { squeezes: given, in: toDose };
  act.title = toDose > 0 ? `${given} squeezes in ${Math.ceil(toDose)}` : `${given} squeezes now`;
  act.note = `${at.exercise.title}. ${WEARER_DOES[at.dose.during_dose] || ""}`;
  act.key = { label: `${given} given`, ...one("dosed", { squeezes: given, act: at.dose.id }) };
  act.options.unshift({ label: "−1", draft: { ...lane.draft, squeezes: Math.max(0, given - 1) } },
                      { label: "+1", draft: { ...lane.draft, squeezes: given + 1 } });
}

function seeMist(act) {
  act.rank = 0;
  act.title = "Mist still seen?";
  act.key = { label: "Mist seen", ...one("mist-checked", { seen: true }) };
  act.options.unshift({ label: "No mist", tone: "warn", ...one("mist-checked", { seen: false }) });
}

function sign(act, lane) {
  const tester = act.stage.where.role === "tester";
  act.sign = act.stage.where.role;
  act.prompt = tester ? "I led this test and recorded what happened" : `${lane.name}: I took part in this test as recorded`;
  const end = endOf(lane.facts, lane.protocol);
  if (end && end !== "complete") act.note = { tasted: lane.protocol.notice?.ended, stopped: "Stopped", unsuited: `Does not notice this agent (${lane.protocol.agent_name})` }[end];
}

const SHAPES = { press, checks, load, questions, identity, screening, ask, run, sign, made, instrument, readings, relief };
