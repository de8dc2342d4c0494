// Fields filled by hand: kept as a draft at every stroke, recorded whole or not at all. Enter goes on to the next field.

import { keepDraft } from "./keep.js";
import { pastePlan } from "./readings.js";
import { $, esc } from "./view.js";

const typedOf = (lane) => lane.draft.typed || {};

export function drawTyping(act, button) {
  const { typing, lane } = act, typed = typedOf(lane), wrong = lane.wrong || {};
  const cell = (f, row) => drawField(f, typed[f.name] ?? f.value, wrong[f.name], row);
  const modes = (typing.modes || []).map((m) => `<button type="button" class="option" aria-pressed="${m.on}" data-do="${button(m)}">${esc(m.label)}</button>`).join("");
  const plan = lane.draft.paste ? drawPlan(lane, button) : "";
  if (typing.fields) return `<div class="typing">${typing.fields.map((f) => `<div class="field"><label for="f-${esc(f.name)}">${esc(f.label)}</label>${cell(f)}</div>`).join("")}</div>`;
  if (!typing.rows.length) return "";
  const heads = typing.rows[0].fields.map((f) => `<th scope="col">${esc(f.label)}</th>`).join("");
  if (plan) return `<div class="typing">${plan}</div>`;
  return `<div class="typing">${modes ? `<div class="options modes">${modes}</div>` : ""}
    <table class="typed"><caption>${esc(typing.caption)}</caption><thead><tr><th scope="col">Exercise</th>${heads}<th scope="col"></th></tr></thead>
    <tbody>${typing.rows.map((r) => `<tr data-row="${esc(r.id)}"><th scope="row">${esc(r.title)}${r.note ? `<small>${esc(r.note)}</small>` : ""}</th>${
      r.fields.map((f) => `<td data-label="${esc(f.label)}">${cell(f, r)}</td>`).join("")}<td class="state" data-state></td></tr>`).join("")}</tbody></table></div>`;
}

function drawField(f, value, wrong, row) {
  const id = `f-${esc(f.name)}`, name = row ? ` aria-label="${esc(`${row.title}: ${f.label}`)}"` : "";
  const shape = f.check ? `type="checkbox" ${value ? "checked" : ""}` : `type="${f.date ? "date" : "text"}" ${f.date || f.text ? "" : 'inputmode="decimal"'} value="${esc(value)}"`;
  return `<input id="${id}" data-field="${esc(f.name)}" ${shape}${name} autocomplete="off" aria-describedby="w-${id}" ${wrong ? 'aria-invalid="true"' : ""}>${
    f.unit ? ` <span class="unit">${esc(f.unit)}</span>` : ""}<span class="wrong" id="w-${id}">${esc(wrong || "")}</span>`;
}

function drawPlan(lane, button) {
  const { text, from, swapped } = lane.draft.paste, plan = pastePlan(lane, text, from, swapped), { paste, ...rest } = lane.draft;
  const swap = plan.swap ? `<button type="button" class="option" data-do="${button({ draft: { ...lane.draft, paste: { text, from, swapped: !swapped } }, row: from })}">Swap mask and room</button>` : "";
  const leave = `<button type="button" class="option" data-do="${button({ draft: rest, row: from })}">Leave it</button>`;
  if (plan.wrong) return `<div class="plan" role="alert"><p><b>Not taken over.</b> ${esc(plan.wrong)}.</p><div class="options">${swap}${leave}</div></div>`;
  const fill = { row: from, draft: { ...rest, typed: { ...rest.typed, ...plan.typed }, ...(plan.mode ? { mode: plan.mode } : {}) } };
  return `<div class="plan"><p><b>Pasted: is this right?</b> Nothing is recorded yet. ${esc(plan.note)}</p>
    <table><thead><tr><th></th>${plan.heads.map((h) => `<th scope="col">${esc(h)}</th>`).join("")}</tr></thead><tbody>${
      plan.lines.map((l) => `<tr><th scope="row">${esc(l.title)}</th>${l.values.map((v) => `<td>${esc(v)}</td>`).join("")}</tr>`).join("")}</tbody></table>
    <div class="options"><button type="button" class="option" data-do="${button(fill)}">Fill the fields</button>${swap}${leave}</div></div>`;
}

// What each row's state is, in words; no field is drawn anew.
export function refreshTyping(act) {
  for (const row of act?.typing?.rows || []) {
    const node = document.querySelector(`[data-row="${CSS.escape(row.id)}"] [data-state]`);
    if (!node) continue;
    const said = row.touched(typedOf(act.lane)) ? "Enter records" : row.read ? "✓ recorded" : "";
    if (node.textContent !== said) node.textContent = said;
  }
}

