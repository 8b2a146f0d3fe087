// Files that were chosen stay on this tablet until their form was taken: a page that was closed on the way has them again.
import { all, put, remove } from "./entry-store.js";

const here = (form) => `${location.pathname} ${form.id}`;

export async function keepFile(form, file) {
  return put("files", { form: here(form), page: location.pathname, name: file.name, file, at: Date.now() });
}

export async function dropFile(place) {
  await remove("files", place);
}

// Those of a form, as [place, file]; one that can no longer be read is let go.
export async function keptFiles(form) {
  const found = [];
  for (const record of (await all("files")).filter((one) => one.form === here(form))) {
    const readable = await record.file.slice(0, 1).arrayBuffer().then(() => true, () => false);
    if (readable) found.push([record.place, record.file]);
    else await remove("files", record.place);
  }
  return found;
}
