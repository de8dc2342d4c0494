// The lanes: a staff for every wearer, its paper moving under the fixed present line.

import { conductOf, missed } from "./lane.js";
import { liveBeside, placeLive } from "./livebox.js";
import { $, drawLane, esc, put } from "./view.js";

const SEVERAL = 0.72, NARROW = 760;

export function drawPapers(room, acts, now) {
  const wanted = new Set(room.lanes.map((l) => `lane-${l.test}`));
  const beside = liveBeside(acts.find((a) => a.lane.test === room.focus));
  for (const node of [...$("lanes").children]) if (!wanted.has(node.id)) node.remove();
  for (const lane of room.lanes) {
    const act = acts.find((a) => a.lane === lane), id = `lane-${lane.test}`;
    let node = $(id);
    if (!node) {
      node = Object.assign(document.createElement("section"), { id, className: "lane" });
      $("lanes").append(node);
    }
    node.dataset.n = lane.n % 4;
    const focus = lane.test === room.focus;
    node.classList.toggle("focus", focus);
    room.section(id, () => { put(id, drawLane(lane, act, focus, room.button(id))); lane.strip = null; },
      [lane.letter, lane.name, focus, lane.code, lane.verdict, Boolean(lane.facts.closed), lane.pieceName, act?.short || act?.title]);
    paper(room, node, lane, act, now);
    placeLive(node.querySelector("[data-live]"), lane, focus && lane !== beside, now);
  }
  placeLive($("live-beside"), beside, true, now);
}

// The paper moves under the fixed present line.
function paper(room, node, lane, act, now) {
  const strip = node.querySelector("[data-strip]"), level = lane.score?.level;
  const running = Boolean(lane.facts.run && !lane.facts.complete && !(lane.facts.measured && lane.facts.over) && !lane.facts.tasted && !lane.facts.stopped);
  node.classList.toggle("running", running);
  if (!running || !lane.score) { lane.strip = null; fill(strip, lane.facts.closed ? "" : stages(lane, act)); return; }
  delete strip.dataset.html;
  const scale = innerWidth < NARROW || room.lanes.filter((l) => l.facts.run && !l.facts.closed).length > 1 ? SEVERAL : 1;
  if (lane.strip !== `${level}/${scale}`) {
    strip.innerHTML = lane.protocol.strips[level];
    const drawing = strip.firstElementChild;
    drawing.style.blockSize = `${drawing.getAttribute("height") * scale}px`;
    drawing.style.inlineSize = `${drawing.getAttribute("width") * scale}px`;
    Object.assign(lane, { strip: `${level}/${scale}`, done: "" });
  }
  const s = (now - lane.facts.run.at) / 1000, zero = Number(strip.firstElementChild?.dataset.origin || 0);
  strip.style.transform = `translateX(${((-zero - s * lane.protocol.px_per_s) * scale).toFixed(1)}px)`;
  const done = [...lane.facts.doses.keys()].join();
  if (lane.done !== done) {
    lane.done = done;
    for (const id of lane.facts.doses.keys()) strip.querySelector(`[data-act="${CSS.escape(id)}"]`)?.classList.add("given");
  }
  for (const a of missed(lane.facts, lane.score, s)) strip.querySelector(`[data-act="${CSS.escape(a.id)}"]`)?.classList.add("missed");
}

// Fills a node when what it shows has changed.
function fill(node, html) {
  if (node.dataset.html === html) return;
  node.dataset.html = html;
  node.innerHTML = html;
  node.style.transform = "";
}

// Before the score is known: the stages as a line of stations.
function stages(lane, act) {
  const conduct = conductOf(lane.facts, lane.protocol);
  const here = conduct.findIndex((s) => s.id === act?.stage.id);
  return `<ol class="stations">${conduct.map((s, i) => `<li class="${i < here ? "past" : i === here ? "here" : ""}">${esc(s.title)}</li>`).join("")}</ol>`;
}
