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
  const plot = new uPlot({
    width: figure.clientWidth, height: Math.min(420, Math.max(220, figure.clientWidth * 0.5)),
    tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), zone === "UTC" ? "Etc/UTC" : zone),
    legend: { show: false },
    scales: { x: { min: start, max: end } },
    axes: [{ ...axis, values: clocks }, { ...axis, label: figure.dataset.unit }],
    series: [{}, series("low", 1), series(figure.dataset.name, 2), series("high", 1), series("from", 0), series("to", 0)],
    bands: [{ series: [5, 4], fill: brine + "38" }, { series: [3, 1], fill: brine + "70" }],
    hooks: { draw: [(u) => {
      const high = 5 * devicePixelRatio, floor = u.bbox.top + u.bbox.height - high;
      u.ctx.fillStyle = ink;
      for (const [from, to] of spells) {
        const left = Math.max(u.bbox.left, u.valToPos(from / 1000, "x", true));
        const right = Math.min(u.bbox.left + u.bbox.width, u.valToPos(to / 1000, "x", true));
        if (right > left - 1) u.ctx.fillRect(left, floor, Math.max(devicePixelRatio, right - left), high);
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
  const first = start, last = end;
  plot.setScale("x", { min: start, max: end });
  const set = (min, max) => plot.setScale("x", { min: Math.max(first, min), max: Math.min(last, max) });
  const view = () => [plot.scales.x.min, plot.scales.x.max];
  // What is zoomed into is asked for anew, so that it is as fine as the picture is wide.
  const whole = data;
  let timer = 0, asked = 0;
  const finer = async () => {
    const [min, max] = view(), mine = ++asked;
    if (max - min > (last - first) * 0.9) { events = around.events; spells = around.spells; plot.setData(whole, false); return; }
    const url = new URL(figure.dataset.points, location.href);
    url.searchParams.set("start", Math.round(min * 1000));
    url.searchParams.set("end", Math.round(max * 1000));
    try {
      const answer = await fetch(url);
      if (!answer.ok || mine !== asked) return;
      const found = await answer.json();
      if (!found.points.length) return;
      events = found.events; spells = found.spells;
      plot.setData(columns(found.points), false);
    } catch (lost) { /* what is shown stays */ }
  };
  plot.hooks.setScale = [(u, scale) => { if (scale === "x") { clearTimeout(timer); timer = setTimeout(finer, 300); } }];
  document.querySelector(".keys").hidden = false;
  figure.addEventListener("keydown", (event) => {
    const [min, max] = view(), step = (max - min) / 5;
    if (event.key === "ArrowLeft") set(min - step, max - step);
    else if (event.key === "ArrowRight") set(min + step, max + step);
    else if (event.key === "+") set(min + step, max - step);
    else if (event.key === "-") set(min - step, max + step);
    else if (event.key === "0") set(first, last);
    else return;
    event.preventDefault();
  });
  let touches = [];
  const spread = (list) => Math.abs(list[0].clientX - list[1].clientX);
  figure.addEventListener("touchstart", (event) => { touches = [...event.touches]; }, { passive: true });
  figure.addEventListener("touchmove", (event) => {
    if (event.touches.length !== 2 || touches.length !== 2) return;
    event.preventDefault();
    const now = [...event.touches], [min, max] = view(), middle = (min + max) / 2;
    const half = (max - min) / 2 * spread(touches) / Math.max(20, spread(now));
    set(middle - half, middle + half);
    touches = now;
  }, { passive: false });
})();
