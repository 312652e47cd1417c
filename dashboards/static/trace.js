/* The trace: from a year of days down to single readings, an event marked, several values read at a time. */
(() => {
  "use strict";
  const DETAIL_DAYS = 45, MOST = 1100, DAY = 86400000, MINUTE = 60000;
  const { css, CONFIG, plotly, dressed, get, num, touchable } = window.fieldfarePlot;
  const box = document.querySelector("[data-trace]");
  if (!box) return;
  const say = box.querySelector("[role=status]"), room = box.querySelector(".room"), bar = box.querySelector(".tools");
  const reading = box.querySelector(".reading"), slide = reading.querySelector("input"), list = reading.querySelector("ul"), here = box.querySelector("a[data-here]");
  let doc, lib, asked = 0, detail = false, mark = box.dataset.mark ? JSON.parse(box.dataset.mark) : null, cross = null;
  const unfold = () => { const folded = box.closest("details"); if (folded) folded.open = true; };
  const shiftAt = (ms) => { let m = 0; for (const [from, minutes] of doc.shifts) if (ms >= from) m = minutes; return m * MINUTE; };
  const local = (ms) => ms + shiftAt(ms);
  const utc = (ms) => ms - shiftAt(ms - shiftAt(ms));
  const range = () => (room.layout ?? doc.layout).xaxis.range.map(num);
  const plain = (ms) => new Date(ms).toISOString().slice(0, 16);
  const DAYS = new Intl.DateTimeFormat("en-GB", { timeZone: "UTC", day: "numeric", month: "short", year: "numeric" });
  const words = (ms) => `${DAYS.format(ms).replace("Sept", "Sep")} ${plain(ms).slice(11)}`; /* as the server writes it */
  const span = (a, b) => (plain(a).slice(0, 10) === plain(b).slice(0, 10) ? `${words(a)} to ${plain(b).slice(11)}` : `${words(a)} to ${words(b)}`);
  const stretch = (text) => text.split("--").map((t) => Date.parse(`${t}:00Z`));

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

  /* the marked event: a band over all panels, or a line where it has no length */
  function shapes() {
    if (!mark) return { shapes: [], annotations: [] };
    const from = local(mark.start), to = from + Math.max(mark.minutes, 0) * MINUTE, ink = css("--focus");
    const band = { type: "rect", xref: "x", yref: "paper", x0: from, x1: to, y0: 0, y1: 1, line: { color: ink, width: 2, dash: "dash" }, fillcolor: ink, opacity: 0.18 };
    const name = { x: (from + to) / 2, xref: "x", y: 1, yref: "paper", yanchor: "top", text: mark.words.split(/ of |:/)[0], showarrow: false, bgcolor: css("--raised"), bordercolor: ink, borderpad: 3 };
    return { shapes: [band], annotations: [name] };
  }
  function told(text) { say.textContent = mark ? `${mark.words} ${text}` : text; }
  function keep(a, b) {
    const full = doc.layout.xaxis.range.map(num), at = new URL(location.href), whole = Math.abs(a - full[0]) < DAY / 2 && Math.abs(b - full[1]) < DAY / 2;
    if (whole) at.searchParams.delete("view"); else at.searchParams.set("view", [a, b].map(plain).join("--"));
    if (mark) at.searchParams.set("mark", mark.mark); else at.searchParams.delete("mark");
    at.hash = "trace";
    history.replaceState(null, "", at);
    here.href = at.href; here.hidden = false;
  }
  /* an axis of a flat line shows its least span, not the meter's noise */
  function atLeast(data) {
    const axes = [];
    for (const [axis, least] of Object.entries(doc.least)) {
      let low = Infinity, high = -Infinity;
      for (const t of data) if ((t.yaxis ?? "y") === axis) for (const v of t.y) if (typeof v === "number") { low = Math.min(low, v); high = Math.max(high, v); }
      const name = axis.replace("y", "yaxis"), layout = doc.layout[name];
      if (!layout) continue;
      const start = (low + high - least) / 2, from = low >= 0 ? Math.max(start, 0) : start;
      const flat = high >= low && high - low < least && layout.rangemode !== "tozero";
      axes.push([name, flat ? { ...layout, autorange: false, range: [from, from + least] } : { ...layout, autorange: true }]);
    }
    return Object.fromEntries(axes);
  }
  const laid = (a, b, data) => dressed({ ...doc.layout, ...atLeast(data), ...shapes(), xaxis: { ...doc.layout.xaxis, range: [a, b] } });

  async function refresh() {
    const [a, b] = range(), turn = ++asked;
    keep(a, b); slide.min = a; slide.max = b; slide.step = Math.max(MINUTE, Math.round((b - a) / 500 / MINUTE) * MINUTE);
    if (b - a > DETAIL_DAYS * DAY) {
      if (detail) { detail = false; await lib.react(room, doc.data, laid(a, b, doc.data), CONFIG); }
      told(`${span(a, b)}, by days. Zoom in for every reading.`); read(cross);
      return;
    }
    const began = performance.now(), from = utc(a), to = utc(b);
    told("Fetching readings …");
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
      await lib.react(room, [...lines, ...strips], laid(a, b, lines), CONFIG);
      box.dataset.zoomMs = String(Math.round(performance.now() - began));
      told(`${span(a, b)}, site's time.`); read(cross);
    } catch (e) { told(`The readings could not be fetched (${e.message}).`); }
  }

  /* several values at one moment: under the pointer, a finger, or the slider */
  const UNITS = { y: "°C", y2: "kW", y3: "m³/h", y5: "bar" };
  function valueAt(trace, ms) {
    const xs = trace.ms ??= trace.x.map(num);
    let low = 0, high = xs.length - 1;
    if (high < 0 || ms < xs[0] - DAY || ms > xs[high] + DAY) return null;
    while (high - low > 1) { const middle = (low + high) >> 1; if (xs[middle] <= ms) low = middle; else high = middle; }
    const i = Math.abs(xs[high] - ms) < Math.abs(xs[low] - ms) ? high : low;
    return typeof trace.y[i] === "number" ? trace.y[i] : null;
  }
  /* the list of values is the plot's legend too: a sample of each line, its name, and its value at the moment */
  const NS = "http://www.w3.org/2000/svg", DASHES = { dash: "6 3", dot: "2 3" };
  function sample(t) {
    const svg = document.createElementNS(NS, "svg"), path = document.createElementNS(NS, "path"), line = t.line ?? {};
    svg.setAttribute("viewBox", "0 0 24 8"); svg.setAttribute("aria-hidden", "true"); svg.setAttribute("class", "sample");
    path.setAttribute("d", "M0 4H24"); path.setAttribute("stroke", line.color); path.setAttribute("stroke-width", "2.5");
    if (DASHES[line.dash]) path.setAttribute("stroke-dasharray", DASHES[line.dash]);
    svg.append(path);
    return svg;
  }
  function row(first, name, value) {
    const li = document.createElement("li"), b = document.createElement("b"), s = document.createElement("span");
    s.append(...(first ? [first] : []), name); b.textContent = value; li.append(s, b);
    return li;
  }
  function read(ms) {
    const axis = room._fullLayout?.xaxis, line = room.querySelector(".crosshair"), [a, b] = range();
    /* a chosen moment that was panned out of view gives way to the middle */
    cross = ms === null ? null : ms >= a && ms <= b ? ms : (a + b) / 2;
    reading.hidden = false;
    if (line) line.hidden = cross === null;
    if (line && cross !== null && axis) line.style.transform = `translateX(${Math.round(axis._offset + ((cross - a) / (b - a)) * axis._length)}px)`;
    if (document.activeElement !== slide) slide.value = cross ?? (a + b) / 2;
    const rows = [], used = [];
    for (const t of room.data) {
      const axisName = t.yaxis ?? "y";
      if (axisName === "y4") { if (cross !== null && t.fill === "tozeroy" && inStrip(t, cross)) used.push(t.name); continue; }
      const v = cross === null ? null : valueAt(t, cross);
      rows.push([sample(t), t.name, v === null ? (cross === null ? UNITS[axisName] : "–") : `${v.toFixed(Math.abs(v) < 10 ? 2 : 1).replace("-", "\u2212")} ${UNITS[axisName]}`]);
    }
    if (cross !== null && detail) rows.push([null, "Use", used.at(-1) ?? "at rest, or not known"]);
    const at = cross === null ? "" : words(cross);
    slide.setAttribute("aria-valuetext", at ? `${at}; ${rows.map((r) => r.slice(1).join(" ")).join("; ")}` : "no moment chosen");
    reading.querySelector("output").textContent = at;
    list.replaceChildren(...rows.map((r) => row(...r)));
  }
  function inStrip(t, ms) { for (let i = 0; i < t.x.length; i += 4) if (t.x[i] <= ms && ms <= t.x[i + 2]) return true; return false; }

  function go(a, b) { return lib.relayout(room, { "xaxis.range": [a, b] }); }
  async function event(kind, step) {
    const [a, b] = range(), inside = mark && mark.mark.startsWith(`${kind}.`) && local(mark.start) >= a && local(mark.start) <= b;
    const at = inside ? mark.start : utc((a + b) / 2);
    try {
      const found = await get(`/sites/${doc.site}/figures/event.json?kind=${kind}&at=${Math.round(at)}&step=${step > 0 ? "next" : "previous"}`);
      if (!found) { told(`There is no ${step > 0 ? "later" : "earlier"} ${kind}.`); return; }
      show(found);
    } catch (e) { say.textContent = `It could not be fetched (${e.message}).`; }
  }
  function show(found) { mark = found; cross = local(found.start); return go(...stretch(found.view)); }
  function step(kind) {
    const [a, b] = range(), half = (b - a) / 2, middle = (a + b) / 2;
    if (kind === "in") return go(middle - half / 2, middle + half / 2);
    if (kind === "out") return go(middle - half * 2, middle + half * 2);
    if (kind === "back") return go(a - half, b - half);
    if (kind === "on") return go(a + half, b + half);
    if (kind === "all") { mark = null; return go(...doc.layout.xaxis.range.map(num)); }
    const wide = { day: DAY, week: 7 * DAY, month: 31 * DAY }[kind];
    /* out of the whole period the newest; out of a stretch that was chosen its middle */
    const [first, last] = doc.layout.xaxis.range.map(num), whole = b - a > 0.8 * (last - first);
    const centre = whole ? last - (kind === "day" ? 1.5 * DAY : DAY + wide / 2) : middle;
    return go(centre - wide / 2, centre + wide / 2);
  }
  const MOVES = { ArrowLeft: "back", ArrowRight: "on", ArrowUp: "in", ArrowDown: "out", Home: "all" };
  const EVENTS = { r: ["run", 1], R: ["run", -1], d: ["defrost", 1], D: ["defrost", -1], h: ["reheat", 1], H: ["reheat", -1] };
  function key(e) {
    if (e.ctrlKey || e.altKey || e.metaKey || e.target.matches("input")) return;
    if (MOVES[e.key]) { e.preventDefault(); step(MOVES[e.key]); }
    else if (EVENTS[e.key] && bar.querySelector(`[data-event="${EVENTS[e.key][0]}"]`)) { e.preventDefault(); event(...EVENTS[e.key]); }
  }
  function listen() {
    let wait;
    room.on("plotly_relayout", (change) => { if (Object.keys(change).some((k) => k.startsWith("xaxis"))) { clearTimeout(wait); wait = setTimeout(refresh, 60); } });
    bar.addEventListener("click", (e) => {
      const b = e.target.closest("button");
      if (b?.dataset.go) step(b.dataset.go); else if (b?.dataset.event) event(b.dataset.event, Number(b.dataset.step));
    });
    bar.addEventListener("keydown", key); room.addEventListener("keydown", key);
    const pick = bar.querySelector("input[type=date]");
    pick.addEventListener("change", () => { const ms = Date.parse(pick.value); if (ms) go(ms, ms + DAY); });
    slide.addEventListener("input", () => read(Number(slide.value)));
    const point = (e) => { const axis = room._fullLayout.xaxis, [a, b] = range(), x = e.clientX - room.getBoundingClientRect().left - axis._offset; if (x >= 0 && x <= axis._length) read(a + (x / axis._length) * (b - a)); };
    room.addEventListener("pointermove", (e) => { if (e.pointerType !== "touch") point(e); });
    room.addEventListener("click", point, true);
    touchable(room, true, go);
    /* drawn once, the plot does not see a new width while it is folded away */
    box.closest("details")?.addEventListener("toggle", (e) => { if (e.target.open) lib.Plots.resize(room); });
    /* links to an event of this home need no new page */
    document.addEventListener("click", async (e) => {
      const a = e.target.closest("a[data-event-of]");
      if (!a || e.ctrlKey || e.metaKey || e.shiftKey || e.button) return;
      e.preventDefault(); unfold();
      await show(JSON.parse(a.dataset.eventOf)); box.scrollIntoView(); room.focus({ preventScroll: true });
    });
  }
  async function start() {
    const began = performance.now();
    try {
      [lib, doc] = await Promise.all([plotly(), get(box.dataset.trace)]);
      const narrow = matchMedia("(max-width: 46rem)").matches, view = box.dataset.view ? stretch(box.dataset.view) : null;
      doc.layout.height = narrow ? 460 : 540; doc.layout.showlegend = false;
      if (narrow) doc.layout.margin = { ...doc.layout.margin, l: 40, r: 4 };
      const first = view ?? doc.layout.xaxis.range.map(num);
      room.replaceChildren();
      await lib.newPlot(room, doc.data, laid(...first, doc.data), CONFIG);
      const line = document.createElement("div");
      line.className = "crosshair"; line.hidden = true; room.append(line);
      room.tabIndex = 0; room.setAttribute("role", "group"); room.setAttribute("aria-label", "Trace. Arrow keys move and zoom; R, D and H go to the next run, defrost and hot-water reheat, with Shift to the previous one.");
      box.dataset.drawnMs = String(Math.round(performance.now() - began));
      told("A year by days. Drag across a stretch, or use the buttons, to zoom in to every reading.");
      bar.hidden = false;
      listen();
      if (mark) cross = local(mark.start);
      if (view || mark) await refresh(); else { slide.min = first[0]; slide.max = first[1]; read(null); }
    } catch (e) { say.textContent = `The trace could not be drawn (${e.message}); the days' numbers stand in the tables below.`; }
  }
  /* the page is drawn: fetch the library in the background */
  if (!navigator.connection?.saveData) {
    addEventListener("load", () => (window.requestIdleCallback ?? ((f) => setTimeout(f, 200)))(() => plotly().catch(() => {})));
  }
  if ("IntersectionObserver" in window && !box.dataset.view) {
    const seen = new IntersectionObserver((list) => { if (list.some((i) => i.isIntersecting)) { seen.disconnect(); start(); } }, { rootMargin: "300px" });
    seen.observe(box);
    /* an event that was asked for does not wait for the scroll */
    document.addEventListener("click", (e) => { if (!lib && e.target.closest("a[data-event-of]")) { const a = e.target.closest("a[data-event-of]"), found = JSON.parse(a.dataset.eventOf); e.preventDefault(); unfold(); seen.disconnect(); mark = found; box.dataset.view = found.view; start(); box.scrollIntoView(); } });
  } else start();
})();
