// The marks of one reading: each by its name; every change is told once, and can be undone and done again.
export function newName() { // crypto.randomUUID is not there over plain HTTP
  return [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

const FIELDS = ["x_px", "y_px", "direction_rad", "condition", "station", "by"];

export class Marks extends EventTarget {
  #all = new Map();
  #done = [];
  #undone = [];

  constructor(marks) {
    super();
    for (const { mark, ...values } of marks) this.#all.set(mark, values);
  }

  get size() { return this.#all.size; }
  get names() { return [...this.#all.keys()]; }
  entries() { return this.#all.entries(); }
  get(name) { return this.#all.get(name); }

  // values: all of FIELDS, or null to take the mark out
  set(name, values) {
    this.#done.push({ name, before: this.get(name) ?? null, after: values });
    this.#undone.length = 0;
    this.#apply(name, values);
  }

  change(name, values) { this.set(name, { ...this.get(name), ...values }); }

  undo() { return this.#step(this.#done, this.#undone, "before"); }
  redo() { return this.#step(this.#undone, this.#done, "after"); }

  #step(from, to, side) {
    const step = from.pop();
    if (!step) return null;
    to.push(step);
    this.#apply(step.name, step[side], step[side === "before" ? "after" : "before"]);
    return step.name;
  }

  #apply(name, values, gone) {
    const last = values ?? this.get(name) ?? gone;
    if (values) this.#all.set(name, values);
    else this.#all.delete(name);
    const told = Object.fromEntries(FIELDS.map((field) => [field, last[field]]));
    const entry = { entry: newName(), mark: name, ...told, removed: !values };
    this.dispatchEvent(new CustomEvent("entry", { detail: entry }));
  }

  // What waited on this device is laid over what the server had.
  lay({ mark, removed, entry: _, ...values }) {
    if (removed) this.#all.delete(mark);
    else this.#all.set(mark, values);
  }
}
