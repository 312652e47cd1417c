// Signing out deletes the data on this device; asks first if something was not sent yet.
"use strict";
(() => {
  const NAME = "fieldfare-field", STORES = ["changes", "photos", "conflicts"];
  const form = document.querySelector('form[action="/sign-out"]');
  if (!form || !("indexedDB" in window)) return;

  async function waits() {
    const there = await indexedDB.databases?.().catch(() => []);
    if (!there?.some((db) => db.name === NAME)) return 0;
    return new Promise((resolve) => {
      const asked = indexedDB.open(NAME);
      asked.onerror = () => resolve(0);
      asked.onsuccess = () => {
        const db = asked.result;
        if (!STORES.every((s) => db.objectStoreNames.contains(s))) { db.close(); resolve(0); return; }
        const deal = db.transaction(STORES), counts = STORES.map((s) => deal.objectStore(s).count());
        deal.oncomplete = () => { db.close(); resolve(counts.reduce((n, c) => n + c.result, 0)); };
        deal.onabort = () => { db.close(); resolve(0); };
      };
    });
  }

  async function clear() {
    if ("caches" in window) for (const name of await caches.keys()) if (name.startsWith("fieldfare-")) await caches.delete(name);
    await new Promise((resolve) => {
      const gone = indexedDB.deleteDatabase(NAME);
      gone.onsuccess = gone.onerror = gone.onblocked = resolve;
    });
  }

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const n = await waits();
    const lost = n ? `${n === 1 ? "1 entry or photo" : `${n} entries or photos`} on this device not sent yet will be deleted. ` : "";
    const later = navigator.onLine ? "" : "No signal: the sheets are removed from this device now; sign out again with a signal to end the session. ";
    if ((lost || later) && !window.confirm(`${lost}${later}Sign out?`)) return;
    await clear();
    form.submit();
  });
})();
