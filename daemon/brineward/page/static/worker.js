"use strict";
// Keeps the last first screen of each depot, and what it is drawn with; the page says how old it is.
// Whoever acts without a line is told so in our words, not in the browser's: for a form that was sent,
// since what only the answer was lost of may have been done, in other words.
const KEPT = "brineward-2", UNREACHED = "/unreached", UNANSWERED = "/unanswered";
const MARKED = /^(\/assets\/[^.]+\.)[0-9a-f]{10}(\.[a-z]+)$/;
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name !== KEPT) await caches.delete(name);
  // The page is asked for while this worker is still waking up.
  if (self.registration.navigationPreload) await self.registration.navigationPreload.enable();
  await self.clients.claim();
})()));
const keep = async (kept, path, answer) => {
  const marked = MARKED.exec(path);
  if (marked) for (const old of await kept.keys()) {
    const other = MARKED.exec(new URL(old.url).pathname);
    if (other && other[1] === marked[1] && other[2] === marked[2]) await kept.delete(old);
  }
  await kept.put(path, answer);
};
const keepWords = async (kept) => {
  for (const path of [UNREACHED, UNANSWERED]) {
    const answer = await fetch(path);
    if (answer.ok && !answer.redirected) await kept.put(path, answer);
  }
};
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url), path = url.pathname;
  const page = event.request.mode === "navigate";
  if (url.origin !== location.origin) return;
  if (page && event.request.method === "POST" && path.startsWith("/d/")) {
    event.respondWith(fetch(event.request).catch(async (lost) => {
      const instead = await (await caches.open(KEPT)).match(UNANSWERED);
      if (instead) return instead;
      throw lost;
    }));
    return;
  }
  const screen = page && /^\/(d\/[a-z0-9-]+)?$/.test(path);
  const act = page && /^\/d\/[a-z0-9-]+\/alarm\//.test(path);
  const asset = path.startsWith("/assets/");
  if (event.request.method !== "GET" || !(screen || act || asset)) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    // What has a mark in its name never changes.
    const last = await kept.match(path);
    if (last && MARKED.test(path)) return last;
    try {
      const answer = (await event.preloadResponse) || (await fetch(event.request));
      if (answer.ok && !answer.redirected && !act) {
        const copies = [keep(kept, path, answer.clone())];
        // The only depot's screen is at the front too.
        const own = answer.headers.get("content-location");
        if (own && own !== path) copies.push(kept.put(own, answer.clone()));
        if (screen) copies.push(keepWords(kept));
        event.waitUntil(Promise.all(copies));
      }
      return answer;
    } catch (lost) {
      const instead = last || (act && (await kept.match(UNREACHED)));
      if (instead) return instead;
      throw lost;
    }
  })());
});
