/* Common to all zoomable plots: the library, styles, and touch. */
window.fieldfarePlot = (() => {
  "use strict";
  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const CONFIG = { displaylogo: false, displayModeBar: false, responsive: true, doubleClick: "reset", scrollZoom: false };
  let library;
  const plotly = () => (library ??= new Promise((done, fail) => {
    const s = document.createElement("script"), named = document.body.querySelector("[data-plotly]").dataset;
    s.src = named.plotly;
    /* the library leaves out the styles, which the policy refuses, where an element has their id */
    for (const id of named.styles.split(" ").filter(Boolean)) document.head.append(Object.assign(document.createElement("meta"), { id, className: "no-inline-styles" }));
    s.onload = () => done(window.Plotly);
    s.onerror = () => { library = undefined; fail(new Error("the plotting library could not be loaded")); };
    document.head.append(s);
  }));
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
  /* moments of an axis in ms, as if its local times were UTC */
  const num = (v) => (typeof v === "number" ? v : Date.parse(/T|\s/.test(v) ? v.replace(" ", "T") + (/[zZ]$/.test(v) ? "" : "Z") : v + "T00:00:00Z"));

  /* One finger across pans, two zoom, one finger up or down scrolls the page (the style sheet leaves that to the browser).
     The library would take every touch for a drag, so touches never reach it. */
  function touchable(room, isDate, go) {
    for (const kind of ["touchstart", "touchmove", "touchend"]) room.addEventListener(kind, (e) => e.stopPropagation(), { capture: true, passive: true });
    const fingers = new Map();
    let from, wait;
    const axis = () => room._fullLayout.xaxis;
    const ends = () => axis().range.map((v) => (isDate ? num(v) : Number(v)));
    const hold = () => { from = { ends: ends(), at: [...fingers.values()].map((f) => f.x), wide: axis()._length, left: room.getBoundingClientRect().left + axis()._offset }; };
    room.addEventListener("pointerdown", (e) => { if (e.pointerType === "touch") { fingers.set(e.pointerId, { x: e.clientX }); hold(); } });
    room.addEventListener("pointermove", (e) => {
      if (!fingers.has(e.pointerId)) return;
      fingers.set(e.pointerId, { x: e.clientX });
      const [a, b] = from.ends, now = [...fingers.values()].map((f) => f.x), scale = (b - a) / from.wide;
      let next;
      if (now.length === 1) { const d = (from.at[0] - now[0]) * scale; if (Math.abs(from.at[0] - now[0]) < 4) return; next = [a + d, b + d]; }
      else {
        const was = Math.max(Math.abs(from.at[1] - from.at[0]), 20), is = Math.max(Math.abs(now[1] - now[0]), 20), k = was / is;
        const centre = a + ((from.at[0] + from.at[1]) / 2 - from.left) * scale, moved = ((now[0] + now[1]) / 2 - (from.at[0] + from.at[1]) / 2) * scale * k;
        next = [centre - (centre - a) * k - moved, centre + (b - centre) * k - moved];
      }
      cancelAnimationFrame(wait); wait = requestAnimationFrame(() => go(...next));
    });
    const lift = (e) => { if (fingers.delete(e.pointerId) && fingers.size) hold(); };
    room.addEventListener("pointerup", lift); room.addEventListener("pointercancel", lift);
  }
  return { css, CONFIG, plotly, dressed, get, num, touchable };
})();
