// The strip under the head of the page: when the server was last heard, and how many entries wait on this tablet.
import { all } from "./entry-store.js";
import { sendAll } from "./entry-send.js";
import { heardAt, isLost } from "./feed.js";
import { showEntries } from "./entry-list.js";

const strip = document.querySelector("[data-together]");
const connection = strip.querySelector("[data-connection]");
const age = strip.querySelector("[data-heard-age]");
const news = strip.querySelector("[data-news-line]");
const RETRY_MS = 5000;
const NEWS_MS = 8000;
const LOST = "The server cannot be reached. This page stays; what you enter is kept on this tablet.";
let triedAt = 0;
let newsTimer = 0;

const clock = (ms) => new Date(ms).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });

function span(seconds) {
  return seconds < 120 ? `${seconds} s` : `${Math.round(seconds / 60)} min`;
}

export function say(sentence) {
  news.textContent = sentence;
  clearTimeout(newsTimer);
  newsTimer = setTimeout(() => { news.textContent = ""; show(); }, NEWS_MS);
  strip.hidden = false;
}

// Files that were chosen on a page that is closed: only that page sends them on.
function showFiles(files) {
  const others = files.filter((one) => one.page !== location.pathname);
  const line = strip.querySelector("[data-files-line]");
  const text = others.length ? `${others.length === 1 ? `${others[0].name} waits` : `${others.length} files wait`} to be sent; open ` : "";
  if (line.dataset.text === text) return others.length;
  line.dataset.text = text;
  line.textContent = text;
  if (others.length) line.append(Object.assign(document.createElement("a"), { href: others[0].page, textContent: "the page where it was chosen" }), ".");
  return others.length;
}

async function show() {
  const entries = await all("entries");
  const lost = isLost();
  if (connection.textContent !== (lost ? LOST : "")) connection.textContent = lost ? LOST : "";
  age.textContent = lost ? ` Last heard ${span(Math.round((Date.now() - heardAt) / 1000))} ago.` : "";
  strip.classList.toggle("lost", lost);
  showEntries(strip, entries, clock);
  const elsewhere = showFiles(await all("files"));
  strip.hidden = !lost && !entries.length && !elsewhere && !news.textContent;
}

async function heard({ detail: { wasLost } }) {
  if (wasLost) {
    say("The server is back.");
    document.dispatchEvent(new CustomEvent("stillair:follow"));
  }
  const waiting = (await all("entries")).some((one) => one.state === "waiting");
  if (waiting && (wasLost || Date.now() - triedAt > RETRY_MS)) {
    triedAt = Date.now();
    await sendAll();
  }
  show();
}

document.addEventListener("stillair:heard", heard);
document.addEventListener("stillair:lost", show);
document.addEventListener("stillair:entries", show);
document.addEventListener("stillair:entry", ({ detail: { entry, outcome } }) => {
  if (outcome.state === "kept") say(`Kept: ${entry.words}.`);
  show();
});
window.addEventListener("online", () => sendAll());
show();
