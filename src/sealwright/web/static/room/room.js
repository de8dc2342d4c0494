// The live room: takes the tester's key, records what happened, and shows the next act over all lanes.

import { actOf, countdown } from "./acts.js";
import { clashes, clearStart } from "./clash.js";
import { dueCues } from "./cueplan.js";
import { Cues, speak } from "./cues.js";
import { askWhoNoticed, newDialog, stopDialog } from "./dialogs.js";
import { keepChecked, keepDraft, keepInstrument, keepLoaded, keepMade, readDraft } from "./keep.js";
import { fold, passed, scoreOf, timed, underHood, underTest } from "./lane.js";
import { leadOver } from "./measuredacts.js";
import { keepChoice, openedData } from "./opening.js";
import { Pad, sha256 } from "./pad.js";
import { drawPapers } from "./papers.js";
import { Sender } from "./sender.js";
import { askVerdict, tickLive } from "./serverword.js";
import { focusRow, submit } from "./typing.js";
import { $, Buttons, drawAhead, drawElsewhere, drawKeys, drawNow, drawStatus, esc, put, refreshNow } from "./view.js";

const LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ", GUARD_MS = 600, BOUNCE_MS = 300, QUICK_MS = 100, NOTICE_MS = 6000;
const build = document.body.dataset.build;
const roomId = (localStorage["sealwright.room"] ||= freshId("r"));

function freshId(prefix = "e") {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return `${prefix}-${Date.now().toString(36)}-${[...bytes].map((b) => b.toString(16).padStart(2, "0")).join("")}`;
}

export class Room {
  constructor(store, clock, pack) {
    Object.assign(this, { store, clock, pack, lanes: [], focus: null, picked: null, guardUntil: 0, answering: 0, away: null,
                          news: { state: "waiting", waiting: 0, refused: [] }, buttons: new Buttons(), figures: {} });
    this.cues = new Cues((from, to) => dueCues(this.lanes, this.clock, from, to));
    this.voice = localStorage.getItem("sealwright.voice") === "on";
    this.sender = new Sender(store, clock, build, (news) => this.heard(news));
    this.tester = localStorage.getItem("sealwright.tester");
    this.busy = Promise.resolve();
  }

  // -- lanes -------------------------------------------------------------------------------------------------------

  async restore() {
    for (const kept of await this.store.lanes()) {
      const events = await this.store.events(kept.test);
      // Cut off between keeping the lane and its first event: nothing happened in it.
      if (events.length) this.addLane(kept, events); else await this.store.dropLane(kept.test);
    }
    // Browsers write the beat to disk late; an event is on disk at once.
    const beat = Math.max(this.clock.lastBeat ?? 0, ...this.lanes.map((l) => l.facts.events.at(-1).at));
    await this.comeBack(beat, this.clock.now());
  }

