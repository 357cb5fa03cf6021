// The faces of a machine, drawn from the far ones to the near ones, as the drawing without script has them
// (svg/surface.rs).

const APART = 6;
const STEPS = 6;
const GLASS = 0.6;
const LIGHT = [0.36, -0.48, 0.8];
const [MASS, FOOT, PATCH] = [-1, -2, -3];
const DIAGONAL = Math.SQRT1_2;
const HATCHINGS = [
  [[DIAGONAL, -DIAGONAL]], [[1, 0]], [[DIAGONAL, DIAGONAL]], [[1, 0]], [[0, 1]],
  [[DIAGONAL, -DIAGONAL], [DIAGONAL, DIAGONAL]],
];

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

// Divide and number of each face, the far ones first.
const farToNear = (data, viewer) => {
  const order = [];
  const left = data.divides.length ? [[0, false]] : [];
  while (left.length) {
    const [number, isVisited] = left.pop();
    const [normal, behind, before, faces] = data.divides[number];
    if (isVisited) {
      for (const face of faces) order.push([number, face]);
      continue;
    }
    const [far, near] = dot(data.normals[normal], viewer) >= 0 ? [behind, before] : [before, behind];
    if (near >= 0) left.push([near, false]);
    left.push([number, true]);
    if (far >= 0) left.push([far, false]);
  }
  return order;
};

const boxOf = (rings) => {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const [x, y] of rings.flat()) {
    box[0] = Math.min(box[0], x);
    box[1] = Math.min(box[1], y);
    box[2] = Math.max(box[2], x);
    box[3] = Math.max(box[3], y);
  }
  return box;
};

const areApart = ([a, one], [b, other]) =>
  one === other || a[2] < b[0] || b[2] < a[0] || a[3] < b[1] || b[3] < a[1];

const closedPath = (ring) => `M${ring.map((p) => p.join(" ")).join("L")}z`;

// Lines along a direction within an area.
const hatchLines = (rings, [dx, dy]) => {
  const across = ([x, y]) => (y * dx - x * dy) / APART;
  const levels = rings.flat().map(across);
  const high = Math.floor(Math.max(...levels));
  let path = "";
  for (let level = Math.ceil(Math.min(...levels)); level <= high; level++) {
    const met = [];
    for (const ring of rings) {
      ring.forEach((a, i) => {
        const b = ring[(i + 1) % ring.length];
        const [d, e] = [across(a) - level, across(b) - level];
        if ((d > 0) === (e > 0)) return;
        const t = d / (d - e);
        met.push((a[0] + t * (b[0] - a[0])) * dx + (a[1] + t * (b[1] - a[1])) * dy);
      });
    }
    met.sort((a, b) => a - b);
    const [x, y] = [-level * APART * dy, level * APART * dx];
    const at = (t) => `${(t * dx + x).toFixed(1)} ${(t * dy + y).toFixed(1)}`;
    for (let i = 0; i + 1 < met.length; i += 2) {
      if (met[i + 1] - met[i] > 0.5) path += `M${at(met[i])}L${at(met[i + 1])}`;
    }
  }
  return path;
};

// Adds the edges of a face that are seen to the paths of their steps of amplitude.
const addEdges = (data, rings, at, amplitudes, viewer, paths) => {
  for (const ring of rings) {
    for (let i = 0; i < ring.length; i += 2) {
      const [from, edge, to] = [ring[i], ring[i + 1], ring[(i + 2) % ring.length]];
      const isSeen = edge === 1 || edge > 1 && dot(data.normals[edge - 2], viewer) <= 1e-6;
      if (!isSeen) continue;
      const part = amplitudes ? (amplitudes[from] + amplitudes[to]) / 2 : 0;
      paths[Math.min(STEPS - 1, Math.floor(part * STEPS))] += `M${at[from].join(" ")}L${at[to].join(" ")}`;
    }
  }
};

