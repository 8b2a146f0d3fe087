// Draws the figures that the server built, in the colours of the theme; light on paper.
const CONFIG = { displayModeBar: false, responsive: true, scrollZoom: false, doubleClick: false, showTips: false };
const NARROW_PX = 620;
const PAPER_WIDTH_PX = 660;
const darkDevice = window.matchMedia("(prefers-color-scheme: dark)");
const plots = new Map(); // plot area → {figure, dark}

export function isDark() {
  const theme = document.documentElement.dataset.theme;
  return theme === "dark" || (theme !== "light" && darkDevice.matches);
}

export function recoloured(value, swaps) {
  if (typeof value === "string") return swaps[value] ?? value;
  if (Array.isArray(value)) return value.map((one) => recoloured(one, swaps));
  if (value === null || typeof value !== "object" || ArrayBuffer.isView(value)) return value;
  return Object.fromEntries(Object.entries(value).map(([name, one]) => [name, recoloured(one, swaps)]));
}

export function lightFigure(area) {
  return structuredClone(plots.get(area)?.figure);
}

function draw(area, dark, width) {
  const plot = plots.get(area);
  const { data, layout } = recoloured(structuredClone(plot.figure), dark ? plot.dark : {});
  if (width) Object.assign(layout, { width, autosize: false });
  area.querySelector("noscript")?.remove();
  return window.Plotly.react(area, data, { autosize: true, ...layout }, CONFIG);
}

async function load(area) {
  if (plots.has(area) || area.dataset.asked) return;
  area.dataset.asked = "yes";
  const narrow = area.clientWidth < NARROW_PX;
  const address = new URL(area.dataset.plot, document.baseURI);
  address.searchParams.set("narrow", narrow);
  const answer = await fetch(address);
  if (!answer.ok) {
    area.textContent = "The figure could not be had; its table says the same.";
    return;
  }
  plots.set(area, await answer.json());
  await draw(area, isDark());
  area.dataset.drawn = "yes";
  area.dispatchEvent(new CustomEvent("stillair:drawn", { bubbles: true }));
}

// What changed elsewhere: figures that are drawn are asked for again, and drawn anew where they differ.
async function renew(area) {
  const address = new URL(area.dataset.plot, document.baseURI);
  address.searchParams.set("narrow", area.clientWidth < NARROW_PX);
  const answer = await fetch(address).catch(() => null);
  if (!answer?.ok) return;
  const figure = await answer.json();
  if (JSON.stringify(figure) === JSON.stringify(plots.get(area))) return;
  plots.set(area, figure);
  await draw(area, isDark());
}

function redraw(dark, width) {
  for (const area of plots.keys()) {
    if (area.isConnected) draw(area, dark, width);
    else plots.delete(area);
  }
}

const seen = new IntersectionObserver((entries) => {
  for (const entry of entries) if (entry.isIntersecting) load(entry.target);
}, { rootMargin: "300px" });
function watch(part) {
  for (const area of part.querySelectorAll("[data-plot]")) seen.observe(area);
}
watch(document);
document.addEventListener("htmx:afterSwap", () => watch(document)); // another choice of a figure came in

document.addEventListener("stillair:followed", () => {
  watch(document);
  for (const area of plots.keys()) {
    if (area.isConnected) renew(area);
    else plots.delete(area);
  }
});
document.addEventListener("stillair:theme", () => redraw(isDark()));
darkDevice.addEventListener("change", () => redraw(isDark()));
window.addEventListener("beforeprint", () => redraw(false, PAPER_WIDTH_PX));
window.addEventListener("afterprint", () => redraw(isDark()));
