// The service worker: the shell of the pages, and each page as it was last seen. It never writes
// and never answers for a write, but to say that there is no signal; entries wait in the page's own queue.

const SHELL_CACHE = `shell-${VERSION}`;
const SEEN = "seen";
const PATIENCE_MS = 5000;
const RECKONED = ["/outlook", "/plan", "/costs", "/feed", "/eggs/store", "/breeding"]; // pages that are reckoned before they are sent
const PATIENCE_WITH_RECKONED_MS = 30000;
const FILE = /\.(pdf|ics|xlsx|zip|csv|toml)$|\/backup\/file$/; // made, and then long on its way: waited for
const MOST_SEEN = 80;
let comings = 0; // how often another person may have come since this worker began

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL_CACHE).then((cache) => cache.addAll(SHELL)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(dropOld().then(() => self.clients.claim()));
});

async function dropOld() {
  for (const name of await caches.keys()) {
    if (name.startsWith("shell-") && name !== SHELL_CACHE) await caches.delete(name);
  }
}

// The first page of all was loaded before there was a worker: it is fetched again, to be kept.
self.addEventListener("message", (event) => {
  const { seen, language } = event.data ?? {};
  if (seen) event.waitUntil(inLanguage(language).then(() => askFor(seen)).catch(() => {}));
});

// Pages put by in the language before are dropped, once those of the shell are there in the new one.
async function inLanguage(language) {
  const shell = await caches.open(SHELL_CACHE);
  const before = await (await shell.match("/language"))?.text();
  if (before === language) return;
  if (before !== undefined) {
    await shell.addAll(SHELL.filter((address) => !address.startsWith("/static/")));
    await caches.delete(SEEN);
  }
  await shell.put("/language", new Response(language));
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname, search } = new URL(request.url);
  if (origin !== self.location.origin) return;
  // Another person may come: what the one before has seen is not theirs.
  if (request.method === "POST" && ["/sign-out", "/sign-in", "/begin"].includes(pathname)) {
    event.respondWith(forget().then(() => fetch(request)).finally(forget));
    return;
  }
  // Else the browser's own page of faults would stand there, with no way back. What bears a file goes its own way.
  const isPressed = request.method === "POST" && request.mode === "navigate";
  if (isPressed && !request.headers.get("Content-Type")?.startsWith("multipart/")) {
    event.respondWith(fetch(request).catch(() => caches.match("/no-signal")));
    return;
  }
  if (request.method !== "GET") return;
  if (pathname.startsWith("/static/")) {
    event.respondWith(file(request, pathname));
  } else if (request.mode === "navigate") {
    event.respondWith(page(request, pathname + search.replace(/\?kept=[^&]*$/, "")));
  }
});

function forget() {
  comings += 1;
  return caches.delete(SEEN);
}

async function askFor(seen) {
  const since = comings;
  await keepPage(seen, await fetch(seen), since);
}

// A page seen under an earlier version asks for that version's files: the present ones do.
async function file(request, pathname) {
  const present = pathname.replace(/^\/static\/[^/]+/, `/static/${VERSION}`);
  return (await caches.match(request)) ?? (await caches.match(present)) ?? fetch(request);
}

async function page(request, address) {
  const isReckoned = RECKONED.some((each) => address.startsWith(each));
  const patience = isReckoned ? PATIENCE_WITH_RECKONED_MS : PATIENCE_MS;
  const since = comings;
  try {
    const isFile = FILE.test(new URL(request.url).pathname);
    const answer = await fetch(request, isFile ? {} : { signal: AbortSignal.timeout(patience) });
    if (answer.ok) await keepPage(address, answer.clone(), since);
    return answer;
  } catch {
    // A form seen for another hen house will do: the page itself fills in what the address says.
    const seen = await caches.open(SEEN);
    const found = (await seen.match(address)) ?? (await seen.match(address, { ignoreSearch: true }));
    return found ?? (await caches.match(address, { ignoreSearch: true })) ?? caches.match("/no-signal");
  }
}

// A page that was asked for before another person came is not put by, however late it arrives.
async function keepPage(address, answer, since) {
  const isPage = answer.headers.get("Content-Type")?.startsWith("text/html");
  if (!answer.ok || answer.redirected || !isPage) return;
  const stamped = (await answer.text()).replace('data-kept-at=""', `data-kept-at="${Date.now()}"`);
  const headers = new Headers();
  for (const name of ["Content-Type", "Content-Security-Policy"]) headers.set(name, answer.headers.get(name));
  const seen = await caches.open(SEEN);
  if (since !== comings) return;
  await seen.delete(address); // so that it stands last, as the newest
  await seen.put(address, new Response(stamped, { headers }));
  for (const old of (await seen.keys()).slice(0, -MOST_SEEN)) await seen.delete(old);
}
