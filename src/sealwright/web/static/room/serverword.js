// What the server says of a lane: the verdict so far, the wearer's code, and the numbers of a quantitative test.

const LIVE_MS = 2000, BEFORE_MS = 5000, RETRY_MS = 5000;

async function asked(address) {
  const response = await fetch(address, { signal: AbortSignal.timeout(10000) });
  return response.ok ? response.json() : null;
}

const at = (lane, what = "") => `/api/tests/${encodeURIComponent(lane.test)}${what}`;

export async function askVerdict(room, lane) {
  const known = lane.facts.events.length;
  if (lane.judged === known || lane.asking) return;
  lane.asking = true;
  try {
    const answer = await asked(at(lane));
    if (answer) { lane.verdict = answer.verdict; lane.judged = known; }
  } catch { /* asked again when the server answers */ } finally { lane.asking = false; }
  if (!lane.code) askCode(room, lane);
  room.draw();
}

async function askCode(room, lane) {
  if (lane.facts.closed) return;
  try {
    const answer = await asked(at(lane, "/code"));
    if (!answer) return;
    lane.code = `${answer.code.slice(0, 3)} ${answer.code.slice(3)}`;
    lane.address = answer.address.replace(/^https?:\/\//, "");
    room.draw();
  } catch { /* asked again with the verdict */ }
}

// Numbers are asked for while readings or samples may come in: after each reading, and every so often.
export function tickLive(room, lane, now) {
  const { facts } = lane;
  if (!lane.protocol.quantitative || !facts.measured || lane.askingLive) return;
  const size = facts.events.length, over = facts.closed || facts.complete || facts.stopped;
  if (over && lane.liveOf === size) return;
  const gap = lane.live?.away ? RETRY_MS : facts.run ? LIVE_MS : BEFORE_MS;
  if (lane.liveAt !== undefined && now - lane.liveAt < gap && !(facts.read.size !== lane.liveRead && !lane.live?.away)) return;
  if (room.news.state !== "delivered" && !lane.live?.away && room.news.state !== "away") return;
  askLive(room, lane, now, size);
}

async function askLive(room, lane, now, size) {
  lane.askingLive = true;
  lane.liveAt = now;
  const read = lane.facts.read.size;
  try {
    const answer = await asked(at(lane, "/live"));
    if (answer) Object.assign(lane, { live: answer, liveOf: size, liveRead: read });
  } catch { lane.live = { ...lane.live, away: true }; } finally { lane.askingLive = false; }
  room.draw();
}
