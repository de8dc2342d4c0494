// The live room: takes the tester's key, records what happened, and shows the next act over all lanes.

import { actOf, countdown } from "./acts.js";
import { clashes, clearStart } from "./clash.js";
import { RoomClock } from "./clock.js";
import { Cues, speak } from "./cues.js";
import { fold, passed, runAt, scoreOf, timed } from "./lane.js";
import { Pad, sha256 } from "./pad.js";
import { Sender } from "./sender.js";
import { openStore } from "./store.js";
import { $, Buttons, drawAhead, drawElsewhere, drawKeys, drawLane, drawNow, drawStatus, esc, put, refreshNow } from "./view.js";

const LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ", HOLD_MS = 800, GUARD_MS = 600, EVERY_MS = 100;
const build = document.body.dataset.build;
const roomId = (localStorage["sealwright.room"] ||= freshId("r"));

function freshId(prefix = "e") {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return `${prefix}-${Date.now().toString(36)}-${[...bytes].map((b) => b.toString(16).padStart(2, "0")).join("")}`;
}

class Room {
  constructor(store, clock, pack) {
    Object.assign(this, { store, clock, pack, lanes: [], focus: null, picked: null, guardUntil: 0, away: null,
                          news: { state: "waiting", waiting: 0, refused: [] }, buttons: new Buttons(), figures: {} });
    this.cues = new Cues((from, to) => this.dueCues(from, to));
    this.voice = localStorage.getItem("sealwright.voice") === "on";
    this.sender = new Sender(store, clock, build, (news) => this.heard(news));
    this.tester = localStorage.getItem("sealwright.tester");
    this.busy = Promise.resolve();
  }

  // -- lanes -------------------------------------------------------------------------------------------------------

  async restore() {
    for (const kept of await this.store.lanes()) this.addLane(kept, await this.store.events(kept.test));
    const beat = this.clock.lastBeat;
    const now = this.clock.now();
    if (beat === null) return;
    for (const lane of this.lanes) {
      if (!underHood(lane.facts) || now - beat < lane.protocol.away_s * 1000) continue;
      this.away = { from: beat, to: now };
      await this.tickLane(lane, now);
      await this.record(lane, [{ kind: "room-returned", data: { away_at: beat } }]);
    }
    this.away = null;
  }

  addLane(kept, events) {
    const lane = { ...kept, facts: fold(events), draft: readDraft(kept.test), kit: readKit(), verdict: null, code: null };
    this.understand(lane);
    this.lanes.push(lane);
    this.renumber();
    this.askCode(lane);
    return lane;
  }

  renumber() { this.lanes.forEach((lane, n) => { lane.n = n; }); }

  understand(lane) {
    const opened = lane.facts.opened.data, piece = opened.facepiece;
    lane.protocol = this.pack.protocols[opened.protocol];
    lane.score = scoreOf(lane.facts, lane.protocol);
    lane.wearer = this.pack.wearers.find((w) => w.id === opened.wearer);
    lane.name = lane.wearer?.name || opened.wearer;
    lane.pieceName = `${piece.make} ${piece.model}, ${piece.size}`;
    lane.lang = lane.wearer?.language || "en";
  }

  async open({ wearer, facepiece, protocol, own, language, previous }) {
    const piece = this.pack.facepieces.find((f) => f.id === facepiece);
    const tester = this.pack.testers.find((t) => t.id === this.tester);
    const method = this.pack.protocols[protocol];
    const test = freshId("t");
    const data = { protocol, protocol_version: method.version, wearer, room: roomId,
      facepiece: { id: piece.id, make: piece.make, model: piece.model, material: piece.material, size: piece.size,
                   kind: piece.kind, own },
      tester: { id: tester.id, ...(tester.competent_until_at ? { competent_until_at: tester.competent_until_at } : {}) } };
    if (previous) Object.assign(data, { try_no: (previous.facts.opened.data.try_no || 1) + 1, previous: previous.test,
      ...(previous.facts.tasted ? { tasted_at: previous.facts.tasted.at } : {}) });
    const kept = { test, letter: this.freeLetter(), order: Date.now() };
    const event = this.event(test, { kind: "opened", data });
    await this.store.keepLane(kept);
    const person = this.pack.wearers.find((w) => w.id === wearer);
    const made = [event];
    if (language && person && person.language !== language) {
      person.language = language;
      made.unshift({ ...this.event(test, { kind: "language-chosen", data: { language } }), stream: `wearer:${wearer}` });
    }
    await this.store.record(made);
    const lane = this.addLane(kept, [event]);
    if (this.clock.offset !== null && Math.abs(this.clock.offset) > 2000) {
      await this.record(lane, [{ kind: "clock-checked", data: { offset_ms: this.clock.offset } }]);
    }
    this.picked = test;
    this.sender.wake();
    this.draw();
    return lane;
  }

