// Drags a point along the axis in which the pointer sets out, in steps of 5 mm; what it does is shown meanwhile, and
// written when it is let go.

import { pointerAt } from "./drawing.js";
import { machineListing, machineView } from "./machine.js";
import { towardsViewer } from "./projection.js";
import { post } from "./server.js";
import { outlineOf } from "./surface.js";
import { isUnsaved } from "./text.js";

const STEP = 5;
const SETS_OUT = 5;

const holder = document.querySelector("#figure");
let drag = null;

export const isDragging = () => drag !== null;

// The machine as it was when the drag began.
export const outlineBefore = () => drag?.was ?? null;

// Sends the last place alone: one request at a time.
const pass = async () => {
  if (!drag || drag.isSending || !drag.to) return;
  const own = drag;
  own.isSending = true;
  while (drag === own && own.to && own.to !== own.sent) {
    own.sent = own.to;
    await post("passing", { kind: "move", build: own.build, point: own.point.name, to: own.to });
  }
  own.isSending = false;
};

const alongAxes = (s, at) => [0, 1, 2].map((axis) => {
  const moved = at.map((v, i) => (i === axis ? v + 100 : v));
  const [a, b] = [at, moved].map((p) => machineView().place(s, p.map((v) => v / 1000)).map(Number));
  return [(b[0] - a[0]) / 100, (b[1] - a[1]) / 100];
});

const move = (event) => {
  const at = pointerAt(drag.svg, event);
  const [dx, dy] = [at[0] - drag.from[0], at[1] - drag.from[1]];
  if (drag.axis === null) {
    if (Math.hypot(dx, dy) < SETS_OUT) return;
    const agrees = drag.axes.map(([x, y]) => Math.abs(x * dx + y * dy) / (Math.hypot(x, y) || Infinity));
    drag.axis = agrees.indexOf(Math.max(...agrees));
  }
  const [x, y] = drag.axes[drag.axis];
  const by = (x * dx + y * dy) / (x * x + y * y);
  const to = [...drag.point.at];
  to[drag.axis] = Math.round((to[drag.axis] + by) / STEP) * STEP;
  if (drag.to && to.every((v, i) => v === drag.to[i])) return;
  drag.to = to;
  drag.tell(drag.point.name, "xyz"[drag.axis], to);
  pass();
};

const end = (isLetGo) => {
  const own = drag;
  if (!own) return;
  drag = null;
  own.settled();
  if (!own.to) {
    if (isLetGo) own.choose(own.point.name);
    return;
  }
  const isMoved = own.to.some((v, i) => v !== own.point.at[i]);
  if (isLetGo && isMoved) own.write({ kind: "move", build: own.build, point: own.point.name, to: own.to });
  else post("build", own.build);
};

// `write` makes a change, `choose` opens a point, `tell` hears where a dragged point is, `settled` that it is let go.
export const enableDragging = ({ write, choose, settled, tell }) => {
  holder.addEventListener("pointerdown", (event) => {
    const handle = event.target.closest(".handle");
    const view = machineView();
    if (!handle || !view || event.button !== 0) return;
    // The drawing does not turn with it.
    event.stopPropagation();
    const { build, points } = machineListing();
    const point = points.find((own) => own.name === handle.dataset.name);
    const s = view.sheets.find((own) => own.svg.contains(handle));
    if (isUnsaved()) {
      choose(point.name);
      return;
    }
    holder.setPointerCapture(event.pointerId);
    const { data } = view;
    const edges = data.faces.length ? outlineOf(data, towardsViewer(view.turn, view.rise)) : data.lines;
    drag = {
      point, build, write, choose, settled, tell, svg: s.svg, axis: null, to: null, sent: null, isSending: false,
      from: pointerAt(s.svg, event), axes: alongAxes(s, point.at),
      was: { lines: edges, points: data.points },
    };
  }, { capture: true });
  holder.addEventListener("pointermove", (event) => {
    if (drag) move(event);
  }, { capture: true });
  holder.addEventListener("pointerup", () => end(true), { capture: true });
  holder.addEventListener("pointercancel", () => end(false), { capture: true });
  addEventListener("keydown", (event) => { if (event.key === "Escape" && drag) end(false); });
  holder.addEventListener("keydown", (event) => {
    const handle = event.target.closest(".handle");
    if (!handle || !["Enter", " "].includes(event.key)) return;
    event.preventDefault();
    choose(handle.dataset.name);
  });
};
