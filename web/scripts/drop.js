// The drop zone: a zip goes into its form and is sent, logs go into rows; and rows can be added.
const zone = document.querySelector("[data-drop]");
const rows = document.querySelector("[data-log-rows]");
const addRow = document.querySelector("[data-add-row]");
const zip = document.getElementById("day-zip");
const answer = document.getElementById("answer");

function newRow() {
  const row = rows.lastElementChild.cloneNode(true);
  const number = rows.children.length + 1;
  row.querySelector("label").firstChild.data = `Log ${number}`;
  row.querySelector("input[type=file]").value = "";
  rows.append(row);
  return row;
}

function put(file, input) {
  const list = new DataTransfer();
  list.items.add(file);
  input.files = list.files;
}

function say(sentence) {
  const problem = document.createElement("div");
  problem.className = "problem";
  problem.setAttribute("role", "alert");
  problem.textContent = sentence;
  answer.replaceChildren(problem);
}

export function take(files) {
  const limitMb = Number(zone.dataset.limitMb);
  const heavy = files.find((file) => file.size > limitMb * 1e6);
  if (heavy) return say(`${heavy.name} has ${Math.round(heavy.size / 1e6)} MB; at most ${limitMb} MB can be sent.`);
  answer.replaceChildren();
  const zipped = files.find((file) => file.name.toLowerCase().endsWith(".zip"));
  if (zipped) {
    put(zipped, zip);
    zip.form.requestSubmit();
    return undefined;
  }
  for (const file of files) {
    const free = [...rows.children].find((row) => !row.querySelector("input[type=file]").files.length) ?? newRow();
    put(file, free.querySelector("input[type=file]"));
  }
  rows.querySelector("input[name=log_setup]").focus();
  return undefined;
}

zone.classList.add("live");
addRow.hidden = false;
addRow.addEventListener("click", () => newRow().querySelector("input").focus());
for (const name of ["dragenter", "dragover"]) {
  document.addEventListener(name, (event) => {
    event.preventDefault();
    zone.classList.add("over");
  });
}
document.addEventListener("dragleave", (event) => {
  if (!event.relatedTarget) zone.classList.remove("over");
});
document.addEventListener("drop", (event) => {
  event.preventDefault();
  zone.classList.remove("over");
  const files = [...event.dataTransfer.files];
  if (files.length) take(files);
});
