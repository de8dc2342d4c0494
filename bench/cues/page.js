// The page of bench_cues.py: plays one score by the room's cues.js and by a plain setInterval player at once, and hands
// back what was heard of each. Times are performance time (ms), audio times seconds.

const room = document.body.dataset.room;
const { Cues } = await import(`${room}/cues.js`);
const { dueCues } = await import(`${room}/cueplan.js`);
const { fold } = await import(`${room}/lane.js`);
const CHECK_MS = 100, STAMP_MS = 50, LEAD_MS = 1500, TAIL_MS = 1500;
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
const until = async (at) => { while (performance.now() < at) await sleep(Math.min(1000, at - performance.now())); };

// The usual way: look every 100 ms, and start the tone when it is due.
function plainly(context, out, due) {
  const left = [...due];
  const check = () => {
    while (left.length && left[0] <= performance.now()) {
      left.shift();
      const tone = context.createOscillator();
      tone.frequency.value = 1500;
      tone.connect(out);
      tone.start();
      tone.stop(context.currentTime + 0.05);
    }
  };
  return setInterval(check, CHECK_MS);
}

function listen(context, source) {
  const heard = [], node = new AudioWorkletNode(context, "ear");
  node.port.onmessage = ({ data }) => heard.push(data);
  source.connect(node).connect(context.destination);
  return heard;
}

// A steady beat that a busy page cannot slow, as the room's own number has it.
function beat(every, run) {
  const worker = new Worker(`${room}/beat.js`);
  worker.onmessage = run;
  worker.postMessage(every);
  return worker;
}

// The number of the room: set on each beat; seen at the first animation frame that finds it set.
function watchNumber(begin) {
  const number = document.getElementById("number"), seen = [];
  let shown = null, on = true;
  const worker = beat(CHECK_MS, () => { number.textContent = Math.floor((performance.now() - begin) / 1000); });
  const frame = () => {
    if (!on) return;
    const now = performance.now();
    if (number.textContent !== shown) {
      shown = number.textContent;
      if (Number(shown) > 0) seen.push(now - begin - Number(shown) * 1000);
    }
    requestAnimationFrame(frame);
  };
  requestAnimationFrame(frame);
  return { seen, stop: () => { on = false; worker.terminate(); } };
}

// The room's own plan of the cues of one running lane, up to `end`; its clock here is the page's.
function planOf(score, pace, begin, end) {
  const facts = fold([{ id: "a", kind: "opened", at: begin, data: {} },
                      { id: "b", kind: "run-started", at: begin, data: { level: score.level } }]);
  const lane = { test: "bench", n: 0, score, facts, protocol: { pace_ms: pace } };
  return (from, to) => dueCues([lane], { toPerformance: (at) => at }, from, Math.min(to, end));
}

// `score` as compiled, `pace` in ms a squeeze, `lasts` in s.
window.play = async (score, pace, lasts) => {
  let plan = () => [];
  const cues = new Cues((from, to) => plan(from, to));
  await cues.wake();
  const { context } = cues, out = context.createGain();
  out.gain.value = 0.5;
  out.connect(context.destination);
  await context.audioWorklet.addModule("/bench/ear.js");
  const heard = { cues: listen(context, cues.out), plain: listen(context, out) }, stamps = [];
  const stamp = () => {
    const { contextTime, performanceTime } = context.getOutputTimestamp();
    stamps.push([contextTime, performanceTime, Date.now() - performance.now(), context.currentTime, performance.now()]);
  };
  const stamper = beat(STAMP_MS, stamp);
  await sleep(500);
  // The score begins midway between two checks of the plain player: neither its best nor its worst case.
  const begin = performance.now() + LEAD_MS + CHECK_MS / 2;
  const end = begin + lasts * 1000 + 1;
  plan = planOf(score, pace, begin, end);
  const due = [...new Set(plan(begin, end).map((c) => c.at))].sort((a, b) => a - b);
  const timer = plainly(context, out, due), number = watchNumber(begin);
  await until(end + TAIL_MS);
  clearInterval(timer);
  number.stop();
  const visible = document.visibilityState;
  const slept = await nap(cues, heard.cues.length, (next) => { plan = next; });
  stamper.terminate();
  await context.close();
  return { due, heard, stamps, seen: number.seen, nap: slept, state: slept.state, rate: context.sampleRate,
           latency: slept.latency, visible };
};

// The output sleeps for 2.1 s while a tick each 200 ms falls due: what was handed over before cannot fall on one due after.
async function nap(cues, before, give) {
  const { context } = cues, start = performance.now() + 600, due = Array.from({ length: 25 }, (_, n) => start + n * 200);
  const list = due.map((at, n) => ({ key: `nap-${n}`, name: "squeeze", at, pitch: 1 }));
  give((earliest, latest) => list.filter((c) => c.at >= earliest - 50 && c.at < latest));
  await until(start + 1050);
  await context.suspend();
  const from = performance.now();
  await until(start + 3150);
  const to = performance.now();
  await context.resume();
  await until(start + 5500);
  return { before, due, from, to, state: context.state, latency: context.baseLatency + context.outputLatency };
}
document.body.dataset.ready = "yes";
