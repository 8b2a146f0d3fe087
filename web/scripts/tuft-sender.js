// Sends kept changes in their order, those of one photo and reader together, and goes on by itself after what breaks.
import { drop, refuse, waiting } from "./tuft-store.js";

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
  for (let failures = 0; again || failures;) {
    again = false;
    const all = await waiting();
    const open = all.filter((one) => !one.refused);
    const refused = all.filter((one) => one.refused);
    tell({ waiting: open.length, refused, trouble: failures ? LOST : "" });
    if (!open.length) return;
    const first = open[0];
    const batch = open.filter((one) => one.url === first.url && one.reader === first.reader).slice(0, AT_ONCE);
    try {
      await send(batch);
      failures = 0;
    } catch {
      await pause(PAUSES_MS[Math.min(failures, PAUSES_MS.length - 1)]);
      failures += 1;
    }
    again = true;
  }
}

async function send(batch) {
  const body = JSON.stringify({ reader: batch[0].reader, entries: batch.map((one) => one.change) });
  const answer = await fetch(batch[0].url, { method: "POST", headers: { "Content-Type": "application/json" }, body });
  if (answer.ok) {
    await answer.json();
    return drop(batch.map((one) => one.n));
  }
  if (![404, 413, 422].includes(answer.status)) throw new Error(String(answer.status));
  if (batch.length > 1) { // one of them is refused: which?
    for (const one of batch) await send([one]);
    return undefined;
  }
  const told = await answer.json().catch(() => ({}));
  return refuse(batch[0], told.error ?? `The server answered ${answer.status}.`);
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
