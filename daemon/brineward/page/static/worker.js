"use strict";
// Keeps the last first screen of each depot, and what it is drawn with; the page says how old it is.
const KEPT = "brineward-1";
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  const screen = /^\/(d\/[a-z0-9-]+)?$/.test(url.pathname) && event.request.mode === "navigate";
  const asset = url.pathname.startsWith("/assets/");
  if (event.request.method !== "GET" || url.origin !== location.origin || !(screen || asset)) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    try {
      const answer = await fetch(event.request);
      if (answer.ok && !answer.redirected) await kept.put(url.pathname, answer.clone());
      return answer;
    } catch (lost) {
      const last = await kept.match(url.pathname);
      if (last) return last;
      throw lost;
    }
  })());
});
