// A part of a page that shows what sensors say is fetched anew every few seconds, while somebody looks and
// nobody is at work in it. Without this the page shows what was so when it was loaded.

import { language, say } from "./words.js";

const EVERY_MS = 10000;
const OLD_MS = 45000; // Sooner than this a lost answer is not worth a word.
let renewed = Number(document.body.dataset.keptAt) || Date.now();

function atWork(part) {
  return part.contains(document.activeElement) || part.querySelector("details[open]") !== null;
}

async function renew() {
  if (document.visibilityState !== "visible") return;
  const parts = [...document.querySelectorAll("[data-live]")].filter((part) => !atWork(part));
  try {
    if (parts.length) await fetched(parts);
  } catch {
    // With no signal what is shown stays.
  }
  if (Date.now() - renewed > OLD_MS) tellAge();
}

async function fetched(parts) {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok || answer.redirected) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const part of parts) {
    const fresh = page.getElementById(part.id);
    if (fresh && !atWork(part)) part.replaceChildren(...fresh.childNodes);
  }
  if (parts.length < document.querySelectorAll("[data-live]").length) return;
  renewed = Date.now();
  document.getElementById("as-it-was")?.remove();
}

// "20 s ago" is no longer true then: it is said once of when it was, and no more often.
function tellAge() {
  if (document.getElementById("as-it-was")) return;
  const note = document.createElement("p");
  note.id = "as-it-was";
  note.className = "note sign";
  note.setAttribute("role", "status");
  const time = new Date(renewed).toLocaleTimeString(language === "en" ? [] : language, { hour: "2-digit", minute: "2-digit" });
  note.textContent = say("This is as it was at {time}. It is renewed once the flock's computer is in reach, and what is unfolded here is closed.", { time });
  document.querySelector("[data-live]")?.before(note);
}

setInterval(renew, EVERY_MS);
document.addEventListener("visibilitychange", renew);
