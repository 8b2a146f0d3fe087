// What stands now where an entry was made: read from the form as the server would show it today.
const TIMEOUT_MS = 10000;

async function formAt(place, { action, form: id }) {
  const answer = await fetch(place, { signal: AbortSignal.timeout(TIMEOUT_MS), headers: { Accept: "text/html" } });
  if (!answer.ok) return null;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  return [...page.querySelectorAll("form[data-entry]")].find((form) => form.getAttribute("action") === action && form.id === id) ?? null;
}

function valueOf(control) {
  if (control.type === "checkbox") return control.checked ? "yes" : "";
  if (control.type === "radio") return control.checked ? control.value : null;
  return control.options ? (control.selectedOptions[0]?.text ?? "") : control.value;
}

// Gives {values: name → what stands, revision}, or null where it cannot be had.
export async function compared(entry) {
  const form = (await formAt(entry.page, entry).catch(() => null)) ?? (await formAt(entry.action, entry).catch(() => null));
  if (!form) return null;
  const values = {};
  for (const control of form.elements) {
    const value = control.name && control.type !== "hidden" ? valueOf(control) : null;
    if (value !== null) values[control.name] = value;
  }
  return { values, revision: Number(form.elements.revision?.value) || undefined };
}
