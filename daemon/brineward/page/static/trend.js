"use strict";
(async () => {
  const figure = document.getElementById("trend");
  if (!figure || !window.uPlot) return;
  const answer = await fetch(figure.dataset.points);
  if (!answer.ok) return;
  const around = await answer.json();
  const { points, start, end } = around;
  let { events, spells } = around;
  if (!points.length) return;
  const columns = (all) => [0, 1, 2, 3, 4, 5].map((column) => all.map((point) => point[column]));
  const data = columns(points);
  const css = getComputedStyle(document.documentElement);
  const ink = css.getPropertyValue("--soft"), brine = css.getPropertyValue("--brine"), act = css.getPropertyValue("--act"), line = css.getPropertyValue("--line");
  const zone = figure.dataset.zone;
  const said = (seconds, form) => new Intl.DateTimeFormat("en", { timeZone: zone, ...form }).format(new Date(seconds * 1000));
  const clocks = (u, splits, axisIndex, space, step) => splits.map((at) => step >= 86400
    ? said(at, { month: "short", day: "numeric" }) : said(at, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }));
  const axis = { stroke: ink, grid: { stroke: line }, ticks: { stroke: line } };
  const series = (label, width) => ({ label, stroke: brine, width, points: { show: false } });
  const high = (width) => Math.min(420, Math.max(220, width * 0.5));
  const plot = new uPlot({
    width: figure.clientWidth, height: high(figure.clientWidth),
    tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), zone === "UTC" ? "Etc/UTC" : zone),
    legend: { show: false },
    scales: { x: { min: start, max: end } },
    axes: [{ ...axis, values: clocks }, { ...axis, label: figure.dataset.unit }],
    series: [{}, series("low", 1), series(figure.dataset.name, 2), series("high", 1), series("from", 0), series("to", 0)],
    bands: [{ series: [5, 4], fill: brine + "38" }, { series: [3, 1], fill: brine + "70" }],
    hooks: { draw: [(u) => {
      const thick = 5 * devicePixelRatio, floor = u.bbox.top + u.bbox.height - thick;
      u.ctx.fillStyle = ink;
      for (const [from, to] of spells) {
        const left = Math.max(u.bbox.left, u.valToPos(from / 1000, "x", true));
        const right = Math.min(u.bbox.left + u.bbox.width, u.valToPos(to / 1000, "x", true));
        if (right > left - 1) u.ctx.fillRect(left, floor, Math.max(devicePixelRatio, right - left), thick);
      }
      u.ctx.strokeStyle = act;
      for (const at of events) {
        const x = u.valToPos(at / 1000, "x", true);
        if (x < u.bbox.left || x > u.bbox.left + u.bbox.width) continue;
        u.ctx.beginPath(); u.ctx.moveTo(x, u.bbox.top); u.ctx.lineTo(x, u.bbox.top + u.bbox.height); u.ctx.stroke();
      }
    }] },
  }, data, (u, ready) => {
    figure.querySelector("svg").replaceWith(u.root);
    ready();
  });
  const first = start, last = end, SHORTEST = 60;
  const said_from_to = document.getElementById("shown");
  const days = { month: "short", day: "numeric", hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  // Never wider than what was asked for, never beyond its ends: at an end it stops, and keeps its width.
  const set = (min, max) => {
    const width = Math.min(last - first, Math.max(SHORTEST, max - min));
    const from = Math.min(Math.max(first, (min + max - width) / 2), last - width);
    plot.setScale("x", { min: from, max: from + width });
  };
  const view = () => [plot.scales.x.min, plot.scales.x.max];
  // What is zoomed into is asked for anew, so that it is as fine as the picture is wide; around it
  // stays what there was, for who moves on.
  let timer = 0, asked = 0;
  const finer = async () => {
    const [min, max] = view(), mine = ++asked;
    if (max - min > (last - first) * 0.9) { events = around.events; spells = around.spells; plot.setData(data, false); return; }
    const url = new URL(figure.dataset.points, location.href);
    url.searchParams.set("start", Math.round(min * 1000));
    url.searchParams.set("end", Math.round(max * 1000));
    try {
      const answer = await fetch(url);
      if (!answer.ok || mine !== asked) return;
      const found = await answer.json();
      if (mine !== asked || !found.points.length) return;
      events = around.events.concat(found.events); spells = around.spells.concat(found.spells);
      plot.setData(columns([...points.filter((one) => one[0] < min), ...found.points, ...points.filter((one) => one[0] > max)]), false);
    } catch (lost) { /* what is shown stays */ }
  };
  const moved = () => {
    const [min, max] = view();
    figure.dataset.shown = `${Math.round(min)} ${Math.round(max)}`;
    said_from_to.textContent = said_from_to.dataset.text.replace("{start}", said(min, days)).replace("{end}", said(max, days));
    clearTimeout(timer);
    timer = setTimeout(finer, 300);
  };
  plot.hooks.setScale = [(u, scale) => { if (scale === "x") moved(); }];
  plot.setScale("x", { min: start, max: end });
  document.querySelector(".keys").hidden = false;
  figure.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const [min, max] = view(), step = (max - min) / 5;
    if (event.key === "ArrowLeft") set(min - step, max - step);
    else if (event.key === "ArrowRight") set(min + step, max + step);
    else if (event.key === "+" || event.key === "=") set(min + step, max - step);
    else if (event.key === "-") set(min - step, max + step);
    else if (event.key === "0") set(first, last);
    else return;
    event.preventDefault();
  });
  // What was under a finger stays under it: one moves the picture, two stretch it as well. Up and down
  // scrolls the page, as everywhere: by the style sheet's touch-action.
  let held = [];
  const hold = (event) => {
    const box = plot.over.getBoundingClientRect(), [min, max] = view();
    held = [...event.touches].map((one) => min + (one.clientX - box.left) / box.width * (max - min));
  };
  plot.over.addEventListener("touchstart", hold, { passive: true });
  plot.over.addEventListener("touchend", hold, { passive: true });
  plot.over.addEventListener("touchcancel", hold, { passive: true });
  plot.over.addEventListener("touchmove", (event) => {
    const at = [...event.touches].map((one) => one.clientX);
    if (at.length !== held.length || at.length > 2) return;
    const box = plot.over.getBoundingClientRect(), [min, max] = view();
    let each = (max - min) / box.width;
    if (at.length === 2) {
      if (Math.abs(at[1] - at[0]) < 20) return;
      each = (held[1] - held[0]) / (at[1] - at[0]);
      if (each <= 0) return;
    }
    const from = held[0] - (at[0] - box.left) * each;
    set(from, from + box.width * each);
  }, { passive: true });
  addEventListener("resize", () => plot.setSize({ width: figure.clientWidth, height: high(figure.clientWidth) }));
})();
