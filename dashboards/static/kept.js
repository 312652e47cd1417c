// Local storage of a person's sheets: unsent entries and photos, conflicts, and the last state of each sheet.
// Everything has its owner's word; nothing of one owner is shown or sent while another is signed in.
"use strict";
(() => {
  const NAME = "fieldfare-field", STORES = ["changes", "photos", "conflicts", "sheets"];
  let opened = null;

  function open() {
    opened ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open(NAME, 1);
      asked.onupgradeneeded = () => {
        const db = asked.result;
        db.createObjectStore("changes", { keyPath: "n", autoIncrement: true }).createIndex("owner", "owner");
        db.createObjectStore("photos", { keyPath: "id" }).createIndex("owner", "owner");
        db.createObjectStore("conflicts", { keyPath: ["owner", "sheet", "item", "field"] }).createIndex("owner", "owner");
        db.createObjectStore("sheets", { keyPath: ["owner", "sheet"] }).createIndex("owner", "owner");
      };
      asked.onsuccess = () => {
        asked.result.onversionchange = () => { asked.result.close(); opened = null; };
        asked.result.onclose = () => { opened = null; };
        resolve(asked.result);
      };
      asked.onerror = () => { opened = null; reject(asked.error); };
    });
    return opened;
  }

  const answer = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

  // One transaction; done when it is on the disk.
  async function within(stores, mode, work) {
    const db = await open();
    return new Promise((resolve, reject) => {
      const deal = db.transaction(stores, mode, { durability: "strict" });
      let result;
      deal.oncomplete = () => resolve(result);
      deal.onabort = () => reject(deal.error);
      Promise.resolve(work(...[].concat(stores).map((s) => deal.objectStore(s)))).then((r) => { result = r; }, () => deal.abort());
    });
  }

  const all = (store, owner) => within(store, "readonly", (s) => answer(s.index("owner").getAll(owner)));
  const put = (store, row) => within(store, "readwrite", (s) => answer(s.put(row)));
  const remove = (store, key) => within(store, "readwrite", (s) => answer(s.delete(key)));
  const get = (store, key) => within(store, "readonly", (s) => answer(s.get(key)));

  const randomId = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

  // Keep a field. Typing on replaces an entry that was never sent; one that may have reached the service stays as it is, and the
  // next follows it, so that an answer that got lost is no conflict with oneself.
  function enter(owner, sheet, item, field, value, known) {
    return within(["changes", "conflicts"], "readwrite", async (changes, conflicts) => {
      const same = (await answer(changes.index("owner").getAll(owner)))
        .filter((c) => c.sheet === sheet && c.item === item && c.field === field);
      const last = same[same.length - 1];
      const at = new Date().toISOString();
      await answer(conflicts.delete([owner, sheet, item, field]));
      if (last && !last.tried) {
        if (value === last.was && same.length === 1) return answer(changes.delete(last.n));
        return answer(changes.put({ ...last, value, typed: at }));
      }
      const was = last ? last.value : known;
      if (value === was) return null;
      return answer(changes.add({ id: randomId(), owner, sheet, item, field, value, was, typed: at, tried: false }));
    });
  }

  async function waiting(owner) {
    const [changes, photos, conflicts] = await Promise.all(["changes", "photos", "conflicts"].map((s) => all(s, owner)));
    return { changes, photos, conflicts };
  }

  // Everything of an owner, or of all.
  async function clear(owner) {
    if (owner === undefined) return within(STORES, "readwrite", (...stores) => Promise.all(stores.map((s) => answer(s.clear()))));
    return within(STORES, "readwrite", async (...stores) => {
      for (const store of stores) for (const key of await answer(store.index("owner").getAllKeys(owner))) await answer(store.delete(key));
    });
  }

  window.fieldfareKept = { all, put, remove, get, enter, waiting, clear, randomId };
})();
