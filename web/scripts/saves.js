// Saves a figure as PNG or SVG, always in the light colours, for a report.
import { lightFigure } from "./plots.js";

const SIZE = { width: 1100, scale: 2 };

async function save(button) {
  const area = document.getElementById(button.dataset.plotId);
  const figure = lightFigure(area);
  if (!figure) return;
  const format = button.dataset.save;
  const height = figure.layout.height ?? 450;
  const picture = await window.Plotly.toImage(figure, { format, height, ...SIZE });
  const link = document.createElement("a");
  link.href = picture;
  link.download = `${area.dataset.file}.${format}`;
  link.click();
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-save]");
  if (button) save(button);
});
