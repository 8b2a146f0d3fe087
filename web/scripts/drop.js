// Files dropped anywhere on the page go to its upload form: a zip to the one that takes zips, where there is one.
const zone = document.querySelector("[data-drop]");
const forms = [...document.querySelectorAll("form[data-uploads]")];

function formFor(file) {
  const takes = (form) => form.querySelector("input[type=file]").accept.split(",").some((end) => end && file.name.toLowerCase().endsWith(end));
  return forms.find(takes) ?? forms.find((form) => !form.querySelector("input[type=file]").accept) ?? forms[0];
}

export function take(files) {
  for (const form of forms) {
    const own = files.filter((file) => formFor(file) === form);
    if (!own.length) continue;
    form.dispatchEvent(new CustomEvent("stillair:files", { detail: { files: own } }));
    form.scrollIntoView({ block: "nearest" });
    if ("dropSends" in form.dataset) form.requestSubmit();
  }
}

zone.classList.add("live");
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
