// One big key: space bar, pedal or touch. A short press answers; holding it says that the wearer noticed the agent.

import { $ } from "./view.js";

const HOLD_MS = 800;

export function bindKeys(room) {
  let down = null, timer = null, lane = null;
  const key = () => $("key");
  const begin = (source) => {
    if (down) return;
    down = source;
    const act = room.act;
    lane = act?.lane;
    if (!act?.taste) return;
    key()?.classList.add("holding");
    timer = setTimeout(() => { down = "spent"; release(); room.press(true, lane); }, HOLD_MS);
  };
  const release = () => { clearTimeout(timer); key()?.classList.remove("holding"); };
  const end = (source) => {
    if (!down) return;
    const spent = down === "spent";
    down = null;
    release();
    // What was asked may have changed under the finger: then the press says nothing.
    if (!spent && room.act?.lane === lane) room.press(false);
  };
  const typing = (event) => event.target.closest?.("dialog, input, select, textarea");
  const isKey = (event) => ["Space", "PageDown", "Enter", "NumpadEnter"].includes(event.code);
  addEventListener("keydown", (event) => {
    if (typing(event)) return;
    if (event.code === "KeyT") { if (!event.repeat) room.do({ taste: true }); return; }
    if (!isKey(event) || (event.code.includes("Enter") && event.target.closest("button, a") && event.target.id !== "key")) return;
    event.preventDefault();
    if (!event.repeat) begin("key");
  });
  addEventListener("keyup", (event) => { if (isKey(event) && down) { event.preventDefault(); end("key"); } });
  addEventListener("blur", () => { down = null; release(); });
  document.addEventListener("pointerdown", (event) => { if (event.target.closest("#key") && event.button === 0) begin("touch"); });
  addEventListener("pointerup", (event) => { if (down && down !== "key") { if (event.target.closest?.("#key") || down === "spent") end("touch"); else { down = null; release(); } } });
  addEventListener("pointercancel", () => { down = null; release(); });
}