  async leave(lane) {
    if (await this.store.waiting()) { alert("Some of this is not on the server's record yet. Wait until it is."); return; }
    await this.store.dropLane(lane.test);
    localStorage.removeItem(`sealwright.draft.${lane.test}`);
    this.lanes = this.lanes.filter((l) => l !== lane);
    this.renumber();
    this.draw();
  }

  // -- recording ---------------------------------------------------------------------------------------------------

  event(test, { kind, data, at }) {
    return { stream: `test:${test}`, id: freshId(), kind, at: at ?? this.clock.now(), by: this.tester, data };
  }

  // One after another, so that a quick hand cannot overtake the disk.
  record(lane, made, marks = []) {
    const at = this.clock.now();
    const events = made.map((m) => this.event(lane.test, { at, ...m }));
    const work = this.busy.then(async () => {
      await this.store.record(events, marks);
      lane.facts = fold([...lane.facts.events, ...events]);
      this.understand(lane);
    });
    this.busy = work.catch((error) => this.trouble(error));
    return work.then(() => { this.sender.wake(); this.draw(); return events; });
  }

  trouble(error) {
    console.error(error);
    put("refused", `<p><b>This device could not keep what was recorded:</b> ${esc(error)}. Note the time and go on by hand.</p>`);
  }

  async do(what) {
    await this.cues.wake().catch(() => {});
    const lane = what.lane || this.lane(this.focus);
    if (what.pick) { this.picked = what.pick; return this.draw(); }
    if (what.retry) return this.dialog(what.retry);
    if (what.leave) return this.leave(what.leave);
    if (what.stop) return this.stopDialog(what.stop);
    if (what.bring) return this.bring(what.bring);
    if (what.taste) return this.taste();
    if (what.takeBack) return this.takeBack(what.takeBack);
    if (!lane) return;
    if (what.draft) { lane.draft = what.draft; keepDraft(lane); return this.draw(); }
    if (what.signs) return this.sign(lane, what.signs);
    if (what.events) return this.answer(lane, what.events);
  }

  async answer(lane, made) {
    lane.draft = {};
    keepDraft(lane);
    const events = await this.record(lane, made);
    const first = events[0];
    this.back = first.kind === "closed" ? null : { lane, id: first.id, label: first.kind.replaceAll("-", " "), all: events.map((e) => e.id),
                  until: this.clock.now() + lane.protocol.take_back_s * 1000 };
    if (first.kind === "nebuliser-loaded") keepKit(lane, first.data);
    if (first.kind === "tasted") this.cues.now("stop"); else this.cues.now("tap");
    this.draw();
  }

  // Tasted, by whom? The lane in hand, or the only one under a hood, else it is asked.
  taste() {
    const hooded = this.acts(this.clock.now()).filter((a) => a.taste).map((a) => a.lane);
    const lane = hooded.find((l) => l.test === this.focus) || (hooded.length === 1 ? hooded[0] : null);
    if (lane) return this.answer(lane, [{ kind: "tasted", data: {} }]);
    if (!hooded.length) return;
    const at = this.clock.now(), dialog = $("who");
    $("who-lanes").innerHTML = hooded.map((l) => `<button class="option" value="${esc(l.test)}">${esc(l.letter)} · ${esc(l.name)}</button>`).join("");
    dialog.returnValue = "";
    dialog.onclose = () => {
      const found = hooded.find((l) => l.test === dialog.returnValue);
      if (found) this.answer(found, [{ kind: "tasted", at, data: {} }]);
    };
    dialog.onkeydown = (event) => {
      const found = hooded.find((l) => l.letter === event.key.toUpperCase());
      if (found) dialog.close(found.test);
    };
    dialog.showModal();
  }

