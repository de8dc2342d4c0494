// The few questions that cover the room: who comes in, why it stops, who tasted.

import { $, esc } from "./view.js";

const KINDS = { filtering: "filtering facepiece", half: "half mask", full: "full face mask: needs a quantitative test" };

export function newDialog(room, previous = null) {
  const { pack } = room, opened = previous?.facts.opened.data;
  const busy = new Set(room.lanes.filter((l) => !l.facts.closed).map((l) => l.facts.opened.data.wearer));
  const option = (value, label, chosen, off) => `<option value="${esc(value)}" ${chosen ? "selected" : ""} ${off ? "disabled" : ""}>${esc(label)}</option>`;
  const wearers = pack.wearers.filter((w) => !previous || w.id === opened.wearer);
  $("new-wearer").innerHTML = wearers.map((w) => option(w.id, `${w.name || w.id}${busy.has(w.id) ? " (under way)" : ""}`, false, busy.has(w.id))).join("");
  $("new-piece").innerHTML = pack.facepieces.map((f) => option(f.id, `${f.make} ${f.model}, ${f.size} (${KINDS[f.kind]})`, f.id === opened?.facepiece.id, f.kind === "full")).join("");
  const kept = opened?.protocol || localStorage.getItem("sealwright.protocol");
  $("new-protocol").innerHTML = Object.values(pack.protocols).map((p) => option(p.id, p.title, p.id === kept)).join("");
  $("new-tester").innerHTML = pack.testers.map((t) => option(t.id, `${t.name || t.id}${t.competent_until_at && t.competent_until_at < room.clock.now() ? " (competence out of date)" : ""}`, t.id === room.tester)).join("");
  const speaks = () => {
    const chosen = pack.wearers.find((w) => w.id === $("new-wearer").value)?.language || "en";
    $("new-language").innerHTML = Object.entries(pack.languages).map(([tag, name]) => option(tag, name, tag === chosen)).join("");
    const last = pack.last[$("new-wearer").value];
    if (!previous && pack.facepieces.some((f) => f.id === last && f.kind !== "full")) $("new-piece").value = last;
  };
  $("new-wearer").onchange = speaks;
  speaks();
  $("new-note").textContent = previous ? previous.protocol.after_fail : "";
  room.previous = previous;
  $("new").showModal();
}

// What was chosen in the dialog.
export function chosen(form) {
  const data = new FormData(form);
  return { ...Object.fromEntries(["wearer", "facepiece", "language", "protocol", "tester"].map((k) => [k, data.get(k)])),
           own: data.get("own") === "own" };
}

export function stopDialog(room, lane) {
  const dialog = $("stop");
  dialog.querySelector("h2").textContent = `Stop ${lane.name}'s test`;
  dialog.returnValue = "";
  dialog.onclose = () => {
    if (dialog.returnValue && dialog.returnValue !== "no") {
      room.answer(lane, [{ kind: "stopped", data: { reason: dialog.returnValue } }]);
    }
  };
  dialog.showModal();
}

// Tasted, by whom? The lane in hand when that is `sure`, or the only one under a hood, else it is asked.
export function askWhoTasted(room, sure = true) {
  const hooded = room.acts(room.clock.now()).filter((a) => a.taste).map((a) => a.lane);
  const lane = (sure && hooded.find((l) => l.test === room.focus)) || (hooded.length === 1 ? hooded[0] : null);
  if (lane) return room.answer(lane, [{ kind: "tasted", data: {} }]);
  if (!hooded.length) return;
  const at = room.clock.now(), dialog = $("who");
  $("who-lanes").innerHTML = hooded.map((l) => `<button class="option" value="${esc(l.test)}">${esc(l.letter)} · ${esc(l.name)}</button>`).join("");
  dialog.returnValue = "";
  dialog.onclose = () => {
    const found = hooded.find((l) => l.test === dialog.returnValue);
    if (found) room.answer(found, [{ kind: "tasted", at, data: {} }]);
  };
  dialog.onkeydown = (event) => {
    const found = hooded.find((l) => l.letter === event.key.toUpperCase());
    if (found) dialog.close(found.test);
  };
  dialog.showModal();
}
