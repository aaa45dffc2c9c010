// What a script adds to pages that work without one: entries go through the queue of this phone, one
// tap marks a task, a number pad types, and what waits here is said plainly.

import { freshId, keep, send, throwAway, tryAgain, waiting } from "./queue.js";
import { language, say, say_many, word } from "./words.js";

const UNDO_FOR_MS = 60000;
const SAID_FOR_MS = 10000;
const ONE_BREATH_MS = 3000;
const TRY_EVERY_MS = 20000;
const $ = (id) => document.getElementById(id);

// ---------------------------------------------------------------- entries from forms

function here(at = new Date()) {
  const pad = (number) => String(number).padStart(2, "0");
  const minutes = -at.getTimezoneOffset();
  const offset = `${minutes < 0 ? "-" : "+"}${pad(Math.trunc(Math.abs(minutes) / 60))}:${pad(Math.abs(minutes) % 60)}`;
  const day = `${at.getFullYear()}-${pad(at.getMonth() + 1)}-${pad(at.getDate())}`;
  return { day, at: `${day}T${pad(at.getHours())}:${pad(at.getMinutes())}:${pad(at.getSeconds())}${offset}` };
}

function moment(data) {
  const day = data.get("day"), clock = data.get("clock");
  if (!day && !clock) return here().at;
  return clock ? here(new Date(`${day || here().day}T${clock}`)).at : day;
}

const SAYS_COMMAS = (1.5).toLocaleString(language).includes(",");

// Numbers one after another: where decimals have a comma, one without a space belongs to a number.
function apart(text) {
  const parts = text.includes(";") ? text.split(";") : SAYS_COMMAS ? text.split(/,?\s+/) : text.split(",");
  return parts.map((part) => part.trim()).filter(Boolean);
}

function valueOf(text, takes) {
  // 0,5 is a half; 1,200 may be either, and goes up as it is, to be asked about.
  if (SAYS_COMMAS && /^-?\d{1,3}(\.\d{3})+$/.test(text)) return text;
  const plain = /^-?\d+,\d{1,2}$/.test(text) ? text.replace(",", ".") : text;
  if (takes === "flag") return true;
  if (takes === "whole" || takes === "number") return Number.isNaN(Number(plain)) ? text : Number(plain);
  if (takes === "names") return text.split(",").map((part) => part.trim()).filter(Boolean);
  if (takes === "numbers") return apart(text).map((part) => valueOf(part, "number"));
  return text;
}

// A name to tick among several of one field.
function isOneOf(input) {
  return input.type === "checkbox" && input.dataset.takes === "names";
}

function entryOf(form) {
  const data = new FormData(form);
  const entry = { kind: form.dataset.entry, id: freshId(), at: moment(data) };
  if (document.body.dataset.by) entry.by = document.body.dataset.by;
  for (const input of form.elements) {
    if (isOneOf(input)) {
      if (input.checked) entry[input.name] = [...(entry[input.name] ?? []), input.value];
      continue;
    }
    const text = input.type === "checkbox" ? (input.checked ? "true" : "") : input.value?.trim();
    if (input.dataset.takes && text) entry[input.name] = valueOf(text, input.dataset.takes);
  }
  return entry;
}

const ASIDE = ["kind", "id", "at", "by", "note", "force", "instead"];
const SAYS_ITSELF = ["group", "hatch", "place", "task", "feed", "bird", "source", "use"];
const COUNTED = ["eggs", "cracked", "chicks", "hens", "cocks", "birds", "kg", "minutes", "clear", "dead"];

function inWords(entry) {
  const said = Object.entries(entry).filter(([name]) => !ASIDE.includes(name));
  const words = said.map(([name, value]) => {
    const text = name === "task" ? value.replaceAll("_", " ") : Array.isArray(value) ? value.join(", ") : value;
    if (COUNTED.includes(name) && !Array.isArray(value)) return `${text} ${word(name)}`;
    return SAYS_ITSELF.includes(name) ? text : `${word(name)} ${text}`;
  });
  const kind = entry.kind === "care" ? say("task done") : word(entry.kind);
  return `${kind}: ${words.join(", ")}`;
}