  async takeBack(id) {
    const { lane, all } = this.back || {};
    if (!lane || this.back.id !== id) return;
    this.back = null;
    await this.record(lane, all.map((event) => ({ kind: "taken-back", data: { event } })));
  }

  async sign(lane, role) {
    const person = role === "tester" ? this.tester : lane.facts.opened.data.wearer;
    const path = this.pad?.path() ?? new Pad(document.createElement("canvas")).path();
    const mark = freshId("m");
    const digest = await sha256(path);
    await this.record(lane, [{ kind: "signed", data: { role, mark, sha256: digest } }], [{ mark, person, role, path }]);
    this.pad = null;
  }

  // -- time --------------------------------------------------------------------------------------------------------

  async tick() {
    const step = this.clock.stepped();
    if (step) for (const lane of this.lanes.filter((l) => !l.facts.closed)) {
      await this.record(lane, [{ kind: "clock-checked", data: { stepped_ms: step } }]);
    }
    const now = this.clock.now();
    for (const lane of this.lanes) await this.tickLane(lane, now);
    if (this.back && this.back.until < now) this.back = null;
    this.refresh();
  }

  async tickLane(lane, now) {
    if (!lane.facts.run || lane.facts.over || lane.facts.tasted || lane.facts.stopped || !lane.score) return;
    this.sayDose(lane, now);
    const made = passed(lane.facts, lane.score, now, this.away);
    if (!made.length) return;
    await this.record(lane, made);
    const last = made.at(-1);
    const act = last.kind === "exercise-started" && lane.score.acts.find((a) => a.id === last.data.exercise);
    if (act && this.voice) this.say(lane, act.figure);
  }

  // Said aloud to the wearer as a dose falls due: hold still, or stop talking.
  sayDose(lane, now) {
    if (!this.voice) return;
    const due = timed(lane.facts, lane.score).find((t) => t.act.kind === "dose" && t.from <= now && now < t.from + 1000);
    if (!due || lane.said === due.act.id) return;
    lane.said = due.act.id;
    this.say(lane, due.act.during_dose);
  }

  say(lane, what) { speak(this.pack.spoken[lane.lang]?.[what], lane.lang); }

  dueCues(from, to) {
    const cues = [];
    for (const lane of this.lanes) {
      if (!lane.score) continue;
      const pitch = 2 ** ((lane.n % 4) * 3 / 12), pace = lane.protocol.pace_ms;
      const add = (key, name, at) => {
        const due = this.clock.toPerformance(at);
        if (due >= from - 50 && due < to) cues.push({ key: `${lane.test}/${key}`, name, at: due, pitch });
      };
      for (const { act, from: start } of timed(lane.facts, lane.score)) {
        if (act.kind === "seal-break") { add("end", "end", start); continue; }
        for (const s of [3, 2, 1]) add(`${act.id}-${s}`, "ready", start - s * 1000);
        add(act.id, "dose", start);
        for (let n = 1; n < act.squeezes; n++) add(`${act.id}+${n}`, "squeeze", start + n * pace);
      }
      if (lane.facts.run && !lane.facts.over && !lane.facts.tasted && !lane.facts.stopped) {
        for (const act of lane.score.acts.filter((a) => a.kind === "exercise" && a.at > 0)) {
          add(act.id, "exercise", lane.facts.run.at + act.at * 1000);
        }
      }
    }
    return cues;
  }

  // -- what is shown -----------------------------------------------------------------------------------------------

  lane(test) { return this.lanes.find((l) => l.test === test) || null; }

