/* The trace, and a closer look at the other figures: loads the plotting library when it is first wanted. */
(() => {
  "use strict";
  const DETAIL_DAYS = 45, MOST = 1100, DAY = 86400000;
  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  let library;
  const plotly = () => (library ??= new Promise((done, fail) => {
    const s = document.createElement("script");
    s.src = document.body.querySelector("[data-plotly]").dataset.plotly;
    s.onload = () => done(window.Plotly);
    s.onerror = () => fail(new Error("the plotting library could not be loaded"));
    document.head.append(s);
  }));
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const CONFIG = { displaylogo: false, displayModeBar: false, responsive: true, doubleClick: "reset", scrollZoom: false };

  function dressed(layout) {
    const ink = css("--ink"), line = css("--line");
    const out = { ...layout, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", font: { family: css("--sans"), size: 12, color: ink } };
    for (const key of Object.keys(out)) {
      if (/^[xy]axis\d*$/.test(key)) out[key] = { ...out[key], gridcolor: line, linecolor: line, tickcolor: line, automargin: key[0] === "y" };
    }
    if (still) out.transition = { duration: 0 };
    return out;
  }
  const get = async (address) => {
    const answer = await fetch(address, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
    return answer.json();
  };

  /* other figures: a button that swaps the drawing for one that can be zoomed and read */
  for (const figure of document.querySelectorAll("figure[data-from]")) {
    const drawn = figure.querySelector(".drawn");
    if (!drawn.querySelector("svg")) continue;
    const button = document.createElement("button");
    button.type = "button"; button.className = "quiet"; button.textContent = "Look closer";
    button.setAttribute("aria-label", `Look closer: ${figure.querySelector("b").textContent}`);
    drawn.after(button);
    button.addEventListener("click", async () => {
      button.disabled = true; button.textContent = "Fetching …";
      try {
        const [lib, doc] = await Promise.all([plotly(), get(figure.dataset.from)]);
        drawn.replaceChildren(); drawn.classList.add("room");
        await lib.newPlot(drawn, doc.data, { ...dressed(doc.layout), height: 400 }, CONFIG);
        /* the button goes away, and the reader's place must not go with it */
        drawn.tabIndex = -1;
        drawn.setAttribute("role", "group");
        drawn.setAttribute("aria-label", figure.querySelector("b").textContent);
        if (document.activeElement === button || document.activeElement === document.body) drawn.focus({ preventScroll: true });
        button.remove();
      } catch (e) { button.disabled = false; button.textContent = `Look closer (${e.message})`; }
    });
  }

  /* the trace */
  const box = document.querySelector("[data-trace]");
  if (!box) return;
  const say = box.querySelector("[role=status]"), room = box.querySelector(".room"), bar = box.querySelector(".acts");
  let doc, lib, asked = 0, detail = false;
  const shiftAt = (ms) => { let m = 0; for (const [from, minutes] of doc.shifts) if (ms >= from) m = minutes; return m * 60000; };
  const local = (ms) => ms + shiftAt(ms);
  const utc = (ms) => ms - shiftAt(ms - shiftAt(ms));
  const num = (v) => (typeof v === "number" ? v : Date.parse(/T|\s/.test(v) ? v.replace(" ", "T") + (/[zZ]$/.test(v) ? "" : "Z") : v + "T00:00:00Z"));
  const range = () => (room.layout ?? doc.layout).xaxis.range.map(num);
  const words = (ms) => new Date(ms).toISOString().slice(0, 16).replace("T", " ");

  function values(info, p) {
    const x = [], y = [], t = p.time, v = p.value, steps = [];
    if (info.form === "register") {
      for (let i = 1; i < t.length; i++) {
        const hours = (t[i] - t[i - 1]) / 3600000, rise = v[i] - v[i - 1];
        x.push(local(t[i])); y.push(hours > 0 && rise >= 0 ? rise * info.factor / hours : null);
      }
      return { x, y };
    }
    for (let i = 1; i < Math.min(t.length, 60); i++) steps.push(t[i] - t[i - 1]);
    steps.sort((a, b) => a - b);
    const usual = (p.readings === t.length ? steps[steps.length >> 1] : (t.at(-1) - t[0]) / p.readings) || 60000;
    const k = info.form === "interval" ? info.factor / (usual / 3600000) : info.factor;
    const gap = Math.max(10 * usual, 3 * (t.at(-1) - t[0]) / Math.max(t.length, 1));
    for (let i = 0; i < t.length; i++) {
      if (i && t[i] - t[i - 1] > gap) { x.push(local(t[i] - 1)); y.push(null); }
      x.push(local(t[i])); y.push(v[i] === null ? null : v[i] * k + info.offset);
    }
    return { x, y };
  }

  async function events(from, to) {
    const found = await get(`/sites/${doc.site}/figures/uses.json?start=${Math.round(from)}&end=${Math.round(to)}`);
    const rows = (name) => found[name].map(([start, ms]) => ({ start: local(start), ms }));
    const runs = rows("heating"), reheats = rows("hot water"), defrosts = rows("defrost");
    const strip = (i, list) => {
      const x = [], y = [];
      for (const r of list) { x.push(r.start, r.start, r.start + r.ms, r.start + r.ms); y.push(0, 1, 1, 0); }
      const u = doc.uses[i];
      return { type: "scatter", mode: "lines", name: u.name, yaxis: "y4", x, y, fill: "tozeroy", line: { width: 0, color: u.color }, fillcolor: u.color, fillpattern: { shape: u.pattern, size: 5, fillmode: "overlay" }, hoverinfo: "skip" };
    };
    const marks = (name, list, symbol, y) => ({ type: "scatter", mode: "markers", name, yaxis: "y4", x: list.map((r) => r.start), y: list.map(() => y), marker: { symbol, size: 7, color: css("--ink") } });
    return [strip(0, runs), strip(1, reheats), strip(2, defrosts), marks("a start", rows("start"), "triangle-up", 0.12), marks("a defrost", defrosts, "x-thin-open", 0.85)];
  }

  async function refresh() {
    const [a, b] = range(), turn = ++asked;
    if (b - a > DETAIL_DAYS * DAY) {
      if (detail) { detail = false; await lib.react(room, doc.data, dressed({ ...doc.layout, xaxis: { ...doc.layout.xaxis, range: [a, b] } }), CONFIG); }
      say.textContent = `${words(a)} to ${words(b)}, by days. Zoom in for every reading.`;
      return;
    }
    const began = performance.now(), from = utc(a), to = utc(b);
    say.textContent = "Fetching readings …";
    try {
      const ids = Object.keys(doc.points).join(",");
      const iso = (ms) => new Date(ms).toISOString();
      const [series, strips] = await Promise.all([
        get(`/api/v1/sites/${doc.site}/series?points=${ids}&from=${iso(from)}&to=${iso(to)}&max_points=${MOST}`), events(from, to)]);
      if (turn !== asked) return;
      const lines = series.points.filter((p) => p.time.length).map((p) => {
        const info = doc.points[p.id];
        return { type: "scatter", mode: "lines", name: info.name, yaxis: info.axis, line: { color: info.color, dash: info.dash, width: 1.6 }, ...values(info, p) };
      });
      detail = true;
      await lib.react(room, [...lines, ...strips], dressed({ ...doc.layout, xaxis: { ...doc.layout.xaxis, range: [a, b] } }), CONFIG);
      box.dataset.zoomMs = String(Math.round(performance.now() - began));
      say.textContent = `${words(a)} to ${words(b)}, site's time.`;
    } catch (e) { say.textContent = `The readings could not be fetched (${e.message}).`; }
  }

  function go(a, b) { return lib.relayout(room, { "xaxis.range": [a, b] }); }
  function step(kind) {
    const [a, b] = range(), half = (b - a) / 2, middle = (a + b) / 2;
    if (kind === "in") return go(middle - half / 2, middle + half / 2);
    if (kind === "out") return go(middle - half * 2, middle + half * 2);
    if (kind === "back") return go(a - half, b - half);
    if (kind === "on") return go(a + half, b + half);
    if (kind === "all") return go(...doc.layout.xaxis.range.map(num));
    const wide = { day: DAY, week: 7 * DAY, month: 31 * DAY }[kind];
    /* out of the whole period the newest; out of a stretch that was chosen its middle */
    const [first, last] = doc.layout.xaxis.range.map(num), whole = b - a > 0.8 * (last - first);
    const centre = whole ? last - (kind === "day" ? 1.5 * DAY : DAY + wide / 2) : middle;
    return go(centre - wide / 2, centre + wide / 2);
  }
  async function start() {
    const began = performance.now();
    try {
      [lib, doc] = await Promise.all([plotly(), get(box.dataset.trace)]);
      room.replaceChildren();
      const narrow = matchMedia("(max-width: 46rem)").matches;
      doc.layout.height = narrow ? 640 : 600;
      if (narrow) doc.layout.legend = { ...doc.layout.legend, y: -0.08, yanchor: "top", font: { size: 10 } };
      await lib.newPlot(room, doc.data, dressed(doc.layout), CONFIG);
      box.dataset.drawnMs = String(Math.round(performance.now() - began));
      say.textContent = "A year by days. Drag across a stretch, or use the buttons, to zoom in to every reading.";
      let wait;
      room.on("plotly_relayout", (change) => { if (Object.keys(change).some((k) => k.startsWith("xaxis"))) { clearTimeout(wait); wait = setTimeout(refresh, 30); } });
      bar.hidden = false;
      bar.addEventListener("click", (e) => { const b = e.target.closest("button[data-go]"); if (b) step(b.dataset.go); });
      bar.addEventListener("keydown", (e) => { const k = { ArrowLeft: "back", ArrowRight: "on", ArrowUp: "in", ArrowDown: "out", Home: "all" }[e.key]; if (k) { e.preventDefault(); step(k); } });
      const pick = bar.querySelector("input[type=date]");
      pick.addEventListener("change", () => { const ms = Date.parse(pick.value); if (ms) go(ms, ms + DAY); });
    } catch (e) { say.textContent = `The trace could not be drawn (${e.message}); the days' numbers stand in the tables below.`; }
  }
  /* the page is drawn already: fetch the library while nobody waits for it */
  if (!navigator.connection?.saveData) {
    addEventListener("load", () => (window.requestIdleCallback ?? ((f) => setTimeout(f, 200)))(() => plotly().catch(() => { library = undefined; })));
  }
  if ("IntersectionObserver" in window) {
    const seen = new IntersectionObserver((list) => { if (list.some((i) => i.isIntersecting)) { seen.disconnect(); start(); } }, { rootMargin: "300px" });
    seen.observe(box);
  } else start();
})();
