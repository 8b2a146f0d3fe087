// The entries of this tablet that have not come through: what each says, why it stands here, and what can be done.
import { all, put, remove } from "./entry-store.js";
import { sendAll } from "./entry-send.js";
import { compared } from "./entry-compare.js";

const STATES = { waiting: "waits for the server", refused: "was not taken", conflict: "" };
let drawn = "";

function element(tag, properties, ...children) {
  const made = Object.assign(document.createElement(tag), properties);
  made.append(...children);
  return made;
}

function table(entry) {
  const theirs = entry.state === "conflict" ? entry.now : null;
  const head = element("tr", {}, ...["", theirs ? "yours" : "entered", ...(theirs ? ["as it stands now"] : [])].map((text) => element("th", { textContent: text })));
  const rows = entry.shown.filter(([name, , value]) => value || theirs?.[name]).map(([name, words, value]) => {
    const row = element("tr", {}, element("th", { textContent: words, scope: "row" }), element("td", { textContent: value || "nothing" }));
    if (theirs) row.append(element("td", { textContent: theirs[name] ?? "nothing" }));
    if (theirs && (theirs[name] ?? "") !== value) row.classList.add("differs");
    return row;
  });
  const frame = element("div", { className: "table-frame" }, element("table", {}, element("thead", {}, head), element("tbody", {}, ...rows)));
  frame.tabIndex = 0;
  return frame;
}

function button(words, label, act) {
  const made = element("button", { type: "button", className: "button", textContent: words });
  made.setAttribute("aria-label", `${words}: ${label}`);
  made.addEventListener("click", async () => {
    made.disabled = true;
    await act();
    document.dispatchEvent(new CustomEvent("stillair:entries"));
  });
  return made;
}

// What is dropped is gone: asked for twice.
function drop(words, label, entry) {
  const made = button(words, label, () => remove("entries", entry.place));
  made.addEventListener("click", (event) => {
    if (made.dataset.sure) return;
    event.stopImmediatePropagation();
    made.dataset.sure = "yes";
    made.textContent = `${words}: for good?`;
  }, true);
  return made;
}

async function again(entry) {
  const fields = entry.fields.map(([name, value]) => (name === "revision" && entry.revision ? [name, String(entry.revision)] : [name, value]));
  await put("entries", { ...entry, fields, state: "waiting", sentence: "" });
  await sendAll();
}

function item(entry, clock) {
  const words = `${entry.words}, ${clock(entry.madeAt)}`;
  const told = element("p", {}, element("strong", { textContent: words }), `: ${[STATES[entry.state], entry.sentence].filter(Boolean).join(". ")} `);
  told.append(element("a", { href: entry.page, textContent: "its page" }));
  const buttons = element("p", { className: "along" });
  if (entry.state === "conflict") buttons.append(button("Send mine over it", words, () => again(entry)), drop("Leave theirs, drop mine", words, entry));
  else {
    if (entry.state === "refused") buttons.append(button("Send again", words, () => again(entry)));
    buttons.append(drop("Drop", words, entry));
  }
  return element("li", {}, told, table(entry), buttons);
}

function summary(entries, clock) {
  const waiting = entries.filter((one) => one.state === "waiting").length;
  const others = entries.length - waiting;
  const since = clock(Math.min(...entries.map((one) => one.madeAt)));
  const parts = [];
  if (waiting) parts.push(`${waiting} ${waiting === 1 ? "entry waits" : "entries wait"} on this tablet`);
  if (others) parts.push(`${others} ${others === 1 ? "entry needs" : "entries need"} you`);
  return `${parts.join(", ")}; the oldest since ${since}.`;
}

// A conflict is shown with what stands now, read once from the page that shows it.
async function read(entry) {
  const now = await compared(entry);
  const still = (await all("entries")).find((one) => one.place === entry.place);
  if (!now || still?.state !== "conflict") return;
  await put("entries", { ...still, now: now.values, revision: now.revision ?? still.revision });
  document.dispatchEvent(new CustomEvent("stillair:entries"));
}

export function showEntries(strip, entries, clock) {
  const details = strip.querySelector("[data-entries]");
  details.hidden = !entries.length;
  for (const entry of entries) if (entry.state === "conflict" && !entry.now) read(entry);
  const text = JSON.stringify(entries.map(({ place, state, sentence, now, revision }) => [place, state, sentence, now, revision]));
  if (text === drawn) return;
  drawn = text;
  if (!entries.length) return details.querySelector("ol").replaceChildren();
  details.querySelector("summary").textContent = summary(entries, clock);
  details.querySelector("ol").replaceChildren(...entries.map((entry) => item(entry, clock)));
  if (entries.some((one) => one.state !== "waiting")) details.open = true;
}
