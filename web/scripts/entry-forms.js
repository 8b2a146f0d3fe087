// Forms with data-entry: kept on the tablet first, then sent; whatever the network does, nothing typed is lost and no
// page is left for an error of the browser.
import { newId, put, remove } from "./entry-store.js";
import { sendAll } from "./entry-send.js";

const WAITS = "Kept on this tablet; it is sent by itself as soon as the server can be reached.";
const mine = new Map(); // id → the form it was sent from, while its page stands
const sent = new WeakMap(); // form → what it sent last

function shown(form) {
  const told = [];
  for (const control of form.elements) {
    if (!control.name || control.type === "hidden" || control.type === "submit" || control.type === "button") continue;
    if ((control.type === "checkbox" || control.type === "radio") && !control.checked) continue;
    const words = control.labels?.[0]?.cloneNode(true);
    for (const inner of words?.querySelectorAll("input, select, textarea, small") ?? []) inner.remove();
    const value = control.type === "checkbox" ? "yes" : control.type === "select-one" ? control.selectedOptions[0]?.text : control.value;
    told.push([control.name, words?.textContent.trim() || control.getAttribute("aria-label") || control.name, value ?? ""]);
  }
  return told;
}

function note(form, sentence, role = "status") {
  const made = form.querySelector(":scope > .entry-note") ?? form.appendChild(document.createElement("p"));
  made.className = role === "alert" ? "entry-note field-problem" : "entry-note";
  made.setAttribute("role", role);
  made.textContent = sentence;
}

async function keep(form, submitter) {
  const fields = [...new FormData(form, submitter)].filter(([, value]) => typeof value === "string");
  if (form.dataset.waits && sent.get(form) === JSON.stringify(fields)) return; // pressed twice
  sent.set(form, JSON.stringify(fields));
  const entry = {
    id: newId(), words: form.dataset.entry, action: form.getAttribute("action"), form: form.id, page: location.pathname + location.search,
    fields, shown: shown(form), madeAt: Date.now(), who: document.body.dataset.who ?? "", state: "waiting", sentence: "",
  };
  mine.set(entry.id, form);
  form.dataset.waits = entry.id;
  await put("entries", entry);
  document.dispatchEvent(new CustomEvent("stillair:entries"));
  await sendAll();
  await sendAll(); // one that was made while a round went on
}

function close(form) {
  const slot = form.closest(".slot");
  delete form.dataset.waits;
  form.querySelector(":scope > .entry-note")?.remove();
  if (slot) {
    slot.replaceChildren();
    document.querySelector(`[hx-get="${CSS.escape(form.getAttribute("action"))}"]`)?.focus();
  } else asItStands(form);
}

// What was sent counts as what stands: nobody is typing it any more.
export function asItStands(form) {
  for (const control of form.elements) {
    if (control.type === "checkbox" || control.type === "radio") control.defaultChecked = control.checked;
    else if (control.options) for (const option of control.options) option.defaultSelected = option.selected;
    else if ("defaultValue" in control) control.defaultValue = control.value;
  }
}

function refused(form, outcome) {
  const answer = new DOMParser().parseFromString(outcome.page, "text/html");
  const again = [...answer.querySelectorAll("form")].find((one) => one.getAttribute("action") === form.getAttribute("action") && one.id === form.id);
  delete form.dataset.waits;
  if (!again?.querySelector("[role=alert], [aria-invalid=true]")) return note(form, outcome.sentence, "alert");
  const shownNow = document.importNode(again, true);
  form.replaceWith(shownNow);
  window.htmx?.process(shownNow);
  (shownNow.querySelector("[aria-invalid=true]") ?? shownNow.querySelector("input:not([type=hidden]), select, textarea"))?.focus();
}

async function ended({ detail: { entry, outcome } }) {
  const form = mine.get(entry.id);
  if (!form?.isConnected) return;
  if (form.dataset.waits !== entry.id) return void mine.delete(entry.id); // more was typed and sent since
  if (outcome.state === "waiting") return note(form, outcome.sentence || WAITS);
  mine.delete(entry.id);
  if (outcome.state === "conflict") {
    delete form.dataset.waits;
    return note(form, outcome.sentence, "alert");
  }
  if (outcome.state === "refused") {
    refused(form, outcome);
    if (!entry.sentence && Date.now() - entry.madeAt < 30000) await remove("entries", entry.place); // it stands in the form
    return document.dispatchEvent(new CustomEvent("stillair:entries"));
  }
  const there = new URL(outcome.location || location.href, location.href);
  if (there.pathname !== location.pathname || !document.querySelector("[data-live]")) {
    if (there.pathname === location.pathname) location.reload();
    else location.assign(there);
    return;
  }
  close(form);
  document.dispatchEvent(new CustomEvent("stillair:follow"));
}

document.addEventListener("stillair:entry", ended);
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!("entry" in form.dataset) || event.defaultPrevented) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  keep(form, event.submitter);
}, true);
document.addEventListener("change", (event) => {
  const form = event.target.form;
  if (form && "entryAtOnce" in form.dataset) form.requestSubmit();
});
