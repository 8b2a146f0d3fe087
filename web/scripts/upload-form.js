// Forms with data-uploads: files go ahead piece by piece, the form then names them by number. Without this script the
// same form sends the files themselves.
import { dropFile, keepFile, keptFiles } from "./kept-files.js";
import { uploadRow } from "./upload-row.js";

const WAITS = "Sent as soon as every file is here.";
const NOTHING = "Choose a file first.";
const AGAIN = "Chosen before this page was closed; taken up again.";

function wire(form) {
  const input = form.querySelector("input[type=file]");
  const list = form.querySelector("[data-upload-list]");
  const news = form.querySelector("[data-upload-news]");
  const say = (sentence) => { news.textContent = sentence; };
  const rows = () => [...list.children];
  const isOpen = () => rows().some((row) => ["waiting", "sending"].includes(row.dataset.state));
  const isHere = () => rows().some((row) => row.dataset.state === "here");
  let wanted = false;

  input.removeAttribute("name");
  input.required = false;
  for (const shown of form.querySelectorAll("[data-with-scripts]")) shown.hidden = false;

  function onEnd() {
    if (isOpen()) return;
    const ready = isHere() && (wanted || "uploadsAtOnce" in form.dataset);
    wanted = false;
    if (ready) form.requestSubmit();
  }

  const nameOf = (file) => `${file.name} ${file.size} ${file.lastModified}`;
  const isListed = (file) => rows().some((row) => row.dataset.file === nameOf(file) && row.dataset.state !== "refused");

  function add(file, place) {
    if (isListed(file)) return;
    const extra = form.querySelector("template[data-upload-extra]");
    const row = uploadRow(file, { list, field: form.dataset.uploads, extra, say, onEnd });
    row.dataset.file = nameOf(file);
    const kept = place ?? keepFile(form, file);
    new MutationObserver(async (_, watcher) => {
      if (row.isConnected) return;
      watcher.disconnect();
      dropFile(await kept); // taken by the server, or taken out by a person
    }).observe(list, { childList: true });
  }

  function take(files) {
    if (!input.multiple) for (const row of rows()) row.querySelector("button").click();
    for (const file of files) add(file);
    input.value = "";
  }

  keptFiles(form).then((kept) => {
    for (const [place, file] of kept) add(file, place);
    if (kept.length) say(AGAIN);
  });
  input.addEventListener("change", () => take([...input.files]));
  form.addEventListener("stillair:files", (event) => take(event.detail.files));
  form.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.elt === form && event.detail.xhr.status < 400) list.replaceChildren(); // refused: all stays
  });
  document.addEventListener("submit", (event) => { // in the capture phase: before htmx sends the form
    if (event.target !== form || (!isOpen() && isHere())) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    wanted = isOpen();
    say(wanted ? WAITS : NOTHING);
    if (!wanted) input.focus();
  }, true);
}

for (const form of document.querySelectorAll("form[data-uploads]")) wire(form);
