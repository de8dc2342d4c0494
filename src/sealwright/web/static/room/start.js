// The page's beginning: what the room takes with it, its controls, and that one tab alone works it.

import { RoomClock } from "./clock.js";
import { chosen, newDialog } from "./dialogs.js";
import { bindKeys } from "./keys.js";
import { Room } from "./room.js";
import { openStore } from "./store.js";
import { steadily } from "./tick.js";
import { bindTyping } from "./typing.js";
import { $ } from "./view.js";

const EVERY_MS = 100;

async function fetchPack(clock) {
  const before = clock.now();
  try {
    const response = await fetch("/api/pack");
    if (!response.ok) throw new Error(response.status);
    const pack = await response.json();
    pack.wearers.sort((a, b) => (a.name || a.id).localeCompare(b.name || b.id));
    if (!response.headers.get("X-Kept")) {
      pack.stepped = clock.resume(pack.now, before, clock.now());
      clock.compareSteady(pack, before - pack.stepped, clock.now());
    }
    try { localStorage.setItem("sealwright.pack", JSON.stringify(pack)); } catch { /* too large: the worker keeps it */ }
    return pack;
  } catch (error) {
    const kept = localStorage.getItem("sealwright.pack");
    if (kept) return JSON.parse(kept);
    throw error;
  }
}

function bind(room) {
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-do]");
    if (!button || button.id === "key") return;
    const found = room.buttons.does[Number(button.dataset.do)];
    if (found) room.do(found.what);
  });
  document.addEventListener("click", (event) => {
    if (event.target.id === "pad-clear") { room.pad?.clear(); room.draw(); }
  });
  document.addEventListener("pointerup", () => setTimeout(() => room.act?.sign && room.draw(), 0));
  $("add").addEventListener("click", () => newDialog(room));
  $("new-form").addEventListener("submit", () => room.enter(chosen($("new-form"))).catch((e) => room.trouble(e)));
  for (const button of document.querySelectorAll("[data-close]")) button.addEventListener("click", () => button.closest("dialog").close("no"));
  $("sound").addEventListener("click", () => { room.cues.toggle(); room.cues.wake().catch(() => {}); room.draw(); });
  $("voice").addEventListener("click", () => {
    room.voice = !room.voice;
    localStorage.setItem("sealwright.voice", room.voice ? "on" : "off");
    room.draw();
  });
  for (const dialog of document.querySelectorAll("dialog")) {
    dialog.addEventListener("close", () => setTimeout(() => document.activeElement?.blur(), 0));
  }
  bindKeys(room);
  bindTyping(room);
}

async function keepAwake() {
  if (document.visibilityState !== "visible") return;
  try { await navigator.wakeLock?.request("screen"); } catch { /* not granted: the screen may dim */ }
}

// One tab works the room: a second one says so and can take over.
function holdRoom(start) {
  if (!navigator.locks) { $("insecure").hidden = false; return start(); }
  const hold = (options) => navigator.locks.request("sealwright-room", options, async (lock) => {
    if (!lock) { $("elsewhere").showModal(); return; }
    await start();
    return new Promise(() => {});
  }).catch(() => { document.body.classList.add("taken"); $("taken").showModal(); });
  $("take-over").addEventListener("click", () => { $("elsewhere").close(); hold({ steal: true }); });
  return hold({ ifAvailable: true });
}

async function start() {
  const clock = new RoomClock();
  const [store, pack] = await Promise.all([openStore(), fetchPack(clock)]);
  const room = new Room(store, clock, pack);
  window.room = room;
  room.tester ||= pack.testers[0]?.id;
  bind(room);
  await room.restore();
  const stepped = pack.stepped || clock.unsure;
  if (stepped) await room.noteStep(stepped);
  clock.doubt(0);
  const figures = await fetch("/room/figures").then((r) => r.json()).catch(() => ({}));
  room.figures = figures;
  let ticking = false, beats = 0;
  steadily(async () => {
    if (ticking || document.body.classList.contains("taken")) return;
    ticking = true;
    try {
      await room.tick();
      if (++beats % 5 === 0) clock.beat();
    } catch (error) { room.trouble(error); } finally { ticking = false; }
  }, EVERY_MS);
  room.sender.wake();
  keepAwake();
  document.addEventListener("visibilitychange", keepAwake);
  document.body.dataset.ready = "yes";
}

navigator.serviceWorker?.register("/worker.js").catch(() => {});
holdRoom(() => start().catch((error) => {
  console.error(error);
  $("now-body").textContent = "The room could not start. Is the server running? Reload when it is.";
}));
