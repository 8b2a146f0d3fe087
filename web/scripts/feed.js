// Asks the server what changed, and tells the page: stillair:heard, stillair:lost, stillair:changed. The server
// answers at once when something did, and else after a second; a page that nobody looks at asks seldom.
const HELD_S = 1;
const GAP_MS = 100;
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
    const hold = document.hidden ? 0 : HELD_S;
    const answer = await fetch(`/live?since=${since}&hold=${hold}`, { signal: AbortSignal.timeout(TIMEOUT_MS) });
    if (answer.status >= 500) throw new Error(String(answer.status));
    const told = answer.ok && !answer.redirected ? await answer.json() : { newest: since }; // not in: heard all the same
    const wasLost = isLost();
    [failures, heardAt] = [0, Date.now()];
    tell("heard", { wasLost });
    const changed = told.newest !== since;
    since = told.newest;
    if (changed && (told.everything || told.others || !day || told.days.includes(day))) tell("changed");
    return answer.ok && !answer.redirected;
  } catch {
    failures += 1;
    if (isLost()) tell("lost", { heardAt });
    return false;
  }
}

async function go() {
  const told = await ask();
  setTimeout(go, document.hidden ? HIDDEN_MS : told ? GAP_MS : EVERY_MS);
}

document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
go();
