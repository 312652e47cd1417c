// Register the service worker, and choose the homes to cache on this device.
"use strict";
(() => {
  const kept = window.fieldfareKept;
  const take = document.getElementById("take"), sheet = document.getElementById("sheet");
  const owner = (take ?? sheet)?.dataset.owner;
  const secure = window.isSecureContext && "serviceWorker" in navigator;

  function message(told) {
    return navigator.serviceWorker.ready.then((ready) => new Promise((resolve) => {
      const channel = new MessageChannel();
      channel.port1.onmessage = (event) => resolve(event.data);
      ready.active.postMessage(told, [channel.port2]);
    }));
  }

  const files = () => [...document.querySelectorAll("link[rel=stylesheet], link[rel=icon], link[rel=manifest]")].map((e) => e.href)
    .concat([...document.scripts].map((e) => e.src).filter(Boolean));
  const pictures = () => [...document.querySelectorAll("[data-photo]:not(.waits) img")].map((e) => e.src);

  if (secure && owner) {
    navigator.serviceWorker.register("/sw.js").then(() => {
      // The first page loads before the worker; a page from the cache can't be cached again.
      if (!navigator.serviceWorker.controller || take) return message({ keep: [location.pathname, ...files(), ...pictures()] });
      return message({ keep: pictures() });
    }).catch(() => undefined);
    navigator.storage?.persist?.().catch(() => undefined);
  }

  if (!take || !secure || !kept) return;
  const device = document.getElementById("device");
  for (const e of document.querySelectorAll(".scripted")) e.hidden = false;

  async function listed() {
    const list = document.getElementById("here-list");
    const pages = [];
    for (const name of await caches.keys()) {
      if (name === `fieldfare-pages-${owner}`) {
        for (const r of await (await caches.open(name)).keys()) pages.push(new URL(r.url).pathname);
      }
    }
    const rest = await kept.waiting(owner);
    const rows = [...rest.changes, ...rest.photos, ...rest.conflicts];
    const sheets = [...new Set([...pages.filter((p) => p.startsWith("/sites/") && p.includes("/checks/")), ...rows.map((r) => r.sheet)])].sort();
    list.textContent = "";
    for (const path of sheets) {
      const [, , home, , kind, period] = path.split("/");
      const name = take.querySelector(`[value="${CSS.escape(path)}"]`)?.dataset.name ?? home.replaceAll("-", " ");
      const n = rows.filter((r) => r.sheet === path).length;
      const words = { winter: "before winter", service: "annual service", commissioning: "commissioning" };
      const entry = document.createElement("li");
      entry.append(Object.assign(document.createElement("a"), { href: path, textContent: `${name}, ${words[kind]}${period === "first" ? "" : ` ${period}`}` }));
      entry.append(Object.assign(document.createElement("span"), { className: "soft", textContent: n ? `${n} to send` : "nothing to send" }));
      list.append(entry);
    }
    document.getElementById("here").hidden = !sheets.length;
    for (const row of take.querySelectorAll("[data-here]")) row.hidden = !pages.includes(row.dataset.here);
    return rows.length;
  }

  take.addEventListener("submit", async (event) => {
    event.preventDefault();
    const chosen = [...take.querySelectorAll("[name=sheet]:checked")].map((e) => e.value);
    device.hidden = false;
    device.textContent = chosen.length ? "Keeping…" : "Choose one home or more first.";
    if (!chosen.length) return;
    const n = await message({ keep: [...chosen, ...files()] });
    device.textContent = n === chosen.length ? `${n === 1 ? "1 sheet is" : `${n} sheets are`} on this device.` :
      `${Math.max(n, 0)} of ${chosen.length} sheets are on this device; try again where there is a signal.`;
    await listed();
  });

  const send = async () => { await window.fieldfareSend.send(owner, listed); await listed(); };
  addEventListener("online", send);
  if (location.hash === "#no-signal") { // the worker shows this page in another's place
    device.hidden = false;
    device.textContent = "No signal: that page needs one. The sheets on this device open without.";
  }
  listed().then((n) => { if (n) send(); }, () => undefined);
})();
