// The queue of entries on this phone. An entry goes into IndexedDB first, on the disk before anyone
// is told that it is kept; it goes up in the order in which it was made, and leaves the queue only
// when the flock's computer has said that it has it. A repeat is harmless there, because the id was
// made here. What is refused stays, with the sentence, until the keeper decides.

import { openDB } from "./vendored/idb.js";
import { say } from "./words.js";

const AT_ONCE = 50;
const REFUSALS = [409, 413, 422];

const opened = openDB("quailwright", 1, {
  upgrade(db) {
    db.createObjectStore("entries", { keyPath: "order", autoIncrement: true });
  },
});

// A random UUID (version 4). crypto.randomUUID is missing where the page came over plain http.
export function freshId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/(.{8})(.{4})(.{4})(.{4})(.{12})/, "$1-$2-$3-$4-$5");
}

async function write(work) {
  const transaction = (await opened).transaction("entries", "readwrite", { durability: "strict" });
  await work(transaction.store);
  await transaction.done;
}

// Keeps an entry for a flock (its mark, or "" while it has no entry yet); with `mends`, in the place
// of one that was refused.
export async function keep(entry, flock, mends) {
  await write(async (store) => {
    if (mends) {
      for (const row of await store.getAll()) {
        if (row.entry.id === mends && row.refusal) await store.delete(row.order);
      }
    }
    await store.add({ entry, flock, refusal: null });
  });
}

// Everything kept here, in order: { order, entry, flock, refusal }.
export async function waiting() {
  return (await opened).getAll("entries");
}

export async function throwAway(order) {
  await write((store) => store.delete(order));
}

// Lets a refused entry try again, as it was or insisting.
export async function tryAgain(row, insist) {
  const entry = insist ? { ...row.entry, force: true } : row.entry;
  await write((store) => store.put({ ...row, entry, refusal: null }));
}

// What came of sending: how many went up, and why it stopped: "" (all sent), "signal", "sign-in".
let sending = null;

export function send() {
  sending ??= sendAll().finally(() => {
    sending = null;
  });
  return sending;
}

async function sendAll() {
  let sent = 0;
  const refused = [];
  if (!(await waiting()).some((row) => !row.refusal)) return { sent, refused, stopped: "" };
  const me = await asked("/api/me");
  if (!me.ok) return { sent, refused, stopped: "signal" };
  const { token, role, flock } = me.body;
  if (!role) return { sent, refused, stopped: "sign-in" };
  // Another flock may be served at the same address today: what was typed for one waits for it.
  const own = (row) => !row.refusal && (!row.flock || row.flock === flock);
  let together = AT_ONCE;
  for (;;) {
    const rows = (await waiting()).filter(own).slice(0, together);
    if (!rows.length) return { sent, refused, stopped: "" };
    const answer = await asked("/api/entries", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Write-Token": token },
      body: JSON.stringify(rows.map((row) => row.entry)),
    });
    if (answer.ok) {
      for (const row of rows) await throwAway(row.order);
      sent += rows.length;
    } else if (!REFUSALS.includes(answer.status)) {
      return { sent, refused, stopped: answer.status === 401 || answer.status === 403 ? "sign-in" : "signal" };
    } else if (rows.length > 1) {
      together = 1; // One of them cannot be kept, so none was: each by itself, in the same order.
    } else {
      refused.push(await markRefused(rows[0], answer.body));
    }
  }
}

async function markRefused(row, said) {
  const findings = said?.findings ?? [];
  const sentence = findings.map((one) => one.sentence).join(" ") || said?.sentence || say("It was refused.");
  // Insisting helps against what does not fit the record, and against nothing else.
  const insistable = findings.length > 0 && findings.every((one) => one.kind !== "shape");
  const marked = { ...row, refusal: { sentence, insistable } };
  await write((store) => store.put(marked));
  return marked;
}

async function asked(address, options = {}) {
  try {
    const response = await fetch(address, { ...options, signal: AbortSignal.timeout(15000), cache: "no-store" });
    const body = await response.json().catch(() => null);
    return { ok: response.ok && body !== null, status: response.status, body };
  } catch {
    return { ok: false, status: 0, body: null };
  }
}