// What the page knows to be held: why this entry may not be kept, and whether that is certain. The
// flock's computer has the last word; with no signal this page has it.
function heldBack(entry) {
  const held = JSON.parse(document.body.dataset.held || '""');
  if (!held || entry.force || !["eggs_out", "eggs_boxed"].includes(entry.kind) || entry.use === "discarded") return null;
  const counts = (eaten) => entry.use !== "eaten" || eaten;
  if (entry.kind === "eggs_out" && entry.box) {
    const [why, eaten] = held.boxes[entry.box] ?? [];
    return why && counts(eaten) ? { why, certain: true } : null;
  }
  const fits = (group) => !entry.group || entry.group === group;
  const dated = entry.laid_from || entry.laid_to;
  const lots = held.lots.filter(([laid, group, , , eaten]) => fits(group) && counts(eaten)
    && (!entry.laid_from || laid >= entry.laid_from) && (!entry.laid_to || laid <= entry.laid_to));
  const spans = dated ? [] : held.spans.filter(([group, , eaten]) => fits(group) && counts(eaten));
  const reasons = new Set([...lots.map((lot) => lot[3]), ...spans.map((span) => span[1])]);
  if (!reasons.size) return null;
  const free = Object.entries(held.free).reduce((sum, [group, eggs]) => sum + (fits(group) ? eggs : 0), 0);
  return { why: [...reasons].join(" "), certain: !dated && entry.eggs > free };
}

// Says no in the form. True: the entry is not to be kept.
function refusedHere(form, entry) {
  const held = heldBack(entry);
  const said = form.querySelector(".held-here");
  said?.remove();
  if (!held) return false;
  const final = held.certain && (document.body.dataset.keptAt || !navigator.onLine);
  if (!final && said?.dataset.why === held.why) return false;
  const note = document.createElement("p");
  note.className = "note held held-here";
  note.setAttribute("role", "alert");
  note.dataset.why = held.why;
  note.textContent = final
    ? say("Not kept, these eggs are held: {why}", { why: held.why })
    : say("Eggs are held: {why} Are there none of those among them? Then press again.", { why: held.why });
  form.querySelector("button.main").before(note);
  note.scrollIntoView({ block: "center", behavior: "instant" });
  return true;
}

async function keepEntry(entry, mends) {
  await keep(entry, document.body.dataset.flock, mends);
  navigator.storage?.persist?.();
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (form.matches("[data-undo]")) {
    event.preventDefault();
    await undo(form.dataset.undo);
    form.closest(".kept-now").remove();
    return;
  }
  if (form.matches("[data-entries]") && !form.dataset.plain) {
    event.preventDefault();
    await keepAll(form);
    return;
  }
  if (!form.matches("[data-entry]") || form.dataset.plain) {
    if (isPressedAgain(form)) event.preventDefault();
    return;
  }
  event.preventDefault();
  if (form.dataset.busy) return; // A second tap while the first is being kept.
  form.dataset.busy = "yes";
  const entry = entryOf(form);
  if (refusedHere(form, entry)) {
    delete form.dataset.busy;
    return;
  }
  try {
    await keepEntry(entry, location.hash.startsWith("#mends=") ? location.hash.slice(7) : "");
  } catch {
    form.dataset.plain = "yes"; // No store on this phone: the form goes up as it is.
    form.requestSubmit();
    return;
  } finally {
    delete form.dataset.busy;
  }
  if ("tick" in form.dataset) {
    mark(form.closest(".task"), entry);
    tell(say("Done: {task}", { task: form.querySelector(".what").textContent }));
  } else {
    doneByThat(entry);
    form.reset();
    const folded = form.closest("details.entering");
    if (folded) {
      folded.open = false;
      folded.querySelector("summary").focus();
    }
    if (location.hash) history.replaceState(null, "", location.pathname);
    tell(say("Kept: {entry}", { entry: inWords(entry) }), entry.id);
  }
  const refused = await sendAndSay();
  if (form.matches(".whole") && refused.some((row) => row.entry.id === entry.id)) typeAgain(form, entry);
});

// Two taps in one breath are one: each would make a key or an address of its own, and show the last alone.
function isPressedAgain(form) {
  if (form.method !== "post") return false;
  const before = Number(form.dataset.pressed ?? 0);
  form.dataset.pressed = Date.now();
  return Date.now() - before < ONE_BREATH_MS;
}

