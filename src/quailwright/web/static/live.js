// A part of a page that shows what sensors say is fetched anew every few seconds, while somebody looks and
// nobody is at work in it. Without this the page shows what was so when it was loaded.

const EVERY_MS = 10000;

function atWork(part) {
  return part.contains(document.activeElement) || part.querySelector("details[open]") !== null;
}

async function renew(part) {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok || answer.redirected) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById(part.id);
  if (fresh && !atWork(part)) part.replaceChildren(...fresh.childNodes);
}

setInterval(() => {
  if (document.visibilityState !== "visible") return;
  for (const part of document.querySelectorAll("[data-live]")) {
    // With no signal what is shown stays; it says how old it is.
    if (!atWork(part)) renew(part).catch(() => {});
  }
}, EVERY_MS);
