// The edges of passes as handles upon the drawing of the speed: dragged or nudged, then the form asks what would move.
const STEP_S = 0.1;
const LARGE_STEP_S = 1;
const LEAST_S = 0.5; // a pass is at least as long
const PAUSE_MS = 600; // after the last nudge
const waiting = new WeakMap(); // form → timer

const frame = (edge) => edge.closest("[data-edges]");
const form = (edge) => document.getElementById(edge.dataset.form);
const seconds = (edge, side = edge.dataset.edge) => Number(form(edge).elements[side].value.replace(",", "."));
const isStart = (edge) => edge.dataset.edge === "start_s";

function limits(edge) {
  const { low, high } = frame(edge).dataset;
  return isStart(edge) ? [Number(low), seconds(edge, "end_s") - LEAST_S] : [seconds(edge, "start_s") + LEAST_S, Number(high)];
}

function place(edge) {
  const layout = document.getElementById(frame(edge).dataset.edges)._fullLayout; // the drawing's own map of time to pixels
  const at = layout.xaxis.d2p(seconds(edge));
  edge.hidden = at < 0 || at > layout.xaxis._length;
  edge.style.left = `${layout.xaxis._offset + at}px`;
  edge.style.top = `${layout._size.t}px`;
  edge.style.height = `${layout._size.h}px`;
}

function tell(edge) {
  const [low, high] = limits(edge);
  const texts = { min: low, max: high, now: seconds(edge) };
  for (const [name, value] of Object.entries(texts)) edge.setAttribute(`aria-value${name}`, value.toFixed(2));
  edge.setAttribute("aria-valuetext", `${isStart(edge) ? "starts" : "ends"} at ${seconds(edge).toFixed(2)} seconds`);
}

function move(edge, to) {
  const [low, high] = limits(edge);
  const value = Math.min(high, Math.max(low, to));
  form(edge).elements[edge.dataset.edge].value = value.toFixed(2);
  edge.classList.add("moved");
  place(edge);
  for (const one of frame(edge).querySelectorAll(`[data-form="${edge.dataset.form}"]`)) tell(one);
}

function ask(edge, pause = 0) {
  const asked = form(edge);
  clearTimeout(waiting.get(asked));
  waiting.set(asked, setTimeout(() => asked.dispatchEvent(new Event("edge-moved")), pause));
}

function keyed(event) {
  const edge = event.target.closest?.("[data-edge]");
  if (!edge) return;
  const step = event.shiftKey ? LARGE_STEP_S : STEP_S;
  const [low, high] = limits(edge);
  const now = seconds(edge);
  const steps = { ArrowLeft: now - step, ArrowDown: now - step, ArrowRight: now + step, ArrowUp: now + step, Home: low, End: high };
  if (!(event.key in steps)) return;
  event.preventDefault();
  move(edge, steps[event.key]);
  ask(edge, PAUSE_MS);
}

function grabbed(event) {
  const grip = event.target.closest?.(".grip");
  if (!grip) return;
  const edge = grip.parentElement;
  const axis = document.getElementById(frame(edge).dataset.edges)._fullLayout.xaxis;
  const from = axis.d2p(seconds(edge)) - event.clientX;
  edge.focus();
  event.preventDefault();
  grip.setPointerCapture(event.pointerId);
  grip.onpointermove = (moved) => move(edge, axis.p2d(moved.clientX + from));
  grip.onpointerup = grip.onpointercancel = () => {
    grip.onpointermove = grip.onpointerup = grip.onpointercancel = null;
    if (edge.classList.contains("moved")) ask(edge);
  };
}

function placeAll(area) {
  for (const edge of document.querySelectorAll(`[data-edges="${area.id}"] [data-edge]`)) {
    place(edge);
    tell(edge);
  }
}

document.addEventListener("stillair:drawn", (event) => {
  placeAll(event.target);
  event.target.on?.("plotly_afterplot", () => placeAll(event.target));
});
document.addEventListener("keydown", keyed);
document.addEventListener("pointerdown", grabbed);
