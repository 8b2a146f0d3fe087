// Brings a part of the page to what the server shows now, node by node, and leaves alone what a person is at: a form that
// is being filled, an open slot, a drawing, what scripts have put into an empty place.
const OF_SCRIPTS = new Set(["hidden", "open", "name", "required", "style", "data-waits", "data-asked", "data-drawn"]);
const CLASSES_OF_SCRIPTS = /^(live|over|moved|js-plotly-plot|htmx-.*)$/;
const AHEAD = 4;

function changed(control) {
  if (control.type === "checkbox" || control.type === "radio") return control.checked !== control.defaultChecked;
  if (control.options) {
    const options = [...control.options];
    const first = options.findIndex((option) => option.defaultSelected);
    return control.selectedIndex !== Math.max(0, first);
  }
  return !["hidden", "submit", "button", "fieldset", "output"].includes(control.type) && control.value !== control.defaultValue;
}

export function isBeingFilled(form) {
  if ("waits" in form.dataset || form.querySelector(":scope > .entry-note")) return true;
  const at = document.activeElement;
  if (at && form.contains(at) && at.matches("input:not([type=checkbox]), select, textarea")) return true;
  return [...form.elements].some(changed) || Boolean(form.querySelector("[data-upload-list] > *"));
}

function isHeld(old, fresh) {
  if (old.matches("form") && isBeingFilled(old)) return true;
  if ("held" in old.dataset || (old.classList.contains("slot") && old.children.length)) return true;
  return fresh.matches("div[id], section[id]") && !fresh.childNodes.length && old.childNodes.length > 0; // a place that scripts fill
}

function attributes(old, fresh) {
  for (const { name } of [...old.attributes]) {
    if (!fresh.hasAttribute(name) && !OF_SCRIPTS.has(name) && name !== "class") old.removeAttribute(name);
  }
  for (const { name, value } of fresh.attributes) {
    if (!OF_SCRIPTS.has(name) && name !== "class" && old.getAttribute(name) !== value) old.setAttribute(name, value);
  }
  const kept = [...old.classList].filter((one) => CLASSES_OF_SCRIPTS.test(one) && !fresh.classList.contains(one));
  const classes = [...fresh.classList, ...kept].join(" ");
  if ((old.getAttribute("class") ?? "") !== classes) old.setAttribute("class", classes);
}

export function morph(old, fresh) {
  if (old.isEqualNode(fresh)) return;
  if (old.nodeType !== Node.ELEMENT_NODE) {
    if (old.nodeValue !== fresh.nodeValue) old.nodeValue = fresh.nodeValue;
    return;
  }
  if (isHeld(old, fresh)) return;
  const isDrawing = "plot" in old.dataset;
  if (isDrawing) {
    for (const [name, value] of Object.entries(fresh.dataset)) old.dataset[name] = value;
    return;
  }
  attributes(old, fresh);
  if (old.matches("textarea")) old.value = fresh.textContent;
  children(old, fresh);
}

const kind = (node) => (node.nodeType === Node.ELEMENT_NODE ? `${node.nodeName}.${node.classList[0] ?? ""}` : node.nodeName);

function find(from, wanted, ids) {
  if (wanted.id) return ids.get(wanted.id) ?? null;
  let at = from;
  for (let step = 0; at && step < AHEAD; step += 1, at = at.nextSibling) {
    if (!at.id && kind(at) === kind(wanted)) return at;
  }
  return null;
}

function children(old, fresh) {
  const named = [...old.children].filter((one) => one.id);
  const ids = new Map(named.map((one) => [one.id, one]));
  const stay = new Set([...fresh.children].map((one) => one.id).filter(Boolean));
  let at = old.firstChild;
  for (const wanted of [...fresh.childNodes]) {
    const match = find(at, wanted, ids);
    if (!match || match.nodeName !== wanted.nodeName) {
      old.insertBefore(document.importNode(wanted, true), at);
      continue;
    }
    while (at && at !== match && !stay.has(at.id)) at = dropped(at);
    if (at === match) at = at.nextSibling;
    else old.insertBefore(match, at);
    morph(match, wanted);
  }
  while (at) at = dropped(at);
}

function dropped(node) {
  const next = node.nextSibling;
  if (node.nodeType !== Node.ELEMENT_NODE || ![node, ...node.querySelectorAll("form")].some((one) => one.matches("form") && isBeingFilled(one))) node.remove();
  return next;
}