// Entries that the page worked out, kept as those that are typed; once, however often it is pressed.
async function keepAll(form) {
  const button = form.querySelector("button.main");
  if (button.disabled) return;
  button.disabled = true;
  const { by } = document.body.dataset;
  const entries = JSON.parse(form.dataset.entries).map((each) => ({ ...each, id: freshId(), at: here().at, ...(by ? { by } : {}) }));
  try {
    for (const entry of entries) await keepEntry(entry, "");
  } catch {
    button.disabled = false;
    form.dataset.plain = "yes";
    form.requestSubmit();
    return;
  }
  tell(say_many("Kept: {n} entry", "Kept: {n} entries", entries.length));
  await sendAndSay();
}

// What was refused at once stands in its form again: sent anew, it takes the place of the wrong one.
function typeAgain(form, entry) {
  for (const input of form.querySelectorAll("[data-takes]")) {
    const value = entry[input.name];
    if (isOneOf(input)) input.checked = value?.includes(input.value) ?? false;
    else if (input.type === "checkbox") input.checked = value === true;
    else input.value = Array.isArray(value) ? value.join(", ") : (value ?? "");
  }
  history.replaceState(null, "", `#mends=${entry.id}`);
}

// A task that asks for a count opens the form for it, where one stands beside it.
document.addEventListener("click", (event) => {
  const task = event.target.closest("a.tick")?.closest(".task");
  const form = task && formFor(task);
  if (!form) return;
  event.preventDefault();
  const folded = form.closest("details");
  folded.open = true;
  (form.querySelector("input[inputmode]") ?? folded.querySelector("summary")).focus();
});

function formFor(task) {
  const forms = task.closest("section").querySelectorAll(`form[data-entry="${task.dataset.kind}"]`);
  return [...forms].find((form) => task.dataset.of === (form.elements.group ?? form.elements.hatch)?.value);
}

// A count that was asked for is done once it is typed.
function doneByThat(entry) {
  for (const task of document.querySelectorAll(`.task[data-kind="${entry.kind}"]`)) {
    if (task.dataset.of === (entry.group ?? entry.hatch)) {
      task.classList.add("done");
      task.dataset.marked = entry.id;
    }
  }
}

// ---------------------------------------------------------------- marks and undo

function mark(task, entry) {
  task.classList.add("done");
  task.dataset.marked = entry.id;
  const button = task.querySelector("button.tick"), back = task.querySelector(".undo");
  const left = Number(task.dataset.left) - 1;
  task.dataset.left = left;
  button.setAttribute("aria-pressed", "true");
  button.disabled = left <= 0;
  back.hidden = false;
  back.onclick = async () => {
    await undo(entry.id);
    unmark(task);
  };
  if (left > 0) setTimeout(() => again(task), 1500);
  setTimeout(() => {
    back.hidden = true;
  }, UNDO_FOR_MS);
}

function again(task) {
  if (Number(task.dataset.left) > 0) {
    task.classList.remove("done");
    task.querySelector("button.tick").removeAttribute("aria-pressed");
    const bits = task.querySelector(".bits"), more = say("{times} more", { times: task.dataset.left });
    for (const before of [say("{times} times"), say("{times} more")]) bits.textContent = bits.textContent.replace(anyNumberIn(before), more);
  }
}

// Finds a text with whatever number it was said.
function anyNumberIn(text) {
  return new RegExp(text.replace(/[.*+?^$()|[\]\\]/g, "\\$&").replace("{times}", "\\d+"));
}

function unmark(task) {
  task.dataset.left = Number(task.dataset.left) + 1;
  task.classList.remove("done");
  const button = task.querySelector("button.tick");
  button.disabled = false;
  button.removeAttribute("aria-pressed");
  task.querySelector(".undo").hidden = true;
  button.focus();
  tell(say("Undone."));
}

async function undo(id) {
  const row = (await waiting()).find((each) => each.entry.id === id && each.refusal);
  if (row) {
    await throwAway(row.order);
  } else {
    const counted = document.querySelector(`.task[data-kind][data-marked="${id}"]`);
    counted?.classList.remove("done");
    const entry = { kind: "retract", id: freshId(), at: here().at, entry: id, why: "undone" };
    if (document.body.dataset.by) entry.by = document.body.dataset.by;
    await keepEntry(entry);
  }
  tell(say("Undone."));
  await sendAndSay();
}