  addLane(kept, events) {
    const lane = { ...kept, facts: fold(events), draft: readDraft(kept.test), verdict: null, code: null };
    this.understand(lane);
    this.lanes.push(lane);
    this.renumber();
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

  // From the dialog: a wearer comes in; after a fail the lane before gives way.
  async enter(choice) {
    this.tester = choice.tester;
    keepChoice(this.pack, choice);
    const previous = this.previous;
    await this.open({ ...choice, previous });
    if (previous) await this.leave(previous);
  }

  async open(choice) {
    const { wearer, language } = choice, test = freshId("t");
    const data = openedData(this, roomId, choice);
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
    if (await this.store.waitingOf(lane.test)) {
      this.notice("Not all of this test is on the server's record yet. Leave when it is.");
      return;
    }
    await this.store.dropLane(lane.test);
    localStorage.removeItem(`sealwright.draft.${lane.test}`);
    this.lanes = this.lanes.filter((l) => l !== lane);
    this.renumber();
    this.draw();
  }

  notice(words) {
    put("notice", `<p>${esc(words)}</p>`);
    clearTimeout(this.noticed);
    this.noticed = setTimeout(() => put("notice", ""), NOTICE_MS);
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
      if (this.news.state === "delivered") this.news = { ...this.news, state: "waiting" };
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
    if (what.retry) return newDialog(this, what.retry);
    if (what.leave) return this.leave(what.leave);
    if (what.stop) return stopDialog(this, what.stop);
    if (what.bring) return this.bring(what.bring);
    if (what.taste) return askWhoNoticed(this);
    if (what.takeBack) return this.takeBack(what.takeBack);
    if (!lane) return;
    if (what.mode) localStorage.setItem("sealwright.readings", what.mode);
    if (what.draft) { this.redraft(lane, what.draft); if (what.row) focusRow(what.row); return; }
    if (what.start) return this.redraft(lane, { ...lane.draft, zero: this.clock.now() + what.start });
    if (what.submit) return submit(this, this.act);
    if (what.signs) return this.sign(lane, what.signs);
    if (what.events) return this.answer(lane, what.events);
  }

  redraft(lane, draft) {
    lane.draft = draft;
    keepDraft(lane);
    this.draw();
  }

  // `draft`: what is still to be answered; without it only what was typed elsewhere stays.
  async answer(lane, made, draft = lane.draft.typed ? { typed: lane.draft.typed, mode: lane.draft.mode } : {}) {
    lane.draft = draft;
    keepDraft(lane);
    this.answering += 1;
    const events = await this.record(lane, made).finally(() => { this.answering -= 1; });
    const first = events.find((e) => e.kind !== "taken-back") || events[0];
    this.back = first.kind === "closed" ? null : { lane, id: first.id, label: first.kind.replaceAll("-", " "), all: events.filter((e) => e.kind !== "taken-back").map((e) => e.id),
                  until: this.clock.now() + lane.protocol.take_back_s * 1000 };
    if (first.kind === "nebuliser-loaded") keepLoaded(lane, first.data);
    if (first.kind === "kit-checked") keepChecked(lane, first);
    if (first.kind === "solution-made") keepMade(lane, first.data);
    if (first.kind === "instrument-named") keepInstrument(lane, first.data);
    if (first.kind === lane.protocol.notice?.kind) this.cues.now("stop"); else this.cues.now("tap");
    this.draw();
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
    const drawing = { mark, person, role, path };
    const digest = await sha256(path) || await this.hashedThere(drawing);
    if (!digest) return;
    await this.record(lane, [{ kind: "signed", data: { role, mark, sha256: digest } }], [drawing]);
    this.pad = null;
  }

  // An address without https has no hashing in the browser: the server keeps the drawing first and hashes it.
  async hashedThere(drawing) {
    try {
      const response = await fetch("/api/marks", { method: "POST", headers: { "Content-Type": "application/json" },
                                                   body: JSON.stringify(drawing) });
      if (response.ok) return (await response.json()).sha256;
    } catch { /* said below */ }
    put("refused", "<p><b>The signature could not be kept:</b> this address is not secure, so it needs the server, which does not answer. Sign again when it does.</p>");
    return null;
  }

  // -- time --------------------------------------------------------------------------------------------------------

  async tick() {
    const step = this.clock.stepped();
    if (step) this.clock.doubt(this.clock.unsure + step);
    if (this.clock.unsure && (step || this.answered) && !this.asking && !this.learnt) this.askSlept(this.clock.unsure);
    this.answered = false;
    if (this.learnt) await this.afterStep(this.learnt);
    const now = this.clock.now();
    for (const lane of this.lanes) { await this.tickLane(lane, now); tickLive(this, lane, now); }
    if (this.back && this.back.until < now) this.back = null;
    this.refresh();
  }

  // The wall clock and the room's own went apart: this computer slept, or its clock was set. The server knows; while it
  // is asked the room plays on. If it does not answer, it is asked again when it does.
  async askSlept(step) {
    if (step < 0) { this.learnt = { step, slept: 0 }; return; }
    this.asking = true;
    const before = this.clock.now();
    try {
      const answer = await (await fetch("/api/now", { signal: AbortSignal.timeout(2000) })).json();
      const from = this.clock.now(), slept = this.clock.woke(step, answer, before, from);
      this.learnt = { step, slept, from, to: this.clock.now() };
    } catch { /* still in doubt */ } finally { this.asking = false; }
  }

  async afterStep({ step, slept, from, to }) {
    this.learnt = null;
    if (slept) await this.comeBack(from, to);
    else await this.noteStep(step);
    this.clock.doubt(this.clock.unsure - step);
  }

  async noteStep(step) {
    for (const lane of this.lanes.filter((l) => !l.facts.closed)) {
      await this.record(lane, [{ kind: "clock-checked", data: { stepped_ms: step } }]);
    }
  }

  // The room was gone between two instants: lanes under a hood catch up, and say so.
  async comeBack(from, to) {
    this.away = { from, to };
    for (const lane of this.lanes) {
      if (!underHood(lane.facts) || to - from < lane.protocol.away_s * 1000) continue;
      await this.tickLane(lane, to);
      await this.record(lane, [{ kind: "room-returned", data: { away_at: from } }]);
    }
    this.away = null;
  }

  async tickLane(lane, now) {
    const begun = lane.score && leadOver(lane, now);
    if (begun) { this.redraft(lane, (({ zero, ...rest }) => rest)(lane.draft)); await this.record(lane, begun); }
    if (!underTest(lane.facts) || !lane.score) return;
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
    const last = this.lanes.findLast((l) => l.facts.closed && l.verdict && l.verdict.result !== "unfinished");
    this.section("now", () => drawNow(act, this.button("now"), this.figures, last), act ? [act.id, act.waiting, act.stage.id, act.figure, act.options.map((o) => o.label), act.form, act.typing?.rows?.map((r) => r.id), act.typing?.fields?.length, act.paste, act.early?.label, act.lane.name, Boolean(act.running)] : [last?.test, last?.verdict]);
    refreshNow(act);
    this.section("keys", () => drawKeys(act, this.back, hooded, this.button("keys")), [act?.id, act?.key, act?.idle, this.back?.id, act?.taste, act?.waiting, hooded.map((l) => l.test)]);
    this.ahead(acts, now);
    this.elsewhere();
    drawPapers(this, acts, now);
    drawStatus(this.news, now, this.cues.on, this.voice, this.cues.context?.state !== "running");
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
    const wait = clearStart(others, act.lane.score, now + act.starts * 1000);
    if (wait === null) act.note = `${act.note}. Doses will fall together with another lane's whatever you do: let that test end first`;
    else if (wait > 0) act.note = `Begin in ${Math.ceil(wait / 1000)} s, and no dose falls together with another lane's`;
  }

  ahead(acts, now) {
    const rows = acts.toSorted((a, b) => (a.due || now) - (b.due || now)).map((act) => ({
      act, lane: act.lane, when: act.due > now ? `in ${countdown(act.due - now)}` : "now" }));
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

  // -- the server's word -------------------------------------------------------------------------------------------

  heard(news) {
    this.news = news;
    if (news.state === "stale" && !this.lanes.some((l) => underHood(l.facts))) location.reload();
    this.answered = news.state === "delivered";
    if (news.state === "delivered") for (const lane of this.lanes) askVerdict(this, lane);
    this.draw();
  }

  // -- keys --------------------------------------------------------------------------------------------------------

  // `lane`: the one in hand when the key went down. A bouncing pedal must not answer what is asked next.
  press(held, lane) {
    const act = this.act, now = performance.now();
    if (held) return act?.taste && act.lane === lane ? this.do({ events: [{ kind: lane.protocol.notice.kind, data: {} }], lane }) : askWhoNoticed(this, false);
    // Nor is anything asked but squeezes while the answer before is not yet on this device.
    if (!act?.key || now < this.guardUntil || (this.answering && !act.key.quick)) return;
    this.guardUntil = now + (act.key.quick ? QUICK_MS : BOUNCE_MS);
    return this.do({ ...act.key, lane: act.lane });
  }
}
