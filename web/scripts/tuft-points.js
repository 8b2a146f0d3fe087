// Points of a part found on its photo: a row is chosen, a station tapped on the plan names it, a tap on the photo fills it.
const form = document.querySelector("[data-tuft-points]");
const frame = document.querySelector(".board-frame");

function rowOf(radio) { return radio.closest("tr"); }
function chosen() { return form.querySelector("[name=row]:checked"); }
function cell(radio, name) { return rowOf(radio).querySelector(`[name=${name}]`); }

function choose(radio) {
  if (!radio) return;
  radio.checked = true;
  frame.classList.add("picking");
}

function firstEmpty() {
  return [...form.querySelectorAll("[name=row]")].find((radio) => !cell(radio, "x_px").value);
}

if (form && frame) {
  for (const shown of form.querySelectorAll("[data-with-scripts]")) shown.hidden = false;
  form.addEventListener("change", (event) => event.target.name === "row" && choose(event.target));
  form.addEventListener("click", (event) => {
    const station = event.target.closest("[data-station]");
    if (!station) return;
    const radio = chosen() && !cell(chosen(), "x_px").value ? chosen() : firstEmpty();
    if (!radio) return;
    choose(radio);
    cell(radio, "name").value = station.dataset.station;
    for (const name of ["x_mm", "y_mm"]) cell(radio, name).value = "";
    frame.scrollIntoView({ block: "center" });
  });
  frame.addEventListener("stillair:tapped", (event) => { // the board asks before it draws
    const radio = chosen();
    if (!radio) return;
    event.preventDefault();
    for (const [name, value] of Object.entries(event.detail)) cell(radio, name).value = value.toFixed(1);
    radio.checked = false;
    frame.classList.remove("picking");
    const next = firstEmpty();
    if (next && cell(next, "name").value) choose(next);
    form.scrollIntoView({ block: "nearest" });
  });
}
