// Sends what waits on this tablet: in order, one after the other, each until the server has said what became of it.
import { all, put, remove } from "./entry-store.js";

const TIMEOUT_MS = 15000;
const LATER = new Set([401, 408, 429, 502, 503, 504, 507]); // nothing is wrong with the entry
const SIGN_IN = "Sign in again on this tablet, then its entries are sent: open any page of Stillair.";
let sending = null;

// Gives the outcomes of this round, place → {state, …}: kept, refused, conflict. Stops at the first that does not come
// through; that one and all after it wait.
export function sendAll() {
  sending ??= round().finally(() => { sending = null; });
  return sending;
}

async function round() {
  for (const { place } of await all("entries")) {
    const entry = (await all("entries")).find((one) => one.place === place); // another page may have sent it meanwhile
    if (entry?.state !== "waiting") continue;
    const outcome = await one(entry);
    if (outcome.state === "kept") await remove("entries", place);
    else await put("entries", { ...entry, ...outcome });
    tell(entry, outcome);
    if (outcome.state === "waiting") return;
  }
}

function tell(entry, outcome) {
  document.dispatchEvent(new CustomEvent("stillair:entry", { detail: { entry, outcome } }));
}

async function one(entry) {
  const headers = {
    "X-Stillair-Entry": entry.id,
    "X-Stillair-Entry-Age": String(Math.max(0, (Date.now() - entry.madeAt) / 1000)),
    ...(entry.who ? { "X-Stillair-Who": encodeURIComponent(entry.who) } : {}),
  };
  try {
    const body = new URLSearchParams(entry.fields);
    const answer = await fetch(entry.action, { method: "POST", headers, body, signal: AbortSignal.timeout(TIMEOUT_MS) });
    return await outcomeOf(answer);
  } catch {
    return { state: "waiting", sentence: "" };
  }
}

async function outcomeOf(answer) {
  const text = await answer.text();
  const told = (answer.headers.get("Content-Type") ?? "").includes("json") ? JSON.parse(text) : null;
  if (LATER.has(answer.status)) return { state: "waiting", sentence: answer.status === 401 ? SIGN_IN : (told?.error ?? "") };
  if (told?.kept) return { state: "kept", location: told.location ?? "" };
  if (answer.ok && answer.redirected) return { state: "waiting", sentence: SIGN_IN }; // to where people sign in
  if (answer.status === 409) return { state: "conflict", sentence: told?.error ?? "", revision: told?.revision };
  return { state: "refused", sentence: told?.error ?? sentenceOf(text), page: text };
}

// What a page says of why it refused: beside the field, or above the form.
function sentenceOf(text) {
  const alerts = [...new DOMParser().parseFromString(text, "text/html").querySelectorAll("[role=alert]")];
  const said = alerts.map((alert) => (alert.querySelector("p") ?? alert).textContent.trim()).filter(Boolean);
  return said.join(" ") || "The server did not say that it kept this.";
}
