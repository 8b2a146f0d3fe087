// Remembers where a file's upload stands on the server, by name, size and date: the same file chosen again after the
// page was loaded anew goes on there. Kept in localStorage, which works over plain HTTP.
const KEY = "uploads";
const KEPT_MS = 14 * 24 * 3600 * 1000; // as long as the server keeps a part

function all() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEY) ?? "{}");
    return Object.fromEntries(Object.entries(kept).filter(([, { at }]) => Date.now() - at < KEPT_MS));
  } catch {
    return {};
  }
}

function keep(map) {
  try {
    localStorage.setItem(KEY, JSON.stringify(map));
  } catch { /* a private window: the upload works, it is just not remembered */ }
}

const nameOf = (file) => `${file.name} ${file.size} ${file.lastModified}`;
const inThisPage = new Map(); // holds where storage is refused

export function recall(file) {
  return inThisPage.get(nameOf(file)) ?? all()[nameOf(file)]?.place;
}

export function remember(file, place) {
  inThisPage.set(nameOf(file), place);
  keep({ ...all(), [nameOf(file)]: { place, at: Date.now() } });
}

export function forget(file) {
  inThisPage.delete(nameOf(file));
  const { [nameOf(file)]: _, ...others } = all();
  keep(others);
}