  // The act that most needs the tester's hand: timed acts first, then the lane picked, then the first that can go on.
  choose(acts) {
    const urgent = acts.filter((a) => a.rank === 0 && (a.doseId || a.running || a.stage.id === "seal-break"))
      .sort((a, b) => (a.due || 0) - (b.due || 0))[0];
    if (urgent) return urgent;
    const picked = acts.find((a) => a.lane.test === this.picked);
    if (picked && !(picked.waiting && acts.some((a) => a.rank < 2))) return picked;
    return acts.toSorted((a, b) => a.rank - b.rank || (a.due || 0) - (b.due || 0) || a.lane.n - b.lane.n)[0] || null;
  }

  acts(now) { return this.lanes.map((lane) => actOf(lane, this.pack, now)).filter(Boolean); }

  draw() { this.refresh(true); }

  refresh() {
    const now = this.clock.now(), acts = this.acts(now), act = this.choose(acts);
    if ((act?.lane.test || null) !== this.focus) {
      if (this.focus && act && this.picked !== act.lane.test) this.guardUntil = performance.now() + GUARD_MS;
      this.focus = act?.lane.test || null;
      document.body.dataset.lane = act ? act.lane.n % 4 : "";
    }
    if (act?.starts) this.clearOthers(act, now);
    if (act?.sign) act.key = { label: this.pad?.drawn ? "Signed" : "Sign with a cross", signs: act.sign };
    const hooded = acts.filter((a) => a.taste).map((a) => a.lane);
    this.section("now", () => drawNow(act, this.button("now"), this.figures), act && [act.id, act.waiting, act.stage.id, act.figure, act.options.map((o) => o.label), act.form, act.early?.label, act.lane.name, Boolean(act.running)]);
    refreshNow(act);
    this.section("keys", () => drawKeys(act, this.back, hooded, this.button("keys")), [act?.id, act?.key, this.back?.id, act?.taste, act?.waiting, hooded.map((l) => l.test)]);
    this.ahead(acts, now);
    this.elsewhere();
    this.drawLanes(acts, now);
    drawStatus(this.news, now, this.cues.on, this.voice);
    if (act?.sign && !this.pad) { const canvas = $("pad"); if (canvas) this.pad = new Pad(canvas); }
    if (!act?.sign) this.pad = null;
    this.act = act;
  }

  section(name, make, key) {
    const said = JSON.stringify(key, (k, v) => (k === "lane" ? undefined : v)) ?? "null";
    this.said ||= {};
    if (this.said[name] === said) return;
    this.said[name] = said;
    this.buttons.clear(name);
    make();
    if (name === "now") this.pad = null;
  }

  button(section) { return (what) => this.buttons.add(section, what); }

  clearOthers(act, now) {
    const others = this.lanes.filter((l) => l !== act.lane);
    const wait = clearStart(others, act.lane.score, now, 30);
    if (wait === null) act.note = `${act.note}. Doses will fall together with another lane's whatever you do: let that test end first`;
    else if (wait > 0) act.note = `Begin in ${Math.ceil(wait / 1000)} s, and no dose falls together with another lane's`;
  }

  ahead(acts, now) {
    const rows = acts.toSorted((a, b) => (a.due || now) - (b.due || now)).map((act) => ({
      act, lane: act.lane, when: act.due ? `in ${countdown(act.due - now)}` : "now" }));
    const said = clashes(this.lanes, now).map((c) => {
      const s = Math.ceil((c.at - now) / 1000);
      return `${c.first.letter} (${c.first.act.title.toLowerCase()}) and ${c.second.letter} (${c.second.act.title.toLowerCase()}) fall together ${s > 0 ? `in ${s} s` : "now"}: have help ready`;
    });
    this.section("ahead", () => drawAhead(rows, said, this.button("ahead")), [rows.map((r) => [r.lane.test, r.act.ahead || r.act.title, r.when]), said]);
  }

  elsewhere() {
    const here = new Set(this.lanes.map((l) => l.test));
    const rows = this.pack.open.filter((t) => !here.has(t.id)).map((t) => ({
      test: t.id, name: this.pack.wearers.find((w) => w.id === t.wearer)?.name || t.wearer }));
    this.section("elsewhere", () => drawElsewhere(rows, this.button("elsewhere")), rows);
  }