// Class and colour of a front face; colours serve drawings that are saved.
const fillOf = ({ of, shade, isFront }, colours) => {
  if (!isFront) return ["paper", colours.paper];
  if (of === MASS) return [`block shade${shade}`, colours.greys[shade]];
  if (of === FOOT) return ["pad", colours.ink];
  return [`t${of % 5} shade${shade}`, colours.tints[of % 5][shade]];
};

const rowMarkup = (row, isMoving, colours) => {
  const { of, isGlass, isFront } = row.look;
  if (of === PATCH) {
    if (!isFront) return "";
    return `<path class="mark" stroke="${colours.ink}" stroke-width="0.9" stroke-dasharray="4 2.5" d="${row.area}"/>`;
  }
  const [name, fill] = fillOf(row.look, colours);
  const opacity = isGlass && isFront ? ` fill-opacity="${GLASS}"` : "";
  let markup = `<path class="${name}" fill="${fill}"${opacity} d="${row.area}"/>`;
  if (!isFront) return markup;
  if (of >= 0 && !isMoving) {
    const lines = HATCHINGS[of % 6].map((along) => hatchLines(row.rings, along)).join("");
    const stroke = of % 6 === 1 ? `stroke-width="1.6" stroke-dasharray="0 6"` : `stroke-width="0.7"`;
    const colour = `class="s${of % 5}" stroke="${colours.lines[of % 5]}" stroke-opacity="0.7"`;
    markup += `<path ${colour} ${stroke} d="${lines}"/>`;
  }
  row.edges.forEach((d, step) => {
    if (!d) return;
    const width = isMoving ? (1.2 + 0.4 * step).toFixed(1) : 0.9;
    const kind = isMoving ? `class="a${step}" data-step="${step}"` : `class="outline"`;
    const stroke = isMoving ? colours.amplitudes[step] : colours.ink;
    markup += `<path ${kind} stroke="${stroke}" stroke-width="${width}" d="${d}"/>`;
  });
  return markup;
};

// The markup of all faces with the points `at` these places, seen from the direction towards `viewer`.
export const facesMarkup = (data, at, viewer, amplitudes) => {
  const rows = [];
  for (const [divide, number] of farToNear(data, viewer)) {
    const [of, glass, normal, rings] = data.faces[number];
    const isFront = dot(data.normals[normal], viewer) > 1e-6;
    if (!isFront && !glass) continue;
    const lit = dot(data.normals[normal], LIGHT);
    const shade = lit > 0.6 ? 0 : lit < 0.2 ? 2 : 1;
    const key = `${of} ${glass} ${shade} ${isFront}`;
    const placed = rings.map((ring) => ring.filter((_, i) => i % 2 === 0).map((point) => at[point].map(Number)));
    const own = [boxOf(placed), divide];
    let row = rows.at(-1);
    if (row?.key !== key || !row.boxes.every((other) => areApart(own, other))) {
      const look = { of, shade, isGlass: glass === 1, isFront };
      row = { key, look, boxes: [], area: "", rings: [], edges: Array(STEPS).fill("") };
      rows.push(row);
    }
    row.boxes.push(own);
    row.area += placed.map(closedPath).join("");
    if (isFront) addEdges(data, rings, at, amplitudes, viewer, row.edges);
    row.rings.push(...placed);
  }
  return rows.map((row) => rowMarkup(row, Boolean(amplitudes), data.colours)).join("");
};

// The sharp edges of the faces that are seen from the direction towards `viewer`, as pairs of points.
export const outlineOf = (data, viewer) => {
  const lines = [];
  for (const [, , normal, rings] of data.faces) {
    if (dot(data.normals[normal], viewer) <= 1e-6) continue;
    for (const ring of rings) {
      for (let i = 0; i < ring.length; i += 2) {
        if (ring[i + 1] === 1) lines.push([ring[i], ring[(i + 2) % ring.length]]);
      }
    }
  }
  return lines;
};
