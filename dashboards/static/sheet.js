// Check sheet: entries are stored on the device while typing, and sent when the service can be reached.
"use strict";
(() => {
  const form = document.getElementById("sheet");
  if (!form || !("indexedDB" in window) || !window.fieldfareKept) return;
  const kept = window.fieldfareKept, sheet = form.dataset.sheet, owner = form.dataset.owner;
  const SEND_AFTER_MS = 900, AGAIN_MS = 3000, LONGEST_MS = 60000, WORDS = { done: "Done", not_done: "Not done", not_applicable: "Not applicable" };
  const device = document.getElementById("device"), signing = document.getElementById("signing");
  const items = new Map([...form.querySelectorAll("[data-item]")].map((e) => [e.dataset.item, e]));
  let timer = 0, again = AGAIN_MS, last = "sent", entering = 0;

  document.documentElement.classList.add("scripts");
  for (const plain of form.querySelectorAll(".plain")) plain.hidden = true;
  form.addEventListener("submit", (event) => { if (!event.submitter?.formAction.endsWith("/remove")) event.preventDefault(); });

  const fields = (item, field) => [...(items.get(item)?.querySelectorAll(`[data-field="${CSS.escape(field)}"]`) ?? [])];
  const wasInput = (item, field) => form.querySelector(`input[name="w.${CSS.escape(item)}.${CSS.escape(field)}"]`);

  function shown(item, field) {
    const inputs = fields(item, field);
    if (inputs[0]?.type === "radio") return inputs.find((i) => i.checked)?.value ?? "";
    return inputs[0]?.value ?? "";
  }

  function show(item, field, value) {
    const inputs = fields(item, field);
    if (inputs[0]?.type === "radio") for (const i of inputs) i.checked = i.value === value;
    else if (inputs[0] && document.activeElement !== inputs[0]) inputs[0].value = value;
    judge(item, field);
  }

  // The number of a field as it was typed, without its unit.
  function bare(input) {
    let text = input.value.trim();
    const unit = input.dataset.unit ?? "";
    if (unit && text.toLowerCase().endsWith(unit.toLowerCase())) text = text.slice(0, -unit.length).trim();
    return text.replace(",", ".").replace("\u2212", "-");
  }

  const numberIn = (input) => (input && bare(input) !== "" && Number.isFinite(Number(bare(input))) ? Number(bare(input)) : null);

  // The ranges come with the page; here they are only compared.
  function broken(item, input) {
    const value = numberIn(input);
    return JSON.parse(input.dataset.rules || "[]").filter((r) => {
      const limit = r.than ? numberIn(fields(item, `found.${r.than}`)[0]) : r.limit;
      if (value === null || limit === null || limit === undefined) return false;
      return value === limit ? r.reached : r.side === "above" ? value > limit : value < limit;
    });
  }

  function concern(item, input) {
    const rules = broken(item, input), hint = document.getElementById(input.getAttribute("aria-describedby"));
    let told = hint.querySelector(".concern");
    if (!rules.length) return told?.remove();
    if (!told) hint.prepend(told = Object.assign(document.createElement("span"), { className: "concern" }));
    const says = Object.assign(document.createElement("b"), { textContent: `${rules.map((r) => r.says).join("; ")}.` });
    told.replaceChildren(says, ` ${[...new Set(rules.map((r) => r.caution))].join(" ")} `);
    return undefined;
  }

  const lacksReason = (item) => shown(item, "state") === "not_done" && shown(item, "note").trim() === "";

  // Open points of manual checks, in the order and with the keys of the service: the signer ticks exactly these.
  function open() {
    const points = [];
    for (const [item, box] of items) {
      const state = shown(item, "state"), note = shown(item, "note").trim(), title = titleOf(item);
      box.querySelector("[data-why]").hidden = !lacksReason(item);
      const found = [...box.querySelectorAll("[data-rules]")];
      for (const input of found) concern(item, input);
      if (state === "not_done") points.push({ key: item, item, says: `${title}: not done${note ? `: ${note}` : ""}` });
      if (state === "not_applicable") continue;
      for (const input of found) {
        const rules = broken(item, input);
        if (!rules.length) continue;
        const name = input.closest("label").firstChild.textContent.trim(), field = input.dataset.field.slice(6);
        points.push({
          key: `${item}.${field}`, item, says: `${title}, ${name} ${bare(input)} ${input.dataset.unit}: ${rules.map((r) => r.says).join("; ")}`,
          care: [...new Set(rules.map((r) => r.caution))].join(" "),
        });
      }
    }
    agree(points);
  }

  function agree(points) {
    const room = document.getElementById("by-hand");
    if (!room) return;
    const tick = room.querySelector("[name=by_hand]"), keys = points.map((p) => p.key).join(" ");
    room.hidden = !points.length;
    tick.required = points.length > 0;
    tick.disabled = !points.length;
    if (tick.value !== keys) tick.checked = false;
    tick.value = keys;
    room.querySelector("ul").replaceChildren(...points.map((p) => {
      const line = document.createElement("li");
      line.append(Object.assign(document.createElement("a"), { href: `#item-${p.item}`, textContent: p.says }));
      if (p.care) line.append(". ", Object.assign(document.createElement("b"), { textContent: "Take care." }), ` ${p.care}`);
      return line;
    }));
  }

  // An implausible number is reported, and stored unchanged.
  function judge(item, field) {
    const input = fields(item, field)[0];
    if (!input || input.dataset.low === undefined && input.dataset.high === undefined) return;
    const text = bare(input), value = Number(text), low = Number(input.dataset.low ?? -Infinity), high = Number(input.dataset.high ?? Infinity);
    const wrong = text !== "" && (!Number.isFinite(value) || value < low || value > high);
    const hint = document.getElementById(input.getAttribute("aria-describedby"));
    let told = hint.querySelector(".wrong");
    if (!wrong) {
      input.removeAttribute("aria-invalid");
      told?.remove();
      return;
    }
    input.setAttribute("aria-invalid", "true");
    if (!told) hint.prepend(told = Object.assign(document.createElement("span"), { className: "wrong" }));
    const ends = [Number.isFinite(low) && `at least ${low}`, Number.isFinite(high) && `at most ${high}`].filter(Boolean).join(" and ");
    told.textContent = Number.isFinite(value) ? `${text} can't be right; expected ${ends} ` : `${text} is no number `;
  }

  // The browser truncates pasted text; tell the user.
  function full(input) {
    const most = input.maxLength, at = input.closest("label");
    let told = at.querySelector(".full");
    if (most < 0 || input.value.length < most) return told?.remove();
    if (!told) at.append(told = Object.assign(document.createElement("span"), { className: "wrong full small" }));
    told.textContent = `Full: at most ${most} characters are kept.`;
    return undefined;
  }

  const fieldOf = (input) => input.closest("[data-item]").dataset.item;

  // Store an entry on the device; the status stays "unsent" until then. Returns the error, or null.
  async function stored(work) {
    entering += 1;
    saving();
    try {
      await work();
      return null;
    } catch (error) {
      return error;
    } finally {
      entering -= 1;
    }
  }

  async function entered(event) {
    const input = event.target;
    if (!input.dataset.field) return;
    const item = fieldOf(input), field = input.dataset.field;
    judge(item, field);
    full(input);
    // A value that was read says that the item was done; it can be changed.
    const marks = field.startsWith("found.") && input.value.trim() !== "" && !shown(item, "state");
    if (marks) for (const i of fields(item, "state")) i.checked = i.value === "done";
    count();
    open();
    const error = await stored(async () => {
      for (const name of marks ? [field, "state"] : [field]) {
        await kept.enter(owner, sheet, item, name, shown(item, name), wasInput(item, name).value);
      }
    });
    if (error) {
      tell(`This device can't keep entries (${error.name}). Stay on this page until they are sent.`, true);
      return;
    }
    await status();
    soon(SEND_AFTER_MS);
  }
  form.addEventListener("input", entered);

  async function added(event) {
    const input = event.target;
    if (!("add" in input.dataset)) return;
    const item = fieldOf(input);
    const error = await stored(async () => {
      for (const file of [...input.files]) {
        const { blob, small } = await window.fieldfarePhotos.scaled(file);
        const taken = new Date(Math.min(file.lastModified || Date.now(), Date.now())).toISOString();
        await kept.put("photos", { id: kept.randomId(), owner, sheet, item, blob, small, taken });
      }
    });
    input.value = "";
    await refresh();
    if (error) tell(error.message, true);
    else soon(0);
  }
  form.addEventListener("change", added);

  // State from the service, overlaid with unsent entries.
  function known(state) {
    if (!state || state.seq < Number(form.dataset.seq)) return;
    form.dataset.seq = state.seq;
    for (const item of state.items) {
      const values = { state: item.state, note: item.note };
      for (const found of item.found) values[`found.${found.id}`] = found.value;
      for (const [field, value] of Object.entries(values)) {
        const was = wasInput(item.id, field);
        if (!was || was.value === value) continue;
        was.value = value;
        show(item.id, field, value);
      }
      const by = items.get(item.id)?.querySelector("[data-by]");
      if (by && item.who) by.textContent = item.at ? `${item.who}, ${when(item.at)}` : item.who;
      sentPhotos(item);
    }
  }

  const when = (text) => new Date(text).toLocaleString("en-GB", {
    timeZone: form.dataset.zone, day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit",
  }).replace("Sept", "Sep"); /* as the server writes it */

  function picture(id, source, alt) {
    const box = document.createElement("div");
    box.className = "photo";
    box.dataset.photo = id;
    box.append(Object.assign(document.createElement("img"), { src: source, alt, width: 96, height: 96 }));
    return box;
  }

  const titleOf = (item) => items.get(item)?.querySelector("legend").textContent ?? item;
  const api = (id) => `/api/v1/sites/${sheet.split("/")[2]}/photos/${id}`;

  function sentPhotos(item) {
    const room = items.get(item.id)?.querySelector("[data-photos]");
    for (const photo of item.photos) {
      if (!room || room.querySelector(`[data-photo="${photo.id}"]:not(.waits)`)) continue;
      room.querySelector(`[data-photo="${photo.id}"]`)?.remove();
      const box = picture(photo.id, `${api(photo.id)}?small=true`, `Photo of ${titleOf(item.id)}`);
      const remove = document.createElement("button");
      remove.className = "quiet small";
      remove.textContent = "Remove";
      remove.setAttribute("aria-label", `Remove this photo of ${titleOf(item.id)}`);
      remove.setAttribute("formaction", `/sites/${sheet.split("/")[2]}/photos/${photo.id}/remove`);
      remove.setAttribute("formenctype", "application/x-www-form-urlencoded");
      remove.formNoValidate = true;
      box.append(remove);
      room.append(box);
    }
  }

  function waitingPhotos(photos) {
    const there = new Set(photos.map((p) => p.id));
    for (const box of form.querySelectorAll(".photo.waits")) if (!there.has(box.dataset.photo)) box.remove();
    for (const photo of photos) {
      const room = items.get(photo.item)?.querySelector("[data-photos]");
      if (!room) continue;
      let box = room.querySelector(`[data-photo="${photo.id}"]`);
      if (!box) {
        box = picture(photo.id, photo.small, `Photo of ${titleOf(photo.item)}, not sent yet`);
        box.classList.add("waits");
        const remove = Object.assign(document.createElement("button"), { type: "button", className: "quiet small", textContent: "Remove" });
        remove.setAttribute("aria-label", `Remove this photo of ${titleOf(photo.item)}`);
        remove.addEventListener("click", async () => { await kept.remove("photos", photo.id); await refresh(); });
        box.append(remove);
        room.append(box);
      }
      if (photo.trouble && !box.querySelector(".wrong")) {
        box.append(Object.assign(document.createElement("span"), { className: "wrong small", textContent: photo.trouble }));
      }
    }
  }

  function clash(conflicts) {
    for (const box of form.querySelectorAll("[data-clash]")) { box.hidden = true; box.textContent = ""; }
    for (const c of conflicts) {
      const box = items.get(c.item)?.querySelector("[data-clash]");
      if (!box) continue;
      box.hidden = false;
      const say = (field, value) => (field === "state" ? WORDS[value] : value) || "nothing";
      const name = c.field === "state" ? "Result" : c.field === "note" ? "Note" :
        fields(c.item, c.field)[0]?.closest("label").firstChild.textContent.trim();
      const words = document.createElement("p");
      const theirs = say(c.field, c.theirs), mine = say(c.field, c.mine);
      words.textContent = c.told === "refused" ? `${name}: “${mine}” can't be kept: ${c.why}.` :
        `${name}: you entered “${mine}” (${when(c.typed)}); ${c.who || "another"} entered “${theirs}”` +
        `${c.theirAt ? ` (${when(c.theirAt)})` : ""}.${c.told === "signed" ? " The sheet is signed; open it again to change it." : ""}`;
      const acts = Object.assign(document.createElement("p"), { className: "acts" });
      const choose = (text, value, keepMine) => {
        const button = Object.assign(document.createElement("button"), { type: "button", textContent: text });
        button.addEventListener("click", () => chosen(c, value, keepMine));
        acts.append(button);
      };
      if (c.told === "conflict") choose(`Keep mine: ${mine}`, c.mine, true);
      choose(c.told === "refused" ? "Drop it" : `Take theirs: ${theirs}`, c.theirs, false);
      box.append(words, acts);
    }
  }

  async function chosen(c, value, keepMine) {
    const was = wasInput(c.item, c.field);
    if (c.told !== "refused" && was) was.value = c.theirs;
    await kept.remove("conflicts", [c.owner, c.sheet, c.item, c.field]);
    if (keepMine) await kept.enter(owner, sheet, c.item, c.field, c.mine, c.theirs);
    show(c.item, c.field, c.told === "refused" ? was?.value ?? "" : value);
    items.get(c.item)?.querySelector("input, textarea")?.focus({ preventScroll: true });
    await refresh();
    soon(0);
  }

  function count() {
    const told = document.getElementById("answered");
    if (told) told.textContent = [...items.keys()].filter((item) => shown(item, "state") && !lacksReason(item)).length;
  }

  function tell(text, waits) {
    device.hidden = false;
    device.classList.toggle("waits", waits);
    device.textContent = text;
  }

  const isEmpty = () => ![...items.keys()].some((item) => shown(item, "state") || shown(item, "note").trim());

  const mine = (rows) => rows.filter((r) => r.sheet === sheet);
  const many = (n, word) => `${n} ${word}${n === 1 ? "" : word === "entry" ? "" : "s"}`.replace(/^(\d+) entry$/, (_, k) => `${k} ${k === "1" ? "entry" : "entries"}`);

  // why : reason why the sheet can not be signed yet; empty if it can
  function mayBeSigned(why) {
    if (!signing) return;
    for (const button of signing.querySelectorAll("button")) button.disabled = Boolean(why);
    const told = document.getElementById("not-yet");
    told.hidden = !why;
    told.textContent = why;
  }

  function saving() {
    mayBeSigned("This can be signed once all is sent.");
    tell("Saving on this device.", true);
  }

  async function status() {
    const rest = await kept.waiting(owner);
    const changes = mine(rest.changes), photos = mine(rest.photos), conflicts = mine(rest.conflicts);
    const parts = [changes.length && many(changes.length, "entry"), photos.length && many(photos.length, "photo")].filter(Boolean);
    if (entering) {
      saving();
      return rest;
    }
    mayBeSigned(conflicts.length ? "This can be signed once the entries above are decided on." :
      parts.length ? "This can be signed once all is sent." :
        last === "offline" || !navigator.onLine ? "This can be signed once there is a signal." : "");
    if (conflicts.length) tell(`${many(conflicts.length, "entry")} to decide on: somebody else entered something too.`, true);
    else if (!parts.length) tell(last === "offline" ? "No signal. Nothing waits to be sent." : isEmpty() ? "Nothing is entered yet." : "All sent.", false);
    else if (last === "sign in") {
      tell(`${parts.join(" and ")} kept on this device. Sign in to send.`, true);
      device.append(" ", Object.assign(document.createElement("a"), { href: "/sign-in", textContent: "Sign in" }));
    } else if (photos.some((p) => p.trouble)) tell(`${parts.join(" and ")} kept on this device; a photo was refused, see there.`, true);
    else tell(`${parts.join(" and ")} kept on this device${navigator.onLine && last !== "offline" ? "; sending" : ", no signal"}.`, true);
    return rest;
  }

  async function refresh() {
    const row = await kept.get("sheets", [owner, sheet]);
    known(row?.state);
    const rest = await status();
    for (const c of mine(rest.changes)) show(c.item, c.field, c.value);
    for (const c of mine(rest.conflicts)) show(c.item, c.field, c.mine);
    waitingPhotos(mine(rest.photos));
    clash(mine(rest.conflicts));
    count();
    open();
  }

  async function fetched() {
    try {
      const answer = await fetch(`/api/v1${sheet}`, { credentials: "same-origin", cache: "no-store" });
      if (answer.ok) await kept.put("sheets", { owner, sheet, state: await answer.json() });
    } catch { /* offline: show the stored state */ }
  }

  async function sendNow() {
    clearTimeout(timer);
    const before = mine((await kept.waiting(owner)).photos).length;
    last = await window.fieldfareSend.send(owner, refresh);
    if (last === "sent" && before && !mine((await kept.waiting(owner)).photos).some((p) => !p.trouble)) await fetched();
    await refresh();
    const rest = await kept.waiting(owner);
    again = last === "sent" ? AGAIN_MS : Math.min(2 * again, LONGEST_MS);
    if (rest.changes.length || rest.photos.some((p) => !p.trouble)) soon(again);
  }

  function soon(ms) {
    clearTimeout(timer);
    timer = setTimeout(sendNow, ms);
  }

  if (form.dataset.signed === undefined) {
    for (const event of ["online", "pageshow"]) addEventListener(event, () => soon(0));
    addEventListener("offline", () => { last = "offline"; status(); });
    document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") soon(0); });
    refresh().then(() => soon(0), (error) => tell(`This device can't keep entries (${error.name}).`, true));
  }
})();
