// Keeps the pages that were looked at, so that a reload without the network opens them again. It sends nothing itself.
const CACHE = "chanbridge 1";
const FILES = ["/static/style.css", "/static/page.js", "/static/line.js", "/static/forms.js", "/static/icon.svg"];
const MOST = 80; // pages that are kept

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(FILES)));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(self.clients.claim());
});

// A link's secret is no part of what is kept.
function nameOf(request) {
  const url = new URL(request.url);
  url.searchParams.delete("key");
  return url.href;
}

async function keep(request, answer) {
  const cache = await caches.open(CACHE);
  const headers = new Headers(answer.headers);
  headers.set("x-kept", new Date().toISOString());
  const name = nameOf(request);
  await cache.put(name, new Response(await answer.blob(), { status: 200, headers }));
  const pages = (await cache.keys()).filter((one) => !FILES.includes(new URL(one.url).pathname));
  for (const old of pages.slice(0, Math.max(0, pages.length - MOST))) await cache.delete(old);
}

async function found(event) {
  const { request } = event;
  try {
    const answer = await fetch(request);
    if (answer.ok) event.waitUntil(keep(request, answer.clone()));
    return answer;
  } catch (error) {
    return (await caches.match(nameOf(request), { cacheName: CACHE })) || Response.error();
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  const ours = url.origin === self.location.origin && (["/", "/ticks"].includes(url.pathname) || FILES.includes(url.pathname));
  if (ours && event.request.method === "GET") event.respondWith(found(event));
});