// What waits here counts on the page too: a page from before the entry shows the task as done.
async function markWhatWaits() {
  const rows = (await waiting()).filter((row) => !row.refusal);
  const undone = new Set(rows.filter((row) => row.entry.kind === "retract").map((row) => row.entry.entry));
  for (const { entry } of rows) {
    if (entry.kind !== "care" || undone.has(entry.id)) continue;
    const task = [...document.querySelectorAll(".task[data-task]")].find(
      (each) => each.dataset.task === entry.task && each.dataset.place === (entry.place ?? "") && Number(each.dataset.left) > 0,
    );
    if (task) mark(task, entry);
  }
}

// ---------------------------------------------------------------- the tray: what was kept, what waits

let forgetting;

function tell(text, undoable) {
  $("tray").hidden = false;
  $("said").textContent = text;
  $("undo").hidden = !undoable;
  clearTimeout(forgetting);
  if (undoable) {
    $("undo").onclick = async () => {
      $("undo").hidden = true;
      await undo(undoable);
    };
  }
  forgetting = setTimeout(() => {
    $("said").textContent = "";
    $("undo").hidden = true;
    sayWhatWaits();
  }, undoable ? UNDO_FOR_MS : SAID_FOR_MS);
}

async function sayWhatWaits(stopped = "") {
  const rows = await waiting().catch(() => []);
  const refused = rows.filter((row) => row.refusal).length;
  const link = $("waiting");
  const parts = [];
  if (rows.length - refused) parts.push(say("kept on this phone: {n}", { n: rows.length - refused }));
  if (refused) parts.push(say("refused: {n}", { n: refused }));
  if (stopped === "sign-in") parts.push(say("sign in to send them"));
  link.textContent = parts.join(", ");
  link.href = stopped === "sign-in" ? "/sign-in?back=/kept" : "/kept";
  link.hidden = !parts.length;
  $("tray").hidden = link.hidden && !$("said").textContent;
  return rows;
}

async function sendAndSay() {
  await sayWhatWaits();
  const { sent, refused, stopped } = await send();
  if (refused.length) {
    tell(say("Refused: {why}", { why: refused[0].refusal.sentence }));
    for (const { entry } of refused) {
      const task = document.querySelector(`.task[data-marked="${entry.id}"]`);
      if (task?.dataset.task) unmark(task);
      else task?.classList.remove("done");
    }
  }
  const rows = await sayWhatWaits(stopped);
  if ($("kept-list")) showKept(rows);
  if (sent) document.body.dispatchEvent(new Event("entries-sent"));
  return refused;
}

// ---------------------------------------------------------------- the page of what waits

function showKept(rows) {
  const list = $("kept-list");
  list.replaceChildren(...rows.map(keptOne));
  $("kept-summary").textContent = rows.length
    ? say("Entries wait here until the flock's computer has them. Those refused wait for you.")
    : say("Nothing waits: the flock's computer has all that was written here.");
  $("send-now").hidden = !rows.some((row) => !row.refusal);
}

function keptOne(row) {
  const item = $("kept-one").content.cloneNode(true).firstElementChild;
  const { entry, refusal } = row;
  const elsewhere = row.flock && document.body.dataset.flock && row.flock !== document.body.dataset.flock;
  item.querySelector(".what").textContent = inWords(entry);
  const at = entry.at.replace("T", " ").slice(0, 16);
  item.querySelector(".bits").textContent = refusal ? at : elsewhere
    ? say("{at}, waits for the flock that it was typed for", { at })
    : say("{at}, waits to be sent", { at });
  if (elsewhere) item.querySelector(".away").hidden = false;
  if (refusal) showRefusal(item, entry, refusal);
  const buttons = { again: () => tryAgain(row, false), insist: () => tryAgain(row, true), away: () => throwAway(row.order) };
  for (const [name, work] of Object.entries(buttons)) {
    const button = item.querySelector(`.${name}`);
    button.onclick = async () => {
      if (name === "away" && button.dataset.sure !== "yes") {
        button.dataset.sure = "yes";
        button.textContent = say("Press again to throw it away");
        return;
      }
      await work();
      await sendAndSay();
    };
  }
  return item;
}

function showRefusal(item, entry, refusal) {
  const fault = item.querySelector(".fault"), mend = item.querySelector(".mend");
  fault.textContent = say("Refused: {why}", { why: refusal.sentence });
  fault.hidden = false;
  for (const name of ["again", "away"]) item.querySelector(`.${name}`).hidden = false;
  item.querySelector(".insist").hidden = !refusal.insistable;
  if (entry.kind === "retract") return;
  const fields = Object.entries(entry).filter(([name]) => !["kind", "id", "at", "by", "force"].includes(name));
  mend.href = `/log/${entry.kind}?${new URLSearchParams(fields)}&back=%2Fkept#mends=${entry.id}`;
  mend.hidden = false;
}

