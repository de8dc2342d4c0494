// What is read off an instrument for each exercise: which fields there are, and the events that typed values make.

import { fieldText, pastedRows, thousandths } from "./numbers.js";

const FACTOR = { name: "factor", label: "Factor", key: "factor_milli", least: 1 };
const MASK = { name: "mask", label: "Mask", key: "mask_milli", least: 0 };
const AMBIENT = { name: "ambient", label: "Room", key: "ambient_milli", least: 1 };
const PEAK = { name: "peak", label: "Peak", key: "peak_milli", least: 0, optional: true };
const LEAK = { name: "leak", label: "Leak, ml/min", key: "leak_ul_min", least: 0 };
const STEADY = { name: "steady", label: "Held still", key: "steady", check: true };

const peaks = (lane) => Boolean(lane.protocol.peaks?.[lane.facts.opened.data.facepiece.kind]);

export function columnsOf(lane) {
  if (lane.protocol.method === "pressure") return [LEAK, STEADY];
  if (modeOf(lane) === "factor") return [FACTOR];
  return peaks(lane) ? [MASK, AMBIENT, PEAK] : [MASK, AMBIENT];
}

export const modeOf = (lane) => lane.draft.mode || localStorage.getItem("sealwright.readings") || (peaks(lane) ? "pair" : "factor");

// The exercises that have a reading, in order.
export const readable = (lane) => lane.protocol.exercises.filter((e) => e.sampled);

// Rows of fields: [{id, title, note, fields: [{name, label, value, check}], event(typed), state(typed)}].
export function rowsOf(lane, exercises) {
  const columns = columnsOf(lane);
  return exercises.map((e) => {
    const read = lane.facts.read.get(e.id), fields = columns.map((c) => ({ ...c, name: `${e.id}.${c.name}`, value: recorded(read, c) }));
    const row = { id: e.id, title: e.title, note: e.counts ? e.how : "does not count; may stay empty", counts: e.counts, read, fields };
    return Object.assign(row, { touched: (typed) => touched(row, typed), make: (typed) => make(lane, row, typed) });
  });
}

function recorded(read, column) {
  if (column.check) return read ? read.data.steady !== false : true;
  return read ? fieldText(read.data[column.key]) : "";
}

const valueOf = (field, typed) => typed[field.name] ?? field.value;
const touched = (row, typed) => row.fields.some((f) => valueOf(f, typed) !== f.value && !(f.check && !row.read && !row.fields.some((g) => !g.check && valueOf(g, typed))));

// {event} or {wrong: {field name: words}}. A row left empty makes nothing.
function make(lane, row, typed) {
  const wrong = {}, data = { exercise: row.id };
  for (const field of row.fields) {
    const value = valueOf(field, typed);
    if (field.check) { if (!value) data.steady = false; continue; }
    if (field.optional && !String(value).trim()) continue;
    const { milli, wrong: why } = thousandths(value, field.least);
    if (why) wrong[field.name] = why; else data[field.key] = milli;
  }
  if (Object.keys(wrong).length) return { wrong };
  return { event: { kind: lane.protocol.method === "pressure" ? "leak-read" : "exercise-read", data } };
}

// What pasting would fill: {lines: [{title, values}], typed, mode, note} or {wrong}. `from`: the row the cursor was in.
export function pastePlan(lane, text, from, swapped = false) {
  const pressure = lane.protocol.method === "pressure", got = pastedRows(text, pressure ? 1 : 3);
  if (got.wrong) return got;
  const all = readable(lane), counting = all.filter((e) => e.counts), many = got.rows.length;
  const start = Math.max(0, all.findIndex((e) => e.id === from));
  const rows = many === counting.length && many !== all.length ? counting : many === all.length ? all : all.slice(start);
  if (many > rows.length) return { wrong: `${many} lines for ${rows.length} exercises: copy only the lines of this test` };
  const wide = got.rows[0].length, names = pressure ? ["leak"] : wide === 1 ? ["factor"] : swapped ? ["ambient", "mask"] : ["mask", "ambient"];
  if (wide === 3 && peaks(lane)) names.push("peak");
  const odd = wide === 3 && !peaks(lane) ? got.rows.findIndex((r) => !agrees(r, swapped)) : -1;
  if (odd >= 0) return { wrong: `Line ${odd + 1}: ${got.rows[odd][2]} is not room over mask (${got.rows[odd].slice(0, 2).join(", ")})`, swap: true };
  const typed = {}, lines = got.rows.map((cells, i) => {
    names.forEach((name, k) => { typed[`${rows[i].id}.${name}`] = cells[k]; });
    return { title: rows[i].title, values: names.map((_, k) => cells[k]) };
  });
  const short = rows.length - many;
  return { lines, heads: names.map((n) => ({ leak: "Leak", factor: "Factor", mask: "Mask", ambient: "Room", peak: "Peak" }[n])), typed,
           mode: pressure ? undefined : wide === 1 ? "factor" : "pair", swap: wide > 1,
           note: short ? `${short} of the exercises below stay as they are` : "" };
}

// A third number is the factor that the instrument worked out: it must belong to the other two.
function agrees(cells, swapped) {
  const [mask, ambient, factor] = (swapped ? [cells[1], cells[0], cells[2]] : cells).map((c) => thousandths(c).milli);
  return mask === 0 || Math.abs(ambient * 1000 / mask - factor) <= factor / 10 + 1000;
}