function mark(lane, wrong) {
  lane.wrong = wrong;
  for (const input of document.querySelectorAll("[data-field]")) {
    const words = wrong[input.dataset.field] || "";
    $(`w-${input.id}`).textContent = words;
    if (words) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
  }
  const first = Object.keys(wrong)[0];
  if (first) { const input = $(`f-${first}`); input?.focus(); input?.scrollIntoView({ block: "center" }); }
}

// The draft without what has been recorded from it.
function without(lane, names) {
  const typed = Object.fromEntries(Object.entries(typedOf(lane)).filter(([name]) => !names.includes(name)));
  return { ...lane.draft, typed };
}

// A reading entered again at once is a slip of the finger: the one before is taken back with it.
function corrected(room, lane, row, event) {
  const soon = row.read && room.clock.now() - row.read.at < lane.protocol.take_back_s * 1000;
  return soon ? [{ kind: "taken-back", data: { event: row.read.id } }, event] : [event];
}

async function recordRows(room, act, rows, last = []) {
  const { lane } = act, typed = typedOf(lane), wrong = {}, events = [], names = [];
  for (const row of rows) {
    const made = row.make(typed);
    if (made.wrong) Object.assign(wrong, made.wrong);
    else { events.push(...corrected(room, lane, row, made.event)); names.push(...row.fields.map((f) => f.name)); }
  }
  mark(lane, wrong);
  if (Object.keys(wrong).length) return false;
  const all = [...events, ...last];
  if (all.length) await room.answer(lane, all, without(lane, names));
  return true;
}

// The big key: everything typed is recorded, or nothing is and the first field that is wrong is in hand.
export function submit(room, act) {
  const { typing, lane } = act;
  if (!typing) return null;
  if (typing.rows) return recordRows(room, act, typing.rows.filter((r) => r.touched(typedOf(lane))), typing.last || []);
  const made = typing.make(typedOf(lane));
  mark(lane, made.wrong || {});
  return made.events ? room.answer(lane, made.events, without(lane, typing.fields.map((f) => f.name))) : null;
}

export function bindTyping(room) {
  const field = (event) => event.target.closest?.("[data-field]");
  document.addEventListener("input", (event) => {
    const input = field(event), lane = room.act?.lane;
    if (!input || !lane) return;
    const value = input.type === "checkbox" ? input.checked : input.value;
    lane.draft = { ...lane.draft, typed: { ...typedOf(lane), [input.dataset.field]: value } };
    if (lane.wrong?.[input.dataset.field]) { const { [input.dataset.field]: _, ...rest } = lane.wrong; lane.wrong = rest; $(`w-${input.id}`).textContent = ""; input.removeAttribute("aria-invalid"); }
    keepDraft(lane);
    room.refresh();
  });
  document.addEventListener("paste", (event) => {
    const input = field(event), lane = room.act?.lane, text = event.clipboardData?.getData("text") || "";
    if (!input?.closest("[data-row]") || !room.act.typing?.paste || !/\S[\s;]+\S/.test(text.trim())) return;
    event.preventDefault();
    lane.draft = { ...lane.draft, paste: { text, from: input.closest("[data-row]").dataset.row } };
    keepDraft(lane);
    room.draw();
    document.querySelector(".plan button")?.focus();
  });
  document.addEventListener("keydown", (event) => {
    const input = field(event);
    if (input && event.key === "Enter") { event.preventDefault(); goOn(room, input); }
    if (!input && room.act?.typing && /^\d$/.test(event.key) && !event.target.closest?.("dialog, input, select")) firstEmpty()?.focus();
  });
}

const fields = () => [...document.querySelectorAll("[data-field]")];
const firstEmpty = () => fields().find((f) => f.type === "text" && !f.value);

// Enter in a field: on to the next; at the end of a row the row is recorded, at the very end the key is in hand.
async function goOn(room, input) {
  const all = fields(), next = all[all.indexOf(input) + 1]?.dataset.field, act = room.act;
  const row = act?.typing?.rows?.find((r) => r.id === input.closest("[data-row]")?.dataset.row);
  if (row && row.fields.at(-1).name === input.dataset.field && row.touched(typedOf(act.lane))) {
    if (!await recordRows(room, act, [row])) return;
  }
  const target = next && $(`f-${next}`);
  if (target) { target.focus(); if (target.type === "text") target.select(); } else $("key")?.focus();
}

export const focusRow = (id) => document.querySelector(`[data-row="${CSS.escape(id)}"] [data-field]`)?.focus();

// The field in hand stays in hand when its table is drawn anew.
export function keepingFocus(draw) {
  const at = document.activeElement, name = at?.dataset?.field, range = name && at.type === "text" ? [at.selectionStart, at.selectionEnd] : null;
  const fresh = draw();
  const again = fresh && name && $(`f-${name}`);
  if (again) { again.focus({ preventScroll: true }); if (range) again.setSelectionRange(...range); }
  return fresh;
}