// ---------------------------------------------------------------- the number pad

if (matchMedia("(pointer: coarse)").matches) {
  for (const pad of document.querySelectorAll(".pad")) {
    const form = pad.closest("form");
    const inputs = [...form.querySelectorAll("input[inputmode]")].filter((input) => ["whole", "number"].includes(input.dataset.takes));
    if (!inputs.length || form.matches(".whole")) continue;
    let aimed = inputs[0];
    const aim = (input) => {
      aimed = input;
      for (const each of inputs) each.classList.toggle("aimed", each === input);
    };
    for (const input of inputs) {
      input.inputMode = "none";
      input.addEventListener("focus", () => aim(input));
    }
    pad.hidden = false;
    pad.querySelector('[data-key="."]').disabled = inputs.every((input) => input.dataset.takes === "whole");
    pad.addEventListener("click", (event) => {
      const key = event.target.closest("[data-key]")?.dataset.key;
      if (!key) return;
      aimed.value = key === "back" ? aimed.value.slice(0, -1) : aimed.value + key;
    });
    const folded = pad.closest("details");
    folded.addEventListener("toggle", () => {
      aim(aimed);
      if (folded.open) folded.scrollIntoView({ block: "end", behavior: "instant" });
    });
  }
}

// ---------------------------------------------------------------- the age of a page seen before

function sayAge() {
  const at = Number(document.body.dataset.keptAt);
  if (!at) return;
  const minutes = Math.round((Date.now() - at) / 60000);
  const age = minutes < 60 ? say("{n} min", { n: minutes })
    : minutes < 2880 ? say("{n} h", { n: Math.round(minutes / 60) })
    : say_many("{n} day", "{n} days", Math.round(minutes / 1440));
  const when = new Date(at).toLocaleString(language === "en" ? [] : language, { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  $("age").textContent = say("No signal. This page is as it was {when}, {age} ago.", { when, age });
  $("age").hidden = false;
}

// A form seen before may be of another address: it takes what this address says.
function fillFromAddress() {
  const form = document.querySelector("form.whole[data-entry]");
  if (!form || !document.body.dataset.keptAt) return;
  const said = new URLSearchParams(location.search);
  for (const input of form.querySelectorAll("[data-takes]")) {
    if (isOneOf(input)) input.checked = (said.get(input.name) ?? "").split(",").some((one) => one.trim() === input.value);
    else if (input.type === "checkbox") input.checked = said.get(input.name) === "true";
    else input.value = said.get(input.name) ?? "";
  }
}

// The phone knows its time zone; the keeper need not.
function offerTimeZone() {
  const zone = document.querySelector('input[name="timezone"]');
  if (zone && !zone.value) zone.value = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";
}

function sayWhatWorks() {
  const works = $("works");
  if (!works) return;
  works.hidden = false;
  works.textContent = isSecureContext && "serviceWorker" in navigator
    ? say("On this phone pages seen before open with no signal, and entries wait here until it is back.")
    : say("On this phone entries wait with no signal, on a page that is open. Pages open with no signal only over https.");
}

// ---------------------------------------------------------------- the start of a page

if (isSecureContext && "serviceWorker" in navigator) {
  navigator.serviceWorker.register("/worker.js").catch(() => {});
  navigator.serviceWorker.ready.then((ready) => ready.active?.postMessage({ seen: location.pathname, language: document.documentElement.lang }));
}
sayAge();
fillFromAddress();
offerTimeZone();
sayWhatWorks();
$("send-now")?.addEventListener("click", sendAndSay);
try {
  await markWhatWaits();
  await sendAndSay();
} catch {
  // No store on this phone: forms go up as they are.
}
addEventListener("online", sendAndSay);
addEventListener("pageshow", sayWhatWaits.bind(null, ""));
document.addEventListener("visibilitychange", () => document.hidden || sendAndSay());
setInterval(async () => {
  if ((await waiting().catch(() => [])).some((row) => !row.refusal)) await sendAndSay();
}, TRY_EVERY_MS);
