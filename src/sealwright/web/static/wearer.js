// The wearer's screen: plays the score by its own clock, so that a lost connection changes nothing for the wearer.
// The server says what happened; which exercise and how many seconds are left is reckoned here.

const at = (id) => document.getElementById(id);
const read = (id) => JSON.parse(at(id).textContent);
const labels = read("labels"), ended = read("ended");
const { code, lang } = document.body.dataset;
const query = lang ? `?lang=${encodeURIComponent(lang)}` : "";
const BEAT_LOST_MS = 32_000, GRACE_MS = 3_000, RETRY_MS = 4_000;

// --- the server's clock, from the least delayed of the last few messages ---

const gaps = [];
const serverNow = () => performance.now() + Math.max(...gaps);
function heard(now) {
  gaps.push(now - performance.now());
  if (gaps.length > 8) gaps.shift();
  heardAt = Date.now();
}
let heardAt = Date.now(), state = null;

// --- what to show at a moment: plain values, no page ---

export function moment(state, now) {
  if (state.phase === "exercises" && state.run_started_at !== null) return ofRun(state, (now - state.run_started_at) / 1000);
  const waiting = state.until !== null && state.until > now;
  return {
    figure: state.figure, line: !waiting && state.line_after ? state.line_after : state.line, detail: state.detail,
    left: waiting ? (state.until - now) / 1000 : null, lasts: waiting ? (state.until - state.since) / 1000 : 0,
    place: "", next: null, dosing: false, step: -1,
  };
}

// A dose leaves the exercise's seconds running; a held breath has its own, and the exercise counts down to it.
function ofRun(state, second) {
  const inside = (a) => a.kind === "dose" || a.kind === "hold";
  const exercises = state.acts.filter((a) => !inside(a));
  const t = Math.max(0, second);
  const step = exercises.findLastIndex((a) => a.at <= t);
  const act = exercises[step], end = act.at + act.lasts;
  const within = act.kind === "exercise" && state.acts.find((a) => inside(a) && a.at <= t && t < a.at + a.lasts);
  const ahead = state.acts.find((a) => a.kind === "hold" && a.at > t && a.at < end);
  const follows = exercises[step + 1], held = state.acts.find((a) => a.kind === "hold" && a.at === follows?.at);
  const shown = within || act, next = ahead || held || follows;
  const [from, until] = within?.kind === "hold" ? [within.at, within.at + within.lasts] : [act.at, ahead?.at ?? end];
  return {
    figure: shown.figure, line: shown.line, detail: shown.detail || "", dosing: Boolean(within), step,
    left: act.kind === "exercise" ? until - t : null, lasts: until - from,
    place: act.place, next: next?.name ? next : null, done: (t - act.at) / act.lasts,
  };
}

// --- the page ---

const text = (id, value) => { if (at(id).textContent !== value) at(id).textContent = value; };

function draw(id, kind, still) {
  const place = at(id);
  if (place.dataset.kind === kind) return;
  place.dataset.kind = kind;
  place.replaceChildren(at(`figure-${kind}`).content.cloneNode(true));
  if (still) place.firstElementChild.classList.add("swf-still");
}

function count(left) {
  const minutes = left > 99;
  const n = Math.min(minutes ? 120 : 99, Math.ceil(minutes ? left / 60 : left));
  text("number", String(n));
  text("unit", labels[minutes ? "minutes" : "seconds"][n]);
}

function strip(now) {
  const bars = state.acts.filter((a) => a.kind === "exercise");
  const list = at("strip");
  list.hidden = now.step < 0;
  if (list.hidden) return;
  while (list.children.length < bars.length) list.append(document.createElement("li"));
  [...list.children].forEach((li, i) => {
    li.style.setProperty("--done", i < now.step ? 1 : i === now.step ? Math.min(1, now.done) : 0);
  });
}

function show() {
  if (!state) return;
  const now = moment(state, serverNow());
  Object.assign(document.body.dataset, { phase: state.phase, dosing: now.dosing, step: now.step });
  draw("figure", now.figure, false);
  text("line", now.line);
  text("detail", now.detail);
  text("place", now.place);
  at("left").hidden = now.left === null;
  if (now.left !== null) {
    count(now.left);
    at("ring").style.strokeDashoffset = String(1 - now.left / now.lasts);
  }
  at("next").hidden = !now.next;
  if (now.next) {
    draw("next-figure", now.next.figure, true);
    text("next-name", now.next.name);
  }
  strip(now);
  fit();
}

// Long words in some languages: all but the line gives way first, then the line.
function fit() {
  const told = document.querySelector(".told"), main = document.querySelector("main");
  const now = [innerWidth, innerHeight, at("line").textContent, at("detail").textContent, at("left").hidden,
    at("next").textContent].join("|");
  if (now === document.body.dataset.fitted) return;
  document.body.dataset.fitted = now;
  const over = () => main.scrollHeight > main.clientHeight + 1 || told.scrollHeight > told.clientHeight + 1;
  for (const [rest, line] of [[1, 1], [0.9, 1], [0.8, 1], [0.7, 1], [0.6, 0.95], [0.5, 0.85], [0.5, 0.7]]) {
    document.body.style.setProperty("--fit", rest);
    document.body.style.setProperty("--fit-line", line);
    if (!over()) return;
  }
}

function take(told) {
  heard(told.server_now);
  if (told.language !== document.documentElement.lang) { location.reload(); return; }
  state = told;
  if (state.phase !== "welcome") at("languages")?.remove();
  show();
}

// --- news ---

let stream = null, lostTimer = 0;

const calm = () => { clearTimeout(lostTimer); lostTimer = 0; at("lost").hidden = true; };
const worry = () => { lostTimer ||= setTimeout(() => { at("lost").hidden = false; }, GRACE_MS); };

function listen() {
  stream?.close();
  stream = new EventSource(`/w/${code}/stream${query}`);
  stream.addEventListener("state", (e) => {
    calm();
    take(JSON.parse(e.data));
    if (state.closed) stream.close();
  });
  stream.addEventListener("beat", (e) => { calm(); heard(JSON.parse(e.data).server_now); });
  stream.addEventListener("error", () => {
    worry();
    if (stream.readyState === EventSource.CLOSED) setTimeout(again, RETRY_MS);
  });
}

// The browser gave up on the stream: is the code still open?
async function again() {
  try {
    const answer = await fetch(`/w/${code}/state${query}`, { cache: "no-store" });
    if (answer.status === 404) return over();
    if (!answer.ok) throw new Error(answer.status);
    take(await answer.json());
    if (!state.closed) listen();
  } catch {
    setTimeout(again, RETRY_MS);
  }
}

function over() {
  calm();
  if (state.closed) return;
  state = { ...state, phase: "done", figure: "wait", line: ended, line_after: "", detail: "", until: null,
    run_started_at: null, acts: [], closed: true };
  show();
}

setInterval(() => {
  if (state?.closed || Date.now() - heardAt < BEAT_LOST_MS) return;
  heardAt = Date.now();
  worry();
  listen();
}, 2_000);

// --- the screen stays lit while it is looked at; browsers allow it on https and on this very machine ---

async function stayAwake() {
  if (document.visibilityState !== "visible") return;
  try { await navigator.wakeLock?.request("screen"); } catch { /* refused: the device's own setting rules */ }
}
document.addEventListener("visibilitychange", () => {
  stayAwake();
  if (document.visibilityState === "visible" && state && !state.closed) listen();
});

take(read("state"));
stayAwake();
if (!state.closed) listen();
setInterval(show, 200);
addEventListener("resize", show);
document.fonts?.ready.then(() => { delete document.body.dataset.fitted; show(); });
