// Marks drawn over the picture, always of the same size on the screen; signs are copied from the page.
const SVG = "http://www.w3.org/2000/svg";
const SIZE = 1.0;

function part(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function sign(mark, kind, unit) {
  const shape = mark.direction_rad === null ? "bare" : mark.condition || "unjudged";
  const copy = document.getElementById(`sign-${kind}-${shape}`).cloneNode(true);
  copy.removeAttribute("id");
  if (shape === "bare") copy.setAttribute("class", `tuft tuft-${kind} is-${mark.condition || "unjudged"}`);
  const turn = ((mark.direction_rad ?? 0) * 180) / Math.PI;
  copy.setAttribute("transform", `translate(${mark.x_px} ${mark.y_px}) rotate(${turn}) scale(${SIZE * unit})`);
  return copy;
}

function ring(mark, unit) {
  const circle = { cx: mark.x_px, cy: mark.y_px, r: 15 * unit };
  return [part("circle", { class: "chosen-halo", ...circle }), part("circle", { class: "chosen", ...circle })];
}

function cross({ x, y }, unit) {
  const arm = 16 * unit;
  const d = `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}`;
  return [part("path", { class: "cross-halo", d }), part("path", { class: "cross", d })];
}

// scene: { marks, proposals, predicted, chosen, ghost, cursor }
export function draw(view, scene) {
  const { unit } = view;
  const signs = [];
  for (const one of scene.predicted) signs.push(sign(one, "predicted", unit));
  for (const one of scene.proposals) signs.push(sign(one, one.kind, unit));
  for (const [, one] of scene.marks.entries()) signs.push(sign(one, "person", unit));
  if (scene.chosen) signs.push(...ring(scene.chosen, unit));
  if (scene.ghost) signs.push(sign(scene.ghost, "person", unit));
  if (scene.cursor) signs.push(...cross(scene.cursor, unit));
  view.svg.replaceChildren(view.image, ...signs);
}
