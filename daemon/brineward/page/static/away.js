"use strict";
// In the place of a page that could not be fetched: what this phone has kept of the depot, and the
// page itself as soon as the box answers.
(() => {
  const kept = document.getElementById("kept"), show = document.getElementById("show");
  const MINUTE_MS = 60000, AGAIN_MS = 3000, SILENT_MS = 5000;
  const depot = /^\/d\/[a-z0-9-]+/.exec(location.pathname);
  const look = async () => {
    const path = depot && (await caches.match(depot[0])) ? depot[0] : "/";
    const last = await caches.match(path);
    if (!last) return;
    const page = new DOMParser().parseFromString(await last.text(), "text/html");
    const asof = page.getElementById("asof"), place = page.querySelector(".place");
    if (!asof || !place) return;
    const minutes = Math.max(0, Math.floor((Date.now() - Number(asof.dataset.time)) / MINUTE_MS));
    const age = minutes < 120 ? kept.dataset.minutes.replace("{}", minutes) : kept.dataset.hours.replace("{}", Math.floor(minutes / 60));
    const named = (text) => text.replace("{place}", () => place.textContent).replace("{as_of}", () => asof.textContent).replace("{age}", age);
    kept.textContent = named(kept.dataset.kept);
    const link = show.querySelector("a");
    link.href = path;
    link.textContent = named(show.dataset.show);
    show.hidden = false;
  };
  if (window.caches) look();
  let timer = 0, asking = false;
  const ask = async () => {
    if (asking) return;
    asking = true;
    clearTimeout(timer);
    const given = new AbortController(), late = setTimeout(() => given.abort(), SILENT_MS);
    const answer = await fetch("/unreached", { signal: given.signal, cache: "no-store" }).catch(() => null);
    clearTimeout(late);
    asking = false;
    if (answer && answer.status !== 502 && answer.status !== 504) {
      // What is saved rather than shown leaves this page in its place.
      document.querySelector("h1").textContent = kept.dataset.again;
      location.reload();
    } else timer = setTimeout(ask, AGAIN_MS);
  };
  timer = setTimeout(ask, AGAIN_MS);
  window.addEventListener("online", ask);
})();
