// Keeps the room's page and scripts on this device, so that a reload works with the server or the network gone.
const KEPT = "sealwright-__BUILD__";
const PAGES = ["/room", "/api/pack", "/room/figures"], FILES = ["__FILES__"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((cache) => cache.addAll([...PAGES, ...FILES])).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys().then((names) => Promise.all(
    names.filter((n) => n.startsWith("sealwright-") && n !== KEPT).map((n) => caches.delete(n)),
  )).then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/") || url.pathname.startsWith("/type/")) event.respondWith(cacheFirst(request));
  else if (PAGES.includes(url.pathname)) event.respondWith(networkFirst(request));
});

async function cacheFirst(request) {
  const cache = await caches.open(KEPT), kept = await cache.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  if (answer.ok) cache.put(request, answer.clone());
  return answer;
}

async function networkFirst(request) {
  const cache = await caches.open(KEPT);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(3000) });
    if (answer.ok) cache.put(request, answer.clone());
    return answer;
  } catch (error) {
    const kept = await cache.match(request);
    if (!kept) throw error;
    const headers = new Headers(kept.headers);
    headers.set("X-Kept", "yes");
    return new Response(await kept.blob(), { status: kept.status, headers });
  }
}
