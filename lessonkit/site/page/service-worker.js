// Keeps what was fetched, so that a second visit needs no network. Made anew with each build: a new build has a new
// name, and what an older one kept is thrown away.
"use strict";
const BUILD = "@BUILD@";
const SCOPE = new URL("./", self.location.href);
const SHELF = `lessonkit ${SCOPE.pathname} `;

self.addEventListener("install", (event) => {
  event.waitUntil(self.skipWaiting());
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys()) {
        if (name.startsWith(SHELF) && name !== SHELF + BUILD) await caches.delete(name);
      }
      await self.clients.claim();
    })(),
  );
});

// A full or broken browser keeps nothing; then everything is fetched as if this worker weren't there. A room's wireless
// network loses an answer now and then, and a page with a part missing stays broken: so it is asked for once more.
const kept = async (event, url) => {
  const shelf = await caches.open(SHELF + BUILD).catch(() => null);
  // A query only tells the page what to show, or names a version; the file is the same.
  const key = url.origin + url.pathname;
  const found = await shelf?.match(key).catch(() => null);
  if (found) return found;
  const answer = await fetch(event.request).catch(() => fetch(event.request));
  // It is kept beside: the page goes on with what has come, and says how far it is.
  if (shelf && answer.status === 200) event.waitUntil(shelf.put(key, answer.clone()).catch(() => {}));
  return answer;
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (url.origin !== SCOPE.origin || !url.pathname.startsWith(SCOPE.pathname)) return;
  if (event.request.method !== "GET" || event.request.headers.has("range")) return;
  event.respondWith(kept(event, url));
});
