// Beside the pocket page on a web server: keeps the page in the browser, so
// that it opens without a network once it has been there. `?page=` names it.
const page = new URL(new URL(location).searchParams.get("page") ?? "pocket.html", location).href;
const KEPT = "holdover-pocket-page";

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(caches.open(KEPT).then((kept) => kept.add(new Request(page, {cache: "reload"}))));
});

addEventListener("activate", (event) => event.waitUntil(clients.claim()));

// The page alone, the server's newest where it answers.
addEventListener("fetch", (event) => {
  if (event.request.mode !== "navigate" || event.request.url.split("#")[0] !== page) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    try {
      const newest = await fetch(event.request);
      if (newest.ok) await kept.put(page, newest.clone());
      return newest;
    } catch (error) {
      return (await kept.match(page)) ?? Promise.reject(error);
    }
  })());
});
