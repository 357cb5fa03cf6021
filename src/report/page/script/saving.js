// Saves a drawing as SVG and its values as CSV.

import { make, visible } from "./drawing.js";

const save = (name, type, text) => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type }));
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
};

// The points of a curve in SI, as CSV.
const curveValues = (data) => {
  const quoted = (text) => /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  const si = (v, axis) => String(Number((v * axis.size).toPrecision(6)));
  const rows = [`series,${data.x.key},${data.y.key}`];
  for (const series of data.series) {
    for (const p of series.points) {
      if (p) rows.push(`${quoted(series.name)},${si(p[0], data.x)},${si(p[1], data.y)}`);
    }
  }
  return rows.join("\r\n") + "\r\n";
};

// The drawing that is shown, with its caption above it, since the saved drawing stands alone.
const standalone = (figure) => {
  const drawing = visible(figure).querySelector("svg").cloneNode(true);
  drawing.querySelectorAll(".cursor, .chosen").forEach((extra) => extra.remove());
  const view = drawing.viewBox.baseVal;
  drawing.setAttribute("viewBox", `0 -30 ${view.width} ${view.height + 30}`);
  drawing.setAttribute("height", view.height + 30);
  make("text", { x: 2, y: -12, "font-size": 15, "font-weight": 600 }, drawing).textContent =
    figure.querySelector("figcaption").textContent;
  return new XMLSerializer().serializeToString(drawing);
};

export const enableSaving = (figure, data) => {
  const on = (kind, act) =>
    figure.querySelectorAll(`[data-save="${kind}"]`).forEach((b) => b.addEventListener("click", act));
  on("csv", () => save(`${data.file}.csv`, "text/csv;charset=utf-8", data.csv ?? curveValues(data)));
  on("svg", () => save(`${data.file}.svg`, "image/svg+xml", standalone(figure)));
};
