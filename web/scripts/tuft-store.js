// Changes of marks kept on this device (IndexedDB) until the server has acknowledged them; in memory where it refuses.
const STORE = "changes";
let opened = null;
const memory = new Map();
let count = 0;

function open() {
  opened ??= new Promise((resolve) => {
    try {
      const asked = indexedDB.open("stillair-tufts", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "n", autoIncrement: true });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => resolve(null);
    } catch {
      resolve(null);
    }
  });
  return opened;
}

async function within(mode, work) {
  const db = await open();
  if (!db) return null;
  return new Promise((resolve, reject) => {
    const turn = db.transaction(STORE, mode, { durability: "strict" });
    const asked = work(turn.objectStore(STORE));
    turn.oncomplete = () => resolve(asked?.result);
    turn.onabort = turn.onerror = () => reject(turn.error);
  });
}

export async function put(change) {
  if (await open()) return within("readwrite", (store) => store.add(change));
  count += 1;
  memory.set(count, { ...change, n: count });
  return count;
}

export async function waiting() {
  return (await within("readonly", (store) => store.getAll())) ?? [...memory.values()];
}

export async function drop(numbers) {
  for (const n of numbers) memory.delete(n);
  await within("readwrite", (store) => { for (const n of numbers) store.delete(n); });
}

export async function refuse(change, sentence) {
  const refused = { ...change, refused: sentence };
  if (await open()) return within("readwrite", (store) => store.put(refused));
  return memory.set(change.n, refused);
}