  async bring({ test }) {
    const response = await fetch(`/api/tests/${encodeURIComponent(test)}`);
    if (!response.ok) return;
    const { events } = await response.json();
    const kept = { test, letter: this.freeLetter(), order: Date.now() };
    await this.store.keepLane(kept);
    await this.store.takeIn(events);
    const lane = this.addLane(kept, events);
    this.picked = test;
    await this.record(lane, [{ kind: "taken-over", data: { room: roomId } }]);
  }

  freeLetter() {
    const used = new Set(this.lanes.map((l) => l.letter));
    return [...LETTERS].find((c) => !used.has(c)) || "Z";
  }

  drawLanes(acts, now) {
    const wanted = new Set(this.lanes.map((l) => `lane-${l.test}`));
    for (const node of [...$("lanes").children]) if (!wanted.has(node.id)) node.remove();
    for (const lane of this.lanes) {
      const act = acts.find((a) => a.lane === lane), id = `lane-${lane.test}`;
      let node = $(id);
      if (!node) {
        node = Object.assign(document.createElement("section"), { id, className: "lane" });
        $("lanes").append(node);
      }
      node.dataset.n = lane.n % 4;
      const focus = lane.test === this.focus;
      node.classList.toggle("focus", focus);
      this.section(id, () => { put(id, drawLane(lane, act, focus, this.button(id))); lane.strip = null; },
        [lane.letter, lane.name, focus, lane.code, lane.verdict, Boolean(lane.facts.closed), lane.pieceName, act?.short || act?.title]);
      this.paper(node, lane, act, now);
    }
  }

  // The paper moves under the fixed present line.
  paper(node, lane, act, now) {
    const strip = node.querySelector("[data-strip]"), level = lane.score?.level;
    const running = Boolean(lane.facts.run && !lane.facts.sealBroken && !lane.facts.tasted && !lane.facts.stopped);
    node.classList.toggle("running", running);
    if (!running || !lane.score) { lane.strip = null; put2(strip, lane.facts.closed ? "" : stages(lane, act)); return; }
    delete strip.dataset.html;
    const scale = innerWidth < 760 || this.lanes.filter((l) => l.facts.run && !l.facts.closed).length > 1 ? 0.72 : 1;
    if (lane.strip !== `${level}/${scale}`) {
      strip.innerHTML = lane.protocol.strips[level];
      const drawing = strip.firstElementChild;
      drawing.style.blockSize = `${drawing.getAttribute("height") * scale}px`;
      drawing.style.inlineSize = `${drawing.getAttribute("width") * scale}px`;
      Object.assign(lane, { strip: `${level}/${scale}`, done: "" });
    }
    const end = lane.facts.tasted || lane.facts.stopped || lane.facts.closed;
    const s = lane.facts.run ? (Math.min(now, end ? end.at : now) - lane.facts.run.at) / 1000 : -(lane.score.acts[0].lasts + 2);
    const svg = strip.firstElementChild;
    const zero = Number(svg?.dataset.origin || 0);
    strip.style.transform = `translateX(${((-zero - s * lane.protocol.px_per_s) * scale).toFixed(1)}px)`;
    const done = [...lane.facts.doses.keys()].join() + (lane.facts.tasted ? "t" : "");
    if (lane.done !== done) {
      lane.done = done;
      for (const id of lane.facts.doses.keys()) strip.querySelector(`[data-act="${CSS.escape(id)}"]`)?.classList.add("given");
    }
    const late = lane.facts.run ? lane.score.acts.filter((a) => a.kind === "dose" && a.at >= 0 && !lane.facts.doses.has(a.id) && s > a.at + 24) : [];
    for (const a of late) strip.querySelector(`[data-act="${CSS.escape(a.id)}"]`)?.classList.add("missed");
  }

  // -- the server's word -------------------------------------------------------------------------------------------

  heard(news) {
    this.news = news;
    if (news.state === "stale" && !this.lanes.some((l) => underHood(l.facts))) location.reload();
    if (news.state === "delivered") for (const lane of this.lanes) this.askVerdict(lane);
    this.draw();
  }

