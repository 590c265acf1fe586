"use strict";
(() => {
  const live = document.getElementById("live");
  const asof = document.getElementById("asof");
  const age = document.getElementById("age");
  const OLD_MS = 12000, DEAD_MS = 60000;
  const shown = (text, clock) => text.replace("{}", clock);
  const clockOf = (text) => asof.dataset.asOf.split("{}").reduce((t, part) => t.replace(part, ""), text);
  let clock = clockOf(asof.textContent);
  // What a cache or the history gave back is as old as it says; otherwise count from now.
  let heard = Date.now() - Number(asof.dataset.time) > OLD_MS ? 0 : Date.now();
  const judge = () => {
    const since = Date.now() - heard;
    const old = since > OLD_MS, dead = since > DEAD_MS;
    document.body.classList.toggle("is-old", old);
    age.classList.toggle("dead", dead);
    age.hidden = !old;
    const text = old ? shown(dead ? age.dead : age.old, clock) : "";
    if (age.textContent !== text) age.textContent = text;
  };
  age.old = asof.dataset.old;
  age.dead = asof.dataset.dead;
  // The sentence goes to the title, and to who hears the page rather than sees it.
  const told = document.getElementById("told"), place = document.title;
  let before = "";
  const tell = () => {
    const state = live.querySelector(".state.needed, .state.unwatched") || live.querySelector(".state.taken") || live.querySelector(".state"), mood = state.querySelector(".mood").textContent;
    document.title = mood + " - " + place;
    const all = [...live.querySelectorAll(".state")].map((one) => one.textContent).join(" ");
    const moods = [...live.querySelectorAll(".mood")].map((one) => one.textContent).join(" ");
    if (before && before !== moods) told.textContent = all;
    before = moods;
  };
  tell();
  let source = null;
  const open = () => {
    if (source) source.close();
    source = new EventSource(live.dataset.live);
    source.onmessage = (event) => {
      const said = JSON.parse(event.data);
      heard = Date.now();
      clock = said.clock;
      asof.textContent = shown(asof.dataset.asOf, clock);
      if (said.html !== undefined) {
        const kept = document.activeElement && document.activeElement.getAttribute("href");
        live.innerHTML = said.html;
        tell();
        if (kept) for (const link of live.querySelectorAll("a")) if (link.getAttribute("href") === kept) link.focus();
      }
      judge();
    };
  };
  open();
  judge();
  setInterval(() => {
    judge();
    // The browser gives up by itself on some answers.
    if (source.readyState === EventSource.CLOSED) open();
  }, 1000);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { judge(); open(); } });
  if ("serviceWorker" in navigator && window.isSecureContext) navigator.serviceWorker.register("/worker.js");
})();
