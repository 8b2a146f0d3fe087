// Sends kept changes in their order, those of one photo and reader together, and goes on by itself after what breaks.
import { all, put, remove } from "./entry-store.js";

const AT_ONCE = 100;
const PAUSES_MS = [500, 1000, 2000, 4000, 8000, 15000];
const LOST = "The network is gone; every mark is kept on this device and sent as soon as it is back.";
let running = null;
let again = false;

// tell({ waiting, refused, trouble }): after every step
export function flush(tell) {
  again = true;
  running ??= loop(tell).finally(() => { running = null; });
  return running;
}

async function loop(tell) {
  const others = new Set(); // readers whose marks this sign-in may not send
  for (let failures = 0, trouble = ""; again || failures;) {
    again = false;
    const kept = await all("marks");
    const open = kept.filter((one) => !one.refused);
    const refused = kept.filter((one) => one.refused);
    tell({ waiting: open.length, refused, trouble });
    const first = open.find((one) => !others.has(one.reader));
    if (!first) return;
    const batch = open.filter((one) => one.url === first.url && one.reader === first.reader).slice(0, AT_ONCE);
    try {
      await send(batch);
      [failures, trouble] = [0, ""];
    } catch (problem) {
      if (problem.status === 403) others.add(first.reader);
      trouble = problem instanceof TypeError ? LOST : problem.message; // fetch: a lost network is a TypeError
      tell({ waiting: open.length, refused, trouble });
      if (problem.status !== 403) await pause(PAUSES_MS[Math.min(failures, PAUSES_MS.length - 1)]);
      failures += 1;
    }
    again = true;
  }
}

async function send(batch) {
  const body = JSON.stringify({ entries: batch.map((one) => one.change) });
  const headers = { "Content-Type": "application/json", "X-Stillair-Who": encodeURIComponent(batch[0].reader) };
  const answer = await fetch(batch[0].url, { method: "POST", headers, body });
  if (answer.ok) {
    await answer.json();
    for (const one of batch) await remove("marks", one.place);
    return undefined;
  }
  const told = await answer.json().catch(() => ({}));
  const sentence = told.error ?? `The server answered ${answer.status}.`;
  if (![404, 413, 422].includes(answer.status)) throw Object.assign(new Error(sentence), { status: answer.status }); // nothing is wrong with the marks
  if (batch.length > 1) { // one of them is refused: which?
    for (const one of batch) await send([one]);
    return undefined;
  }
  return put("marks", { ...batch[0], refused: sentence });
}

function pause(ms) {
  return new Promise((resolve) => {
    const timer = setTimeout(end, ms);
    function end() {
      clearTimeout(timer);
      window.removeEventListener("online", end);
      document.removeEventListener("visibilitychange", end);
      resolve();
    }
    window.addEventListener("online", end);
    document.addEventListener("visibilitychange", end); // the tablet wakes up
  });
}
