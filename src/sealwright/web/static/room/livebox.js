// Under a lane's staff: the factors so far, whether the end is certain already, and where samples come in.

import { esc } from "./view.js";

const rounded = (x) => (x >= 100 ? Math.round(x).toLocaleString("en-GB") : Number(x.toPrecision(3)).toString());
const said = (f) => (f.factor === undefined || f.factor === null ? `over ${f.low ? rounded(f.low) : "?"}` : rounded(f.factor));
const between = (f) => (f.low === undefined || f.low === null ? "" : f.high === undefined || f.high === null ? `at least ${rounded(f.low)}` : `${rounded(f.low)} to ${rounded(f.high)}`);
const CERTAIN = { fail: "✕", pass: "●", "": "◌" };
const UNIT = { count: "particles a sample", "milli-per-cm3": "per cm³" };

export function drawLive(lane, focus, now) {
  const { live, facts, protocol } = lane;
  if (!protocol.quantitative || !facts.measured || !focus || (facts.closed && !live?.factors?.length)) return "";
  const begun = facts.run || facts.read.size;
  const numbers = live?.factors?.length ? list(live) : "";
  const outlook = live?.outlook && begun ? `<p class="outlook ${live.outlook.certain}" role="status"><b aria-hidden="true">${CERTAIN[live.outlook.certain || ""]}</b> ${esc(live.outlook.text)}</p>` : "";
  const away = live?.away ? '<p class="outlook away">◌ The server does not answer: what is read is kept here, and the numbers come when it does.</p>' : "";
  return `<div class="live">${away}${outlook}${numbers}${
    protocol.method === "pressure" || facts.closed ? "" : connection(lane, now)}${live?.svg ? `<div class="live-picture">${live.svg}</div>` : ""}</div>`;
}

function list(live) {
  const item = (f, title) => `<li class="${f.counts === false ? "aside" : ""}"><span>${esc(title)}${f.counts === false ? " (does not count)" : ""}</span>
    <b class="num">${said(f)}</b> <small class="num">${between(f)}</small></li>`;
  const overall = live.overall ? item(live.overall, "Overall so far").replace('class=""', 'class="overall"') : "";
  return `<p class="source">${live.rule === "each" ? "Every exercise" : "The overall factor"} must reach ${rounded(live.level)}. Beside each factor its 95 % interval, where it can be known.</p>
    <ul class="factors">${live.factors.map((f) => item(f, f.title)).join("")}${overall}</ul>`;
}

function connection(lane, now) {
  const samples = lane.live?.samples, some = samples?.count > 0, unit = UNIT[samples?.unit] || "";
  const age = some ? Math.max(0, Math.round((now - samples.last_at) / 1000)) : 0;
  const value = (x) => (x === undefined || x === null ? "none yet" : `${rounded(x)} ${unit}`);
  const words = some ? `${age > 15 ? "◌ Samples have stopped" : "● Samples arriving"}: ${samples.count}. Mask ${value(samples.mask)}, room ${value(samples.ambient)}.` : "◌ No samples yet: readings can be typed.";
  const address = `${location.origin}/api/tests/${lane.test}`;
  return `<details class="connection"><summary>${esc(words)}</summary>
    <p>An instrument’s reader sends (HTTP POST, or over the connection below) one JSON object a line, such as <code>{"t": ${Math.floor(now / 1000)}, "mask": 3, "ambient": 412}</code>:</p>
    <p><code>${esc(address)}/samples?unit=count</code></p><p><code>${esc(address.replace(/^http/, "ws"))}/stream</code></p></details>`;
}

// On a wide screen the numbers stand at the side while readings are typed, and where there is no height for them below.
export function liveBeside(act) {
  const wide = matchMedia("(min-width: 761px)").matches, low = matchMedia("(max-height: 860px)").matches;
  return act && wide && (low || act.stage.shape === "readings") ? act.lane : null;
}

// Drawn anew only when it says something else; an opened panel stays open.
export function placeLive(place, lane, shown, now) {
  if (!place) return;
  const html = lane ? drawLive(lane, shown, Math.floor(now / 5000) * 5000) : "";
  if (place.dataset.html === html) return;
  const panel = place.querySelector("details");
  if (panel && lane) lane.panelOpen = panel.open;
  place.dataset.html = html;
  place.innerHTML = html;
  if (html && lane?.panelOpen) place.querySelector("details")?.setAttribute("open", "");
}
