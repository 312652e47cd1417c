/* Keeps the live overview fresh while somebody looks at it. */
(() => {
  "use strict";
  const EVERY_MS = 15000;
  const part = document.querySelector("[data-part]"), state = document.querySelector("#live-state");
  let busy = false;
  async function renew() {
    if (busy || document.hidden) return;
    busy = true;
    try {
      const answer = await fetch(part.dataset.part, { headers: { Accept: "text/html" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const at = document.activeElement?.getAttribute?.("href"), inside = part.contains(document.activeElement);
      part.innerHTML = await answer.text();
      if (inside && at) part.querySelector(`a[href="${CSS.escape(at).replaceAll("\\/", "/").replaceAll("\\#", "#")}"]`)?.focus({ preventScroll: true });
      state.textContent = "";
    } catch (e) { state.textContent = "The connection is interrupted; it is being tried again."; }
    busy = false;
  }
  setInterval(renew, EVERY_MS);
  document.addEventListener("visibilitychange", renew);
})();
