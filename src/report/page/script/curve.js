// A curve as it is shown: the stretch of its axis, and the values at the cursor.

import { fractionOf, ticks, valueAt } from "./axis.js";
import { make } from "./drawing.js";

const HINT = "Point at the lines to read values; draw across a stretch to see it closer.";

// The value of a series at x: interpolated on a line, or the nearest separate point.
const read = (series, x, reach) => {
  const points = series.points;
  let best = null;
  for (let i = 0; i < points.length; i++) {
    const p = points[i];
    if (!p) continue;
    const q = points[i + 1];
    if (!series.scattered && q && p[0] <= x && x <= q[0] && q[0] > p[0]) {
      return p[1] + (x - p[0]) / (q[0] - p[0]) * (q[1] - p[1]);
    }
    if (!best || Math.abs(p[0] - x) < Math.abs(best[0] - x)) best = p;
  }
  return best && Math.abs(best[0] - x) <= reach ? best[1] : null;
};

const withUnit = (axis, v) => `${Number(v.toPrecision(4))} ${axis.unit}`.trim();

// The parts of the wide and of the narrow drawing that change.
const curveSheet = (figure, data, kind) => {
  const sheet = figure.querySelector(`.sheet.${kind}`);
  const svg = sheet.querySelector("svg");
  const [left, top, width, height] = data[kind];
  const veil = { class: "chosen", y: top, height, fill: "#56666e", "fill-opacity": 0.2, visibility: "hidden" };
  return {
    sheet, svg, left, top, width, height,
    moves: svg.querySelector(".moves"),
    ticks: svg.querySelector(".x-ticks"),
    rides: svg.querySelectorAll("[data-at]"),
    chosen: make("rect", veil, svg),
    cursor: make("g", { class: "cursor", visibility: "hidden" }, svg),
    count: kind === "wide" ? 8 : 4,
  };
};

// The drawings of a curve. `from` and `to` are the ends of the stretch that is shown and `at` the cursor,
// all as fractions of the whole axis.
export const curveView = (figure, data) => {
  const readout = figure.querySelector(".readout");
  readout.hidden = false;
  readout.textContent = HINT;
  const view = { from: 0, to: 1, at: null };
  view.sheets = ["wide", "narrow"].map((kind) => curveSheet(figure, data, kind));
  view.across = (s, u) => s.left + (u - view.from) / (view.to - view.from) * s.width;

  const showAxis = (s) => {
    const low = valueAt(data.x, view.from);
    const high = valueAt(data.x, view.to);
    s.ticks.replaceChildren();
    for (const v of ticks(low, high, data.x.log, s.count)) {
      const x = view.across(s, fractionOf(data.x, v)).toFixed(1);
      make("line", { class: "grid", x1: x, x2: x, y1: s.top, y2: s.top + s.height, stroke: "#d5dde0" }, s.ticks);
      make("text", { x, y: s.top + s.height + 17, "text-anchor": "middle" }, s.ticks).textContent =
        String(Number(v.toPrecision(6)));
    }
    const k = 1 / (view.to - view.from);
    s.moves.setAttribute("transform", `translate(${s.left - k * s.left - k * view.from * s.width} 0) scale(${k} 1)`);
    for (const label of s.rides) {
      const x = view.across(s, Number(label.dataset.at));
      label.setAttribute("x", x.toFixed(1));
      label.setAttribute("visibility", x >= s.left && x <= s.left + s.width ? "visible" : "hidden");
    }
  };

  const mark = (s, values) => {
    const px = view.across(s, view.at);
    make("line", { x1: px, x2: px, y1: s.top, y2: s.top + s.height, class: "mark", stroke: "#1c2529" }, s.cursor);
    for (const y of values) {
      const v = y === null ? NaN : fractionOf(data.y, y);
      if (v >= 0 && v <= 1) {
        const cy = s.top + (1 - v) * s.height;
        make("circle", { cx: px, cy, r: 3.5, class: "mark dot", fill: "#1c2529" }, s.cursor);
      }
    }
  };

  view.showCursor = () => {
    const shown = view.at !== null;
    for (const s of view.sheets) {
      s.cursor.setAttribute("visibility", shown ? "visible" : "hidden");
      s.cursor.replaceChildren();
    }
    readout.textContent = HINT;
    if (!shown) return;
    const x = valueAt(data.x, view.at);
    const reach = Math.abs(valueAt(data.x, Math.min(1, view.at + 0.01)) - x);
    const parts = [`${data.x.title} ${withUnit(data.x, x)}`];
    const values = data.series.map((series) => read(series, x, reach));
    values.forEach((y, i) => {
      if (y !== null) parts.push(`${data.series[i].name || data.y.title}: ${withUnit(data.y, y)}`);
    });
    readout.textContent = parts.join("  ·  ");
    for (const s of view.sheets) mark(s, values);
  };

  view.show = () => {
    view.sheets.forEach(showAxis);
    view.showCursor();
  };
  return view;
};
