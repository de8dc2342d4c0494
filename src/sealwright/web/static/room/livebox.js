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
  const numbers = live?.factors?.length ? table(live) : begun ? `<p class="source">${live ? "No factor yet." : ""}</p>` : "";
  const outlook = live?.outlook && begun ? `<p class="outlook ${live.outlook.certain}" role="status"><b aria-hidden="true">${CERTAIN[live.outlook.certain || ""]}</b> ${esc(live.outlook.text)}</p>` : "";
  const away = live?.away ? '<p class="outlook away">◌ The server does not answer: what is read is kept here, and the numbers come when it does.</p>' : "";
  return `<div class="live">${away}${outlook}<div class="live-row">${numbers}${live?.svg ? `<div class="live-picture">${live.svg}</div>` : ""}</div>${
    protocol.method === "pressure" || facts.closed ? "" : connection(lane, now)}</div>`;
}

function table(live) {
  const rows = live.factors.map((f) => `<tr${f.counts === false ? ' class="aside"' : ""}><th scope="row">${esc(f.title)}${f.counts === false ? " (does not count)" : ""}</th>
    <td class="num">${said(f)}</td><td class="num">${between(f)}</td></tr>`).join("");
  const overall = live.overall ? `<tr class="overall"><th scope="row">Overall so far</th><td class="num">${said(live.overall)}</td><td class="num">${between(live.overall)}</td></tr>` : "";
  return `<table class="factors"><caption>${live.rule === "each" ? `Every exercise must reach ${rounded(live.level)}` : `The overall factor must reach ${rounded(live.level)}`}</caption>
    <thead><tr><th scope="col">Exercise</th><th scope="col" class="num">Factor</th><th scope="col" class="num">95 % interval</th></tr></thead><tbody>${rows}${overall}</tbody></table>`;
}

function connection(lane, now) {
  const samples = lane.live?.samples, some = samples?.count > 0, unit = UNIT[samples?.unit] || "";
  const age = some ? Math.max(0, Math.round((now - samples.last_at) / 1000)) : 0;
  const value = (x) => (x === undefined || x === null ? "none yet" : `${rounded(x)} ${unit}`);
  const words = some ? `${age > 15 ? "◌ Samples have stopped" : "● Samples arriving"}: ${samples.count}. Mask ${value(samples.mask)}, room ${value(samples.ambient)}.` : "◌ No samples yet: readings can be typed.";
  const address = `${location.origin}/api/tests/${lane.test}`;
  return `<details class="connection"><summary>${esc(words)}</summary>
    <p>An instrument's reader sends here, one JSON object a line, such as <code>{"t": ${Math.floor(now / 1000)}, "mask": 3, "ambient": 412}</code>:</p>
    <p><code>POST ${esc(address)}/samples</code></p><p><code>${esc(address.replace(/^http/, "ws"))}/stream</code></p></details>`;
}

// Drawn anew only when it says something else; an opened panel stays open.
export function placeLive(node, lane, focus, now) {
  const place = node.querySelector("[data-live]");
  if (!place) return;
  const html = drawLive(lane, focus, Math.floor(now / 5000) * 5000);
  if (place.dataset.html === html) return;
  const open = place.querySelector("details")?.open;
  place.dataset.html = html;
  place.innerHTML = html;
  if (open) place.querySelector("details").open = true;
}
