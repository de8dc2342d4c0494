// Draws the room. Sections are redrawn only when what they show has changed, so that a finger never loses its button.

import { countdown } from "./acts.js";
import { drawTyping, keepingFocus, refreshTyping } from "./typing.js";

const escapes = { "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;" };
export const esc = (text) => String(text ?? "").replace(/[&<>"']/g, (c) => escapes[c]);
export const $ = (id) => document.getElementById(id);

const drawn = new Map();
export function put(id, html) {
  if (drawn.get(id) === html) return false;
  drawn.set(id, html);
  $(id).innerHTML = html;
  return true;
}

// `acts` collects what each drawn button does; the page's one click handler looks it up by number.
export class Buttons {
  constructor() { this.does = {}; this.last = 0; }
  clear(section) { for (const n in this.does) if (this.does[n].section === section) delete this.does[n]; }
  // A number is never given twice: buttons drawn earlier keep theirs when another section is redrawn.
  add(section, what) { this.does[++this.last] = { section, what }; return this.last; }
}

export function badge(letter, n) { return `<b class="badge badge-${n % 4}" aria-label="Lane ${letter}">${letter}</b>`; }

// `last`: the lane closed last, whose verdict is told large while nothing else is due.
export function drawNow(act, button, figures, last) {
  if (!act) return put("now-body", `${last ? drawEnded(last) : ""}<p class="idle">No wearer under way.</p>
    <p>Add a wearer to begin. Each wearer gets a lane; the next act over all lanes is shown here.</p>`);
  const lane = act.lane, wide = matchMedia("(min-width: 761px)").matches;
  const beside = Boolean(act.running || (wide && (act.figure || act.big))) && !act.form && (!act.typing || act.running);
  const below = act.form?.items || (act.typing && !act.running);
  const answers = drawOptions([...act.options, ...(act.early ? [{ ...act.early, tone: "warn" }] : [])], button);
  const drawn = figures[lane.protocol.dress]?.[act.figure];
  const figure = drawn ? `<div class="figure" aria-hidden="true">${drawn}</div>` : "";
  const fresh = keepingFocus(() => put("now-body", `
    <div class="who">${badge(lane.letter, lane.n)} <span>${esc(lane.name)}</span>
      <small>${esc(lane.pieceName)}</small></div>
    <h1 id="title"></h1>
    <div class="figures">${figure}<div class="big"><span id="big"></span><span id="big-note" class="note"></span></div>${act.typing && act.running ? drawTyping(act, button) : ""}${beside ? answers : ""}</div>
    ${act.sign ? drawSign() : '<p class="prompt" id="prompt"></p>'}
    <div id="ring" class="ring" hidden><i></i></div>
    ${beside || below ? "" : answers}
    ${act.form ? drawForm(act.form, button) : ""}
    ${act.typing && !act.running ? drawTyping(act, button) : ""}
    ${!beside && below ? answers : ""}`));
  if (fresh) inSight(act);
  return fresh;
}

// A new stage is seen from its top; in a list, the point to look at next is seen.
function inSight(act) {
  const stage = `${act.lane.test}/${act.stage.id}`, now = document.querySelector(".now");
  if (now.dataset.stage !== stage) { now.dataset.stage = stage; now.scrollTop = 0; scrollTo(0, 0); }
  now.querySelector(".checks .next")?.scrollIntoView({ block: "nearest" });
}

function drawEnded(lane) {
  const { result, reason } = lane.verdict;
  return `<div class="who">${badge(lane.letter, lane.n)} <span>${esc(lane.name)}</span> <small>${esc(lane.pieceName)}</small></div>
    <div class="ended result ${result}">${esc(VERDICT[result])}</div><p class="prompt">${esc(reason)}</p>`;
}

function drawOptions(options, button) {
  return options.length ? `<div class="options">${options.map((o) =>
    `<button type="button" class="option ${o.tone || ""}" data-do="${button(o)}">${esc(o.label)}</button>`).join("")}</div>` : "";
}

function drawForm(form, button) {
  const items = (form.items || []).map((i) => `<li class="${i.next ? "next" : ""} ${i.state === undefined ? "" : i.state ? "yes" : "no"}">
    <span>${i.state === undefined ? "·" : i.state ? "✓" : "✕"} ${esc(i.text)}</span>
    <span class="pair"><button type="button" data-do="${button(i.yes)}" aria-pressed="${i.state === true}"
      aria-label="${esc(i.text)}: right">✓</button><button type="button" data-do="${button(i.no)}"
      aria-pressed="${i.state === false}" aria-label="${esc(i.text)}: not right">✕</button></span></li>`).join("");
  const answered = (form.answered || []).map((a) => `<li><span>${esc(a.text)}</span>
    <button type="button" class="again" data-do="${button(a.again)}" aria-label="Ask again: ${esc(a.text)}">${
      esc(a.value)}</button></li>`).join("");
  const chips = (form.chips || []).map((c) => `<button type="button" class="chip ${c.state || ""}"
    data-do="${button(c.turn)}">${esc(c.text)}<small>${esc(c.said)}</small></button>`).join("");
  return `${chips ? `<div class="chips">${chips}</div>` : ""}${items ? `<ul class="checks">${items}</ul>` : ""}${
    answered ? `<ul class="answers">${answered}</ul>` : ""}`;
}

function drawSign() {
  return `<div class="signing"><div><p class="prompt" id="prompt"></p>
    <button type="button" class="option" id="pad-clear">Clear</button></div>
    <canvas id="pad" width="640" height="200" aria-label="Sign here"></canvas></div>`;
}

// What changes every moment: numbers and words only.
export function refreshNow(act) {
  document.body.dataset.dosing = act?.dose ? (act.dose.in > 0 ? "soon" : "now") : "";
  if (!act) return;
  text("title", act.title);
  text("big", act.big);
  text("big-note", act.note);
  text("prompt", act.prompt);
  refreshTyping(act);
  const ring = $("ring");
  if (!ring) return;
  ring.hidden = act.progress === undefined;
  if (act.progress !== undefined) ring.firstElementChild.style.inlineSize = `${Math.min(100, act.progress * 100)}%`;
}

function text(id, value) {
  const node = $(id);
  if (node && node.textContent !== String(value ?? "")) node.textContent = value ?? "";
}

// `exposed`: lanes whose wearer may notice the agent now.
export function drawKeys(act, back, exposed, button) {
  const key = act?.key, words = new Set(exposed.map((l) => l.protocol.notice.done));
  const doing = act ? act.idle || (act.waiting ? "Waiting" : "Wearer carries on") : "No act is due";
  return put("keys", `
    ${back ? `<button type="button" class="side" data-do="${button({ takeBack: back.id })}">Take back<small>${esc(back.label)}</small></button>` : ""}
    <button type="button" id="key" ${key ? `data-do="${button(key)}"` : 'aria-disabled="true"'}>
      <span class="fill"></span><span class="label">${esc(key ? key.label : doing)}</span>
      ${key ? "<kbd>Space or pedal</kbd>" : ""}</button>
    ${exposed.length ? `<button type="button" class="side taste" data-do="${button({ taste: true })}">${esc(words.size === 1 ? [...words][0] : "Noticed")}<small>${
      act?.taste ? "or hold the key, or T" : "by whom? also T"}</small></button>` : ""}
    ${act && !act.sign && act.stage.id !== "close" && act.stage.id !== "relief"
      ? `<button type="button" class="side stop" data-do="${button({ stop: act.lane })}">Stop<small>unwell, or wants to</small></button>` : ""}`);
}

export function drawAhead(rows, clashes, button) {
  const list = rows.map((r) => `<li><button type="button" data-do="${button({ pick: r.lane.test })}">${badge(r.lane.letter, r.lane.n)}
    <span>${esc(r.act.ahead || r.act.title)}</span><time>${esc(r.when)}</time></button></li>`).join("");
  put("clashes", clashes.map((c) => `<p class="clash"><b aria-hidden="true">⚠</b> <span>${esc(c)}</span></p>`).join(""));
  return put("ahead", `
    <h2>Next over all lanes</h2><ol>${list || "<li class=\"none\">Nothing is due</li>"}</ol>`);
}

// Tests under way that another device opened: they can be brought here.
export function drawElsewhere(rows, button) {
  return put("elsewhere-open", rows.length ? `<h2>Open elsewhere</h2>${rows.map((r) =>
    `<button type="button" class="option" data-do="${button({ bring: r })}">Bring here: ${esc(r.name)}</button>`).join("")}` : "");
}

export function drawLane(lane, act, focus, button) {
  const code = lane.code && !lane.facts.closed ? `<span class="code" title="Wearer's screen">${esc(lane.address)} <b>${esc(lane.code)}</b></span>` : "";
  const verdict = lane.verdict && (lane.verdict.result !== "unfinished")
    ? `<p class="verdict ${lane.verdict.result}"><b>${esc(VERDICT[lane.verdict.result])}</b> ${esc(lane.verdict.reason)}
       ${(lane.verdict.next || []).map((n) => `<span class="step">${esc(n.text)}</span>`).join("")}</p>` : "";
  const found = lane.verdict?.findings.filter((f) => f.severity !== "note").length || 0;
  const ended = lane.facts.closed ? `<span class="after">
      <a class="option" href="/tests/${esc(lane.test)}">Record</a>
      ${lane.verdict?.result === "pass" ? `<a class="option" href="/tests/${esc(lane.test)}/certificate.pdf" target="_blank">Certificate</a>` : ""}
      ${lane.verdict && ["fail", "void"].includes(lane.verdict.result) ? `<button type="button" class="option" data-do="${button({ retry: lane })}">Try again</button>` : ""}
      <button type="button" class="option" data-do="${button({ leave: lane })}">Leave the room</button></span>` : "";
  return `<header>
      <button type="button" class="lane-pick" data-do="${button({ pick: lane.test })}" aria-pressed="${focus}">${badge(lane.letter, lane.n)}
        <span class="lane-name">${esc(lane.name)}</span></button>
      <span class="lane-what">${esc(lane.pieceName)}</span>
      <span class="lane-act" data-lane-act>${esc(act ? act.short || act.title : "Closed")}</span>
      ${found ? `<span class="found" title="Departures so far">${found} finding${found > 1 ? "s" : ""}</span>` : ""}
      ${code}${ended}</header>${verdict}
    <div class="paper" data-paper><div class="present" aria-hidden="true"></div><div class="strip" data-strip></div></div><div data-live></div>`;
}

export const VERDICT = { pass: "● Pass", fail: "✕ Fail", void: "○ Void", unsuited: "◇ Unsuited to this agent" };

export function drawStatus(news, clockNow, soundOn, voiceOn, asleep) {
  const words = { delivered: "● on record", waiting: "◌ sending", away: "✕ server away", trouble: "✕ server trouble", stale: "◌ new version" };
  const waiting = news.waiting ? `, ${news.waiting} kept here` : "";
  put("status", `<span class="${news.state}" role="status">${words[news.state]}${waiting}</span>`);
  text("wall", new Date(clockNow).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" }));
  $("sound").setAttribute("aria-pressed", soundOn);
  text("sound", soundOn ? (asleep ? "Sound: press a key" : "Sound on") : "Sound off");
  $("voice").setAttribute("aria-pressed", voiceOn);
  text("voice", voiceOn ? "Voice on" : "Voice off");
  const refused = news.refused || [];
  put("refused", refused.length ? `<p><b>${refused.length} event${refused.length > 1 ? "s" : ""} could not be put on record:</b>
    ${esc(refused[0].why.found)}. ${refused[0].why.mend ? `${esc(refused[0].why.mend)}.` : ""} They are kept on this device.
    <a download="not-on-record.json" href="data:application/json,${encodeURIComponent(JSON.stringify(refused))}">Save them as a file</a></p>` : "");
}

export { countdown };
