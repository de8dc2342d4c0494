// The few questions that cover the room: who comes in, why it stops, who noticed the agent.

import { $, esc } from "./view.js";

const KINDS = { filtering: "filtering facepiece", half: "half mask", full: "full face mask" };
const option = (value, label, chosen, off) =>
  `<option value="${esc(value)}" ${chosen ? "selected" : ""} ${off ? "disabled" : ""}>${esc(label)}</option>`;

export function newDialog(room, previous = null) {
  const { pack } = room, opened = previous?.facts.opened.data;
  const busy = new Set(room.lanes.filter((l) => !l.facts.closed).map((l) => l.facts.opened.data.wearer));
  const wearers = pack.wearers.filter((w) => !previous || w.id === opened.wearer);
  $("new-wearer").innerHTML = wearers.map((w) => option(w.id, `${w.name || w.id}${busy.has(w.id) ? " (under way)" : ""}`, false, busy.has(w.id))).join("");
  $("new-piece").innerHTML = pack.facepieces.map((f) => option(f.id, `${f.make} ${f.model}, ${f.size} (${KINDS[f.kind]})`, f.id === opened?.facepiece.id)).join("");
  $("new-tester").innerHTML = pack.testers.map((t) => option(t.id, `${t.name || t.id}${t.competent_until_at && t.competent_until_at < room.clock.now() ? " (competence out of date)" : ""}`, t.id === room.tester)).join("");
  const speaks = () => {
    const chosen = pack.wearers.find((w) => w.id === $("new-wearer").value)?.language || "en";
    $("new-language").innerHTML = Object.entries(pack.languages).map(([tag, name]) => option(tag, name, tag === chosen)).join("");
    const last = pack.last[$("new-wearer").value];
    if (!previous && pack.facepieces.some((f) => f.id === last)) $("new-piece").value = last;
    methods(pack, opened?.protocol || $("new-protocol").value || localStorage.getItem("sealwright.protocol"));
  };
  $("new-wearer").onchange = speaks;
  $("new-piece").onchange = () => methods(pack, $("new-protocol").value);
  $("new-protocol").onchange = () => whoseRules(pack);
  speaks();
  if (opened?.rule_set) $("new-rules").value = opened.rule_set;
  $("new-note").textContent = previous ? previous.protocol.after_fail : "";
  room.previous = previous;
  $("new").showModal();
}

const pieceOf = (pack) => pack.facepieces.find((f) => f.id === $("new-piece").value);

// Only protocols that may pass this kind of facepiece are offered, by method.
function methods(pack, wanted) {
  const kind = pieceOf(pack)?.kind, all = Object.values(pack.protocols), fit = all.filter((p) => p.kinds.includes(kind));
  const groups = [...new Set(fit.map((p) => p.method_word))];
  const chosen = (fit.find((p) => p.id === wanted) || fit.find((p) => p.id === localStorage.getItem(`sealwright.protocol.${kind}`)) || fit[0])?.id;
  $("new-protocol").innerHTML = groups.map((word) => `<optgroup label="${esc(word)}">${
    fit.filter((p) => p.method_word === word).map((p) => option(p.id, p.title, p.id === chosen)).join("")}</optgroup>`).join("");
  $("new-methods").textContent = kind === "full" ? all.find((p) => p.not_full)?.not_full || "" : "";
  whoseRules(pack);
}

// A quantitative method may be judged by another rule set's level where that accepts the method for the facepiece.
function whoseRules(pack) {
  const protocol = pack.protocols[$("new-protocol").value], kind = pieceOf(pack)?.kind, row = $("new-rules").closest("label");
  row.hidden = !protocol?.quantitative;
  $("new-rules").innerHTML = row.hidden ? "" : [option("", `The protocol's own: ${number(protocol.levels[kind])}`, true),
    ...Object.entries(pack.rules).filter(([id, r]) => id !== protocol.rule_set && r.levels[kind] && r.methods[protocol.method]?.includes(kind))
      .map(([id, r]) => option(id, `${r.title}: ${number(r.levels[kind])}`))].join("");
  const own = ownLevel(pack, protocol, kind, $("new-rules").value);
  $("new-level").textContent = own ? `This site asks for ${number(own)}.` : "";
  $("new-cautions").innerHTML = (protocol?.cautions || []).map((c) => `<li>${esc(c.rule)}</li>`).join("");
  $("new-cautions-box").hidden = !protocol?.cautions?.length;
  $("new-rules").onchange = () => { $("new-level").textContent = siteSays(pack, protocol, kind); };
}

const number = (n) => Number(n).toLocaleString("en-GB");

function siteSays(pack, protocol, kind) {
  const own = ownLevel(pack, protocol, kind, $("new-rules").value);
  return own ? `This site asks for ${number(own)}.` : "";
}

// The site's own, stricter level for a kind of facepiece, or null.
export function ownLevel(pack, protocol, kind, ruleSet) {
  if (!protocol?.quantitative) return null;
  return pack.site_levels?.[ruleSet || protocol.rule_set]?.[kind] || null;
}

// What was chosen in the dialog.
export function chosen(form) {
  const data = new FormData(form);
  return { ...Object.fromEntries(["wearer", "facepiece", "language", "protocol", "tester", "rules"].map((k) => [k, data.get(k)])),
           own: data.get("own") === "own" };
}

export function stopDialog(room, lane) {
  const dialog = $("stop");
  dialog.querySelector("h2").textContent = `Stop ${lane.name}'s test`;
  $("stop-relief").textContent = lane.protocol.relief[1];
  dialog.returnValue = "";
  dialog.onclose = () => {
    if (dialog.returnValue && dialog.returnValue !== "no") {
      room.answer(lane, [{ kind: "stopped", data: { reason: dialog.returnValue } }]);
    }
  };
  dialog.showModal();
}

// Noticed, by whom? The lane in hand when that is `sure`, or the only one exposed, else it is asked.
export function askWhoNoticed(room, sure = true) {
  const exposed = room.acts(room.clock.now()).filter((a) => a.taste).map((a) => a.lane);
  const lane = (sure && exposed.find((l) => l.test === room.focus)) || (exposed.length === 1 ? exposed[0] : null);
  if (lane) return room.answer(lane, [{ kind: lane.protocol.notice.kind, data: {} }]);
  if (!exposed.length) return;
  const at = room.clock.now(), dialog = $("who"), asked = new Set(exposed.map((l) => l.protocol.notice.asked));
  $("who-title").textContent = asked.size === 1 ? [...asked][0] : "Who noticed it?";
  $("who-lanes").innerHTML = exposed.map((l) => `<button class="option" value="${esc(l.test)}">${esc(l.letter)} · ${esc(l.name)}</button>`).join("");
  dialog.returnValue = "";
  dialog.onclose = () => {
    const found = exposed.find((l) => l.test === dialog.returnValue);
    if (found) room.answer(found, [{ kind: found.protocol.notice.kind, at, data: {} }]);
  };
  dialog.onkeydown = (event) => {
    const found = exposed.find((l) => l.letter === event.key.toUpperCase());
    if (found) dialog.close(found.test);
  };
  dialog.showModal();
}
