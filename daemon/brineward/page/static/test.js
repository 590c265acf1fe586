"use strict";
(() => {
  const form = document.getElementById("test");
  if (!form) return;
  const shows = document.getElementById("shows");
  const needs = form.dataset.needs === undefined ? "value" : form.dataset.needs;
  let timer = 0, asked = 0;
  const look = async () => {
    const fields = new FormData(form);
    fields.delete("token");
    if (needs && !fields.get(needs)) { shows.textContent = ""; return; }
    const mine = ++asked;
    try {
      const answer = await fetch(form.dataset.computed + "?" + new URLSearchParams(fields));
      if (!answer.ok || mine !== asked) return;
      const said = await answer.json();
      shows.textContent = [said.shows, ...said.problems, ...said.warnings].filter(Boolean).join(" ");
    } catch (lost) { shows.textContent = ""; }
  };
  form.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(look, 300); });
})();