  async askVerdict(lane) {
    const known = lane.facts.events.length;
    if (lane.judged === known || lane.asking) return;
    lane.asking = true;
    try {
      const response = await fetch(`/api/tests/${encodeURIComponent(lane.test)}`);
      if (response.ok) { lane.verdict = (await response.json()).verdict; lane.judged = known; }
    } catch { /* asked again when the server answers */ } finally { lane.asking = false; }
    if (!lane.code) this.askCode(lane);
    this.draw();
  }

  async askCode(lane) {
    if (lane.facts.closed) return;
    try {
      const response = await fetch(`/api/tests/${encodeURIComponent(lane.test)}/code`);
      if (response.ok) { const answer = await response.json(); lane.code = `${answer.code.slice(0, 3)} ${answer.code.slice(3)}`; lane.address = answer.address.replace(/^https?:\/\//, ""); this.draw(); }
    } catch { /* asked again with the verdict */ }
  }

  // -- dialogs -----------------------------------------------------------------------------------------------------

  dialog(previous = null) {
    const { pack } = this, opened = previous?.facts.opened.data;
    const busy = new Set(this.lanes.filter((l) => !l.facts.closed).map((l) => l.facts.opened.data.wearer));
    const option = (value, label, chosen, off) => `<option value="${esc(value)}" ${chosen ? "selected" : ""} ${off ? "disabled" : ""}>${esc(label)}</option>`;
    const wearers = pack.wearers.filter((w) => !previous || w.id === opened.wearer);
    $("new-wearer").innerHTML = wearers.map((w) => option(w.id, `${w.name || w.id}${busy.has(w.id) ? " (under way)" : ""}`, false, busy.has(w.id))).join("");
    $("new-piece").innerHTML = pack.facepieces.map((f) => option(f.id, `${f.make} ${f.model}, ${f.size} (${KINDS[f.kind]})`, f.id === opened?.facepiece.id, f.kind === "full")).join("");
    const kept = opened?.protocol || localStorage.getItem("sealwright.protocol");
    $("new-protocol").innerHTML = Object.values(pack.protocols).map((p) => option(p.id, p.title, p.id === kept)).join("");
    $("new-tester").innerHTML = pack.testers.map((t) => option(t.id, `${t.name || t.id}${t.competent_until_at && t.competent_until_at < this.clock.now() ? " (competence out of date)" : ""}`, t.id === this.tester)).join("");
    const speaks = () => {
      const chosen = pack.wearers.find((w) => w.id === $("new-wearer").value)?.language || "en";
      $("new-language").innerHTML = Object.entries(pack.languages).map(([tag, name]) => option(tag, name, tag === chosen)).join("");
    };
    $("new-wearer").onchange = speaks;
    speaks();
    $("new-note").textContent = previous ? previous.protocol.after_fail : "";
    this.previous = previous;
    $("new").showModal();
  }

  async submitNew(form) {
    const data = new FormData(form);
    this.tester = data.get("tester");
    localStorage.setItem("sealwright.tester", this.tester);
    localStorage.setItem("sealwright.protocol", data.get("protocol"));
    const previous = this.previous;
    await this.open({ wearer: data.get("wearer"), facepiece: data.get("facepiece"), language: data.get("language"), protocol: data.get("protocol"),
                      own: data.get("own") === "own", previous });
    if (previous) await this.leave(previous);
  }

  stopDialog(lane) {
    const dialog = $("stop");
    dialog.querySelector("h2").textContent = `Stop ${lane.name}'s test`;
    dialog.returnValue = "";
    dialog.onclose = () => {
      if (dialog.returnValue && dialog.returnValue !== "no") {
        this.answer(lane, [{ kind: "stopped", data: { reason: dialog.returnValue } }]);
      }
    };
    dialog.showModal();
  }

  // -- keys --------------------------------------------------------------------------------------------------------

  press(held) {
    const act = this.act;
    if (!act || performance.now() < this.guardUntil) return;
    if (held && act.taste) return this.do({ events: [{ kind: "tasted", data: {} }], lane: act.lane });
    if (act.key) return this.do({ ...act.key, lane: act.lane });
  }
}

const KINDS = { filtering: "filtering facepiece", half: "half mask", full: "full face mask: needs a quantitative test" };

const underHood = (facts) => !facts.closed && !facts.tasted && !facts.stopped &&
  ((facts.run && !facts.sealBroken) || (facts.last("screening-started") && !facts.last("hood-removed")));

const readDraft = (test) => { try { return JSON.parse(localStorage.getItem(`sealwright.draft.${test}`)) || {}; } catch { return {}; } };
const keepDraft = (lane) => localStorage.setItem(`sealwright.draft.${lane.test}`, JSON.stringify(lane.draft));
const readKit = () => { try { return JSON.parse(localStorage.getItem("sealwright.kit")) || {}; } catch { return {}; } };

function keepKit(lane, { which, lot, loaded_at }) {
  const kit = { ...readKit(), [`${lane.protocol.agent}/${which}`]: { lot, loaded_at } };
  localStorage.setItem("sealwright.kit", JSON.stringify(kit));
  lane.kit = kit;
}

function put2(node, html) { if (node.dataset.html !== html) { node.dataset.html = html; node.innerHTML = html; node.style.transform = ""; } }

// Before the score is known: the stages as a line of stations.
function stages(lane, act) {
  const conduct = lane.protocol.conduct[lane.facts.opened.data.facepiece.kind];
  const here = conduct.findIndex((s) => s.id === act?.stage.id);
  return `<ol class="stations">${conduct.map((s, i) => `<li class="${i < here ? "past" : i === here ? "here" : ""}">${esc(s.title)}</li>`).join("")}</ol>`;
}

// -- start -----------------------------------------------------------------------------------------------------------

async function fetchPack(clock) {
  const before = clock.now();
  try {
    const response = await fetch("/api/pack");
    if (!response.ok) throw new Error(response.status);
    const pack = await response.json();
    if (!response.headers.get("X-Kept")) pack.stepped = clock.resume(pack.now, before, clock.now());
    try { localStorage.setItem("sealwright.pack", JSON.stringify(pack)); } catch { /* too large: the worker keeps it */ }
    return pack;
  } catch (error) {
    const kept = localStorage.getItem("sealwright.pack");
    if (kept) return JSON.parse(kept);
    throw error;
  }
}

function bindKeys(room) {
  let down = null, timer = null;
  const key = () => $("key");
  const begin = (source) => {
    if (down) return;
    down = source;
    const act = room.act;
    if (!act?.taste) return;
    key()?.classList.add("holding");
    timer = setTimeout(() => { down = "spent"; release(); room.press(true); }, HOLD_MS);
  };
  const release = () => { clearTimeout(timer); key()?.classList.remove("holding"); };
  const end = (source) => {
    if (!down) return;
    const spent = down === "spent";
    down = null;
    release();
    if (!spent) room.press(false);
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
  $("add").addEventListener("click", () => room.dialog());
  $("new-form").addEventListener("submit", () => room.submitNew($("new-form")).catch((e) => room.trouble(e)));
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
}

// Timers of a page in the background are slowed by the browser; those of a worker are not.
function everyTick(run) {
  try {
    const worker = new Worker(new URL("./beat.js", import.meta.url));
    worker.onmessage = run;
    worker.postMessage(EVERY_MS);
    worker.onerror = () => setInterval(run, EVERY_MS);
  } catch { setInterval(run, EVERY_MS); }
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
  if (pack.stepped) for (const lane of room.lanes.filter((l) => !l.facts.closed)) {
    await room.record(lane, [{ kind: "clock-checked", data: { stepped_ms: pack.stepped } }]);
  }
  const figures = await fetch("/room/figures").then((r) => r.json()).catch(() => ({}));
  room.figures = figures;
  let ticking = false, beats = 0;
  everyTick(async () => {
    if (ticking || document.body.classList.contains("taken")) return;
    ticking = true;
    try {
      await room.tick();
      if (++beats % 5 === 0) clock.beat();
    } catch (error) { room.trouble(error); } finally { ticking = false; }
  });
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
