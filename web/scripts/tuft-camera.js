// A photo taken with the device's own camera joins those that were chosen; without this script it goes with the form.
for (const camera of document.querySelectorAll("input[type=file][data-camera]")) {
  camera.removeAttribute("name");
  camera.addEventListener("change", () => {
    const files = [...camera.files];
    camera.value = "";
    if (files.length) camera.form.dispatchEvent(new CustomEvent("stillair:files", { detail: { files } }));
  });
}
