// A steady tick. Timers of a page in the background are slowed by the browser; those of a worker are not.
export function steadily(run, everyMs) {
  const plainly = () => setInterval(run, everyMs);
  try {
    const worker = new Worker(new URL("./beat.js", import.meta.url));
    Object.assign(worker, { onmessage: run, onerror: plainly });
    worker.postMessage(everyMs);
    return worker;
  } catch { return plainly(); }
}
