// While the server cannot be reached no link and no form leaves the page for an error of the browser.
import { isLost } from "./feed.js";
import { say } from "./together.js";

const TIMEOUT_MS = 3000;
const STAYS = "That needs the server, which cannot be reached; this page stays.";

async function isThere() {
  return fetch("/live", { signal: AbortSignal.timeout(TIMEOUT_MS) }).then(() => true, () => false);
}

document.addEventListener("click", async (event) => {
  const link = event.target.closest?.("a[href]");
  if (!link || !isLost() || event.defaultPrevented || link.target || link.hasAttribute("hx-get")) return;
  const there = new URL(link.href);
  if (there.origin !== location.origin || (there.hash && there.pathname === location.pathname && there.search === location.search)) return;
  event.preventDefault();
  if (await isThere()) location.assign(there);
  else say(STAYS);
});

const sure = new WeakSet(); // forms whose way is known to be free
document.addEventListener("submit", async (event) => {
  const { target: form, submitter } = event;
  if (!isLost() || event.defaultPrevented || form.hasAttribute("hx-post") || sure.delete(form)) return;
  event.preventDefault();
  if (!(await isThere())) return say(`${STAYS} What was typed stands.`);
  sure.add(form);
  form.requestSubmit(submitter);
});

document.addEventListener("htmx:sendError", (event) => {
  if (event.detail.requestConfig?.triggeringEvent?.isTrusted) say(STAYS); // not what a page asks for by itself
});
