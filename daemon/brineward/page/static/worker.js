"use strict";
// Keeps the last first screen of each depot, and what it is drawn with; the page says how old it is.
// Whoever acts or looks without a line is told so in our words, not in the browser's: for a form that
// was sent, since what only the answer was lost of may have been done, in other words.
const KEPT = "brineward-2", UNREACHED = "/unreached", UNANSWERED = "/unanswered", AWAY = "/away";
const SILENT_MS = 5000;
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
// A page after what it is drawn with: that may have been fetched before there was a worker.
const keepPage = async (kept, path, answer) => {
  for (const [asset] of (await answer.clone().text()).matchAll(/\/assets\/[^"]+/g)) {
    if (!(await kept.match(asset))) await keep(kept, asset, await fetch(asset));
  }
  await kept.put(path, answer);
};
const keepScreen = async (kept, path, answer) => {
  // The only depot's screen is at the front too.
  const own = answer.headers.get("content-location");
  if (own && own !== path) await kept.put(own, answer.clone());
  await keepPage(kept, path, answer);
  for (const words of [UNREACHED, UNANSWERED, AWAY]) {
    const said = await fetch(words);
    if (said.ok && !said.redirected) await keepPage(kept, words, said);
  }
};
// From a screen that was drawn before there was a worker.
self.addEventListener("message", (event) => event.waitUntil((async () => {
  const answer = await fetch("/");
  if (answer.ok && !answer.redirected) await keepScreen(await caches.open(KEPT), "/", answer);
})()));
const pause = (ms) => new Promise((go) => setTimeout(go, ms));
// A box that is away mostly gives no answer at all, for minutes. One that is only slow, as with a
// season's report, answers something else meanwhile.
const answered = async (event) => {
  let come = false;
  const asked = (async () => (await event.preloadResponse) || fetch(event.request))();
  const heard = asked.finally(() => { come = true; });
  const sign = async () => {
    await pause(SILENT_MS);
    if (!come) await Promise.race([fetch(UNREACHED), pause(SILENT_MS).then(() => Promise.reject(new TypeError("no answer")))]);
    return heard;
  };
  const answer = await Promise.race([heard, sign()]);
  // A proxy says that nothing answers behind it.
  if (answer.status === 502 || answer.status === 504) throw new TypeError("no answer");
  return answer;
};
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url), path = url.pathname;
  const page = event.request.mode === "navigate";
  if (url.origin !== location.origin) return;
  if (page && event.request.method === "POST" && path.startsWith("/d/")) {
    event.respondWith(answered(event).catch(async (lost) => {
      const instead = await (await caches.open(KEPT)).match(UNANSWERED);
      if (instead) return instead;
      throw lost;
    }));
    return;
  }
  const screen = page && /^\/(d\/[a-z0-9-]+)?$/.test(path);
  const act = page && /^\/d\/[a-z0-9-]+\/alarm\//.test(path);
  const asset = path.startsWith("/assets/");
  if (event.request.method !== "GET" || !(page || asset)) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    // What has a mark in its name never changes.
    const last = screen || asset ? await kept.match(path) : undefined;
    if (last && MARKED.test(path)) return last;
    try {
      const answer = page ? await answered(event) : await fetch(event.request);
      if (answer.ok && !answer.redirected) {
        if (screen) event.waitUntil(keepScreen(kept, path, answer.clone()));
        else if (asset) event.waitUntil(keep(kept, path, answer.clone()));
      }
      return answer;
    } catch (lost) {
      const instead = last || (page && (await kept.match(act ? UNREACHED : AWAY)));
      if (instead) return instead;
      throw lost;
    }
  })());
});
