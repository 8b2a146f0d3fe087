// Asks the server every second what changed, and tells the page: stillair:heard, stillair:lost, stillair:changed.
const EVERY_MS = 1000;
const HIDDEN_MS = 10000;
const TIMEOUT_MS = 4000;
const day = Number(/^\/days\/(\d+)/.exec(location.pathname)?.[1] ?? 0);
let since = Number(document.body.dataset.news);
let failures = 0;
export let heardAt = Date.now();
export const isLost = () => failures > 1;

function tell(name, detail) {
  document.dispatchEvent(new CustomEvent(`stillair:${name}`, { detail }));
}

async function ask() {
  try {
    const answer = await fetch(`/live?since=${since}`, { signal: AbortSignal.timeout(TIMEOUT_MS) });
    if (answer.status >= 500) throw new Error(String(answer.status));
    const told = answer.ok && !answer.redirected ? await answer.json() : { newest: since }; // not in: heard all the same
    const wasLost = isLost();
    [failures, heardAt] = [0, Date.now()];
    tell("heard", { wasLost });
    const changed = told.newest !== since;
    since = told.newest;
    if (changed && (told.everything || told.others || !day || told.days.includes(day))) tell("changed");
  } catch {
    failures += 1;
    if (isLost()) tell("lost", { heardAt });
  }
}

async function go() {
  await ask();
  setTimeout(go, document.hidden ? HIDDEN_MS : EVERY_MS);
}

document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
go();
