"use strict";
(() => {
  const live = document.getElementById("live");
  const asof = document.getElementById("asof");
  const age = document.getElementById("age");
  // Below a banner the page stays as it was drawn, and is as of then; everywhere else all of it is live.
  const banner = live.classList.contains("banner");
  const OLD_MS = 12000, DEAD_MS = 60000, SPARED_MS = 3000, LONG_HOURS = 12;
  const shown = (text, clock) => text.replace("{}", clock);
  const clockOf = (text) => asof.dataset.asOf.split("{}").reduce((t, part) => t.replace(part, ""), text);
  let clock = clockOf(asof.textContent);
  // What a cache or the history gave back is as old as it says; otherwise count from now.
  let heard = Date.now() - Number(asof.dataset.time) > OLD_MS ? 0 : Date.now();
  // Just loaded or looked at again, news is a moment away.
  let spared = banner ? Date.now() + SPARED_MS : 0;
  const away = () => banner && document.hidden;
  const judge = () => {
    if (away() || Date.now() < spared) return;
    const since = Date.now() - heard;
    const old = since > OLD_MS, dead = since > DEAD_MS;
    document.body.classList.toggle("is-old", old);
    age.classList.toggle("dead", dead);
    age.hidden = !old;
    // After so long a time of day alone would be taken for today's.
    const hours = Math.floor((heard ? since : Date.now() - Number(asof.dataset.time)) / 3600000);
    const text = !old ? "" : !dead ? shown(age.old, clock) : hours < LONG_HOURS ? shown(age.dead, clock) : shown(age.long, hours);
    if (age.textContent !== text) age.textContent = text;
  };
  age.old = asof.dataset.old;
  age.dead = asof.dataset.dead;
  age.long = asof.dataset.long;
  // The gravest goes to the title; what is new, to who hears the page rather than sees it, once.
  const told = document.getElementById("told"), place = document.title;
  let before = null;
  const tell = () => {
    const states = [...live.querySelectorAll(".state")];
    const gravest = live.querySelector(".state.needed, .state.unwatched") || live.querySelector(".state.taken, .state.partly") || states[0];
    document.title = gravest ? gravest.querySelector(".mood").textContent + " - " + place : place;
    const news = new Set(states.flatMap((one) => one.dataset.news.split(" ")));
    if (!states.length) told.textContent = "";
    else if (before && [...news].some((one) => !before.has(one))) told.textContent = states.map((one) => one.textContent.trim().replace(/\s+/g, " ")).join(" ");
    before = news;
  };
  tell();
  let source = null;
  const open = () => {
    if (source) source.close();
    source = new EventSource(live.dataset.live);
    source.onmessage = (event) => {
      const said = JSON.parse(event.data);
      heard = Date.now();
      spared = 0;
      clock = said.clock;
      if (!banner) asof.textContent = shown(asof.dataset.asOf, clock);
      if (said.html !== undefined) {
        const kept = live.contains(document.activeElement) && document.activeElement.getAttribute("href");
        live.innerHTML = said.html;
        tell();
        if (kept) for (const link of live.querySelectorAll("a")) if (link.getAttribute("href") === kept) link.focus();
      }
      judge();
    };
  };
  if (!away()) open();
  judge();
  setInterval(() => {
    judge();
    // The browser gives up by itself on some answers.
    if (!away() && (!source || source.readyState === EventSource.CLOSED)) open();
  }, 1000);
  document.addEventListener("visibilitychange", () => {
    // A browser has six lines to a server, for all tabs: one that nobody looks at leaves its own.
    if (away() && source) source.close();
    if (document.hidden) return;
    if (banner) spared = Date.now() + SPARED_MS;
    judge();
    open();
  });
  if ("serviceWorker" in navigator && window.isSecureContext) {
    const workers = navigator.serviceWorker;
    workers.register("/worker.js");
    // This page came before there was a worker to keep anything.
    if (!workers.controller) workers.ready.then((one) => one.active.postMessage("keep"));
  }
})();
