// Sends unsent entries in order, once each, whenever the service can be reached.
"use strict";
(() => {
  const kept = window.fieldfareKept;
  const AT_ONCE = 50, PATIENCE_MS = 30000;

  async function ask(url, more) {
    const answer = await fetch(url, { credentials: "same-origin", redirect: "manual", signal: AbortSignal.timeout(PATIENCE_MS), ...more });
    if (answer.type === "opaqueredirect" || answer.status === 401) throw new Error("sign in");
    if (answer.status >= 500 || answer.status === 429) throw new Error("no answer");
    return answer;
  }

  // The session that is open now: it may be a newer one than the page's.
  async function session(owner) {
    const answer = await ask("/field/session.json", { cache: "no-store" });
    const told = await answer.json();
    if (told.owner !== owner) throw new Error("sign in");
    return told;
  }

  const api = (sheet) => `/api/v1${sheet}`;

  async function problemOf(answer) {
    try {
      return (await answer.json()).detail || `refused (${answer.status})`;
    } catch {
      return `refused (${answer.status})`;
    }
  }

  async function settle(owner, sheet, sent, outcome) {
    const of = (await kept.all("changes", owner)).filter((c) => c.sheet === sheet && c.item === sent.item && c.field === sent.field);
    if (outcome.told === "kept") return kept.remove("changes", sent.n);
    const mine = of[of.length - 1] ?? sent;
    for (const change of of) await kept.remove("changes", change.n);
    const row = { owner, sheet, item: sent.item, field: sent.field, mine: mine.value, typed: mine.typed, ...outcome };
    return kept.put("conflicts", { ...row, id: undefined, theirs: outcome.value, theirAt: outcome.at });
  }

  async function sendChanges(owner, csrf, sheet, changes) {
    for (const change of changes) if (!change.tried) await kept.put("changes", { ...change, tried: true });
    const body = { changes: changes.map(({ id, item, field, value, was, typed }) => ({ id, item, field, value, was, typed })) };
    const answer = await ask(`${api(sheet)}/changes`, {
      method: "POST", headers: { "Content-Type": "application/json", "X-CSRF-Token": csrf }, body: JSON.stringify(body),
    });
    if (answer.status === 403) throw new Error("sign in");
    if (!answer.ok) {
      const why = await problemOf(answer);
      for (const change of changes) await settle(owner, sheet, change, { told: "refused", why, value: "", who: "", at: null });
      return null;
    }
    const told = await answer.json();
    for (const outcome of told.outcomes) {
      const sent = changes.find((c) => c.id === outcome.id);
      if (sent) await settle(owner, sheet, sent, outcome);
    }
    await kept.put("sheets", { owner, sheet, state: told.sheet });
    return told.sheet;
  }

  async function sendPhoto(csrf, photo) {
    const url = `${api(photo.sheet)}/items/${photo.item}/photos/${photo.id}?taken=${encodeURIComponent(photo.taken)}`;
    const answer = await ask(url, { method: "PUT", headers: { "Content-Type": "image/jpeg", "X-CSRF-Token": csrf }, body: photo.blob });
    if (answer.status === 403) throw new Error("sign in");
    if (answer.ok) return kept.remove("photos", photo.id);
    return kept.put("photos", { ...photo, trouble: await problemOf(answer) });
  }

  // Returns "sent", "offline", "sign in" or "busy".
  async function send(owner, changed) {
    const { changes, photos } = await kept.waiting(owner);
    if (!changes.length && !photos.some((p) => !p.trouble)) return "sent";
    const work = async () => {
      try {
        const { csrf } = await session(owner);
        for (let left = changes; left.length; left = (await kept.all("changes", owner))) {
          const sheet = left[0].sheet;
          await sendChanges(owner, csrf, sheet, left.filter((c) => c.sheet === sheet).slice(0, AT_ONCE));
          await changed?.();
        }
        for (const photo of (await kept.all("photos", owner)).filter((p) => !p.trouble)) {
          await sendPhoto(csrf, photo);
          await changed?.();
        }
        return "sent";
      } catch (error) {
        return error.message === "sign in" ? "sign in" : "offline";
      }
    };
    // One page at a time: two would send the same twice, which is harmless, and slow.
    if (!navigator.locks) return work();
    return navigator.locks.request("fieldfare-send", { ifAvailable: true }, (lock) => (lock ? work() : "busy"));
  }

  window.fieldfareSend = { send };
})();
