// Pages with data-live: when something changed, the page as the server shows it now comes in, part by part.
import { morph } from "./morph.js";

const TIMEOUT_MS = 15000;
let busy = false;
let wanted = false;
let overtaken = false; // what is on its way was asked for before this tablet's own entry came through

async function follow() {
  wanted = true;
  if (busy) return;
  busy = true;
  while (wanted) {
    wanted = overtaken = false;
    await bring().catch(() => undefined); // lost on the way: the feed tells when there is something to follow again
  }
  busy = false;
}

async function bring() {
  const main = document.querySelector("[data-live]");
  if (!main || main.querySelector("[data-leads-on]")) return; // to its day when it ends; replaced, it could not
  const answer = await fetch(location.href, { signal: AbortSignal.timeout(TIMEOUT_MS), headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const text = await answer.text();
  if (overtaken) return; // it shows what stood before the entry, which would flash up until the next comes
  const page = new DOMParser().parseFromString(text, "text/html");
  const fresh = page.querySelector("[data-live]");
  if (!fresh) return;
  const at = document.activeElement;
  const height = main.contains(at) ? at.getBoundingClientRect().top : null;
  morph(main, document.importNode(fresh, true));
  window.htmx?.process(main);
  if (height !== null && at.isConnected) window.scrollBy({ top: at.getBoundingClientRect().top - height, behavior: "instant" });
  document.title = page.title;
  document.dispatchEvent(new CustomEvent("stillair:followed"));
}

document.addEventListener("stillair:changed", follow);
document.addEventListener("stillair:follow", () => {
  overtaken = true;
  follow();
});
