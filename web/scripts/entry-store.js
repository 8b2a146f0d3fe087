// What was entered on this tablet and has not come through yet, in order; kept over restarts in IndexedDB, which works
// over plain HTTP. Where storage is refused it is kept as long as the page stands.
const NAME = "stillair", VERSION = 2;
const STORES = ["entries", "files", "marks"];
const inThisPage = new Map(); // store → Map(place → record)
let opened = null;

function open() {
  opened ??= new Promise((resolve) => {
    const request = window.indexedDB?.open(NAME, VERSION);
    if (!request) return resolve(null);
    request.onupgradeneeded = () => {
      const there = request.result.objectStoreNames;
      for (const store of STORES) if (!there.contains(store)) request.result.createObjectStore(store, { keyPath: "place", autoIncrement: true });
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => resolve(null);
  });
  return opened;
}

async function work(store, mode, act) {
  const base = await open();
  if (!base) return null;
  return new Promise((resolve, reject) => {
    const change = base.transaction(store, mode, { durability: "strict" });
    const request = act(change.objectStore(store));
    change.oncomplete = () => resolve({ result: request.result });
    change.onerror = change.onabort = () => reject(change.error);
  });
}

const memory = (store) => inThisPage.get(store) ?? inThisPage.set(store, new Map()).get(store);

export async function all(store) {
  const kept = await work(store, "readonly", (held) => held.getAll()).catch(() => null);
  return [...(kept?.result ?? []), ...memory(store).values()].sort((a, b) => a.place - b.place);
}

// Gives the record's place; what is put again at its place takes the place of what was there.
export async function put(store, record) {
  try {
    const kept = memory(store).has(record.place) ? null : await work(store, "readwrite", (held) => held.put(record));
    if (kept) return kept.result;
  } catch { /* no room, or a private window */ }
  const place = record.place ?? Date.now();
  memory(store).set(place, { ...record, place });
  return place;
}

export async function remove(store, place) {
  if (memory(store).delete(place)) return;
  await work(store, "readwrite", (held) => held.delete(place));
}

function hex(bytes) {
  return [...crypto.getRandomValues(new Uint8Array(bytes))].map((one) => one.toString(16).padStart(2, "0")).join("");
}

// This tablet's name, made once, and an id of an entry that nothing else has.
export function newId() {
  let tablet = hex(8);
  try {
    tablet = localStorage.getItem("tablet") ?? tablet;
    localStorage.setItem("tablet", tablet);
  } catch { /* storage is refused: a name for this entry alone */ }
  return `${tablet}-${hex(12)}`;
}
