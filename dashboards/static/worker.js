// Service worker: a few pages are kept on the device for where there is no signal. They are the pages of one person; the service
// names that person by an opaque word in a header, and pages of another word are thrown away before a new one is kept.
"use strict";
const FILES = "fieldfare-files", WHO = "fieldfare-who", PAGES = "fieldfare-pages-";
const OWNER = "Fieldfare-Owner";
const KEPT = /^\/(field|sites\/[a-z0-9-]{2,40}\/checks\/(winter|service|commissioning)\/(\d{4}|first))$/;
const SMALL = /^\/api\/v1\/sites\/[a-z0-9-]{2,40}\/photos\/[0-9a-f]{32}$/;
const LASTS_MS = 14 * 86400e3; // a session lasts no longer
const PATIENCE_MS = 5000;

self.addEventListener("install", (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) return event.respondWith(file(event.request));
  if (SMALL.test(url.pathname) && url.searchParams.has("small")) return event.respondWith(photo(event.request));
  if (event.request.mode !== "navigate") return undefined;
  if (KEPT.test(url.pathname)) return event.respondWith(page(event.request, url));
  return event.respondWith(other(event.request, url));
});

self.addEventListener("message", (event) => {
  const { keep, clear } = event.data || {};
  const done = clear ? clearAll() : keep ? keepAll(keep) : Promise.resolve(0);
  event.waitUntil(done.then((n) => event.ports[0]?.postMessage(n), () => event.ports[0]?.postMessage(-1)));
});

async function owner() {
  const told = await (await caches.open(WHO)).match("/owner");
  return told ? told.text() : "";
}

async function clearPages() {
  for (const name of await caches.keys()) if (name.startsWith(PAGES)) await caches.delete(name);
  await caches.delete(WHO);
}

async function clearAll() {
  await clearPages();
  return caches.delete(FILES).then(() => 0);
}

// A page as the service has just given it. Kept where it is somebody's and may be; where it may not be any more, the kept one goes.
async function look(path, answer) {
  const whose = answer.headers.get(OWNER);
  if (answer.ok && whose && !answer.redirected) {
    if ((await owner()) !== whose) {
      await clearPages();
      await (await caches.open(WHO)).put("/owner", new Response(whose));
    }
    await (await caches.open(PAGES + whose)).put(path, answer.clone());
    return true;
  }
  if (answer.type === "opaqueredirect" || answer.redirected || answer.status === 401 || answer.status === 403) await clearPages();
  else if (answer.status === 404) await (await caches.open(PAGES + (await owner()))).delete(path);
  return false;
}

async function keptPage(path) {
  const whose = await owner();
  const found = whose ? await (await caches.open(PAGES + whose)).match(path) : undefined;
  if (!found) return undefined;
  const age = Date.now() - Date.parse(found.headers.get("Date") || 0);
  return age < LASTS_MS ? found : undefined;
}

async function page(request, url) {
  const asked = fetch(request).then(async (answer) => {
    if (!url.search) await look(url.pathname, answer.clone());
    return answer;
  });
  const found = await keptPage(url.pathname);
  if (!found) return asked.catch(() => nothing());
  asked.catch(() => undefined);
  const slow = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
  return Promise.race([asked.catch(() => found), slow.then(() => found)]);
}

async function other(request, url) {
  try {
    const answer = await fetch(request);
    const whose = answer.headers.get(OWNER);
    if (url.pathname === "/sign-in" || (whose && whose !== (await owner()))) await clearPages();
    return answer;
  } catch {
    return url.pathname === "/" && (await keptPage("/field")) ? Response.redirect("/field#no-signal") : nothing();
  }
}

async function file(request) {
  const cache = await caches.open(FILES);
  const found = await cache.match(request);
  if (found) return found;
  const answer = await fetch(request);
  if (answer.ok && new URL(request.url).searchParams.has("v")) await cache.put(request, answer.clone());
  return answer;
}

async function photo(request) {
  const whose = await owner();
  const cache = whose ? await caches.open(PAGES + whose) : null;
  try {
    const answer = await fetch(request);
    if (answer.ok && cache && (await owner()) === whose) await cache.put(request, answer.clone());
    return answer;
  } catch {
    return (await cache?.match(request)) ?? Response.error();
  }
}

// Pages, their files and small photos. Returns how many pages are kept now.
async function keepAll(addresses) {
  let n = 0;
  for (const address of addresses) {
    const url = new URL(address, location.origin);
    if (url.origin !== location.origin) continue;
    if (KEPT.test(url.pathname)) {
      const answer = await fetch(url.pathname, { credentials: "same-origin" });
      n += (await look(url.pathname, answer)) ? 1 : 0;
    } else if (url.pathname.startsWith("/static/")) {
      await file(new Request(url));
    } else if (SMALL.test(url.pathname)) {
      await photo(new Request(url, { credentials: "same-origin" }));
    }
  }
  return n;
}

function nothing() {
  const text = "<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content='width=device-width'>" +
    "<title>No signal · fieldfare</title><h1>No signal</h1><p>This page needs a signal; it isn't kept on this device. " +
    "<a href='/field'>The sheets that are</a>.</p></html>";
  const headers = { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": "default-src 'none'" };
  return new Response(text, { status: 503, headers });
}
