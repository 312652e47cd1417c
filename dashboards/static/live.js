/* Live readings with their age, as the service sends them. */
(() => {
  "use strict";
  const list = document.querySelector("[data-live]");
  if (!list || !("EventSource" in window)) return;
  const rows = new Map([...list.querySelectorAll("[data-point]")].map((li) => [li.dataset.point, li]));
  const status = document.querySelector("#live-status");
  const ahead = Number(list.dataset.now) - Date.now(); /* ages go by the service's clock */
  const say = (s) => (s < 90 ? `${Math.round(s)} s ago` : s < 5400 ? `${Math.round(s / 60)} min ago` : s < 172800 ? `${Math.round(s / 3600)} h ago` : `${Math.round(s / 86400)} days ago`);
  const sentence = document.querySelector("#live-text"), sentenceAge = sentence.querySelector(".live-age");
  const ages = () => {
    const since = (Date.now() + ahead - Number(sentence.dataset.at)) / 1000;
    sentenceAge.hidden = !(since > Number(sentence.dataset.oldS));
    if (!sentenceAge.hidden) sentenceAge.textContent = `(${say(since)})`;
    for (const li of rows.values()) {
      if (!li.dataset.at) continue;
      const s = Math.max(0, (Date.now() + ahead - Number(li.dataset.at)) / 1000), age = li.querySelector(".age");
      age.textContent = say(s); age.classList.toggle("old", s > 900);
    }
  };
  const source = new EventSource(list.dataset.live);
  source.addEventListener("readings", (e) => {
    for (const [point, r] of Object.entries(JSON.parse(e.data))) {
      const li = rows.get(point);
      if (!li) continue;
      const states = li.dataset.states ? JSON.parse(li.dataset.states) : null;
      const value = r.value === null ? "–" : states ? states[String(r.value)] ?? r.value : typeof r.value === "number" ? r.value.toLocaleString("en", { maximumFractionDigits: Math.abs(r.value) < 10 ? 2 : Math.abs(r.value) < 100 ? 1 : 0 }).replaceAll(",", "\u202f").replace("-", "\u2212") : r.value; /* as the page wrote it */
      li.querySelector(".value").textContent = `${value} ${li.dataset.unit}`;
      li.dataset.at = r.time;
    }
    ages();
    status.textContent = "Readings come in as the gateway sends them.";
  });
  /* sent just before the readings that it describes, so that the two never differ */
  source.addEventListener("told", (e) => {
    const now = JSON.parse(e.data);
    sentence.hidden = !now;
    if (now) { sentence.querySelector(".text").textContent = now.text; sentence.dataset.at = now.time; }
  });
  source.onerror = () => { status.textContent = "The connection is interrupted; it is being tried again."; };
  setInterval(ages, 1000);
  addEventListener("pagehide", () => source.close());
})();
