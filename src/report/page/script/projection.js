// Where the points of a machine are seen, and how far a motion displaces them.

const radians = (degrees) => degrees * Math.PI / 180;

// Across and up, of a point seen from the angle `turn` about z and from `rise` above the ground, in degrees.
export const projected = ([x, y, z], turn, rise) => {
  const [c, s] = [Math.cos(radians(turn)), Math.sin(radians(turn))];
  const [cr, sr] = [Math.cos(radians(rise)), Math.sin(radians(rise))];
  return [c * y - s * x, cr * z - sr * (c * x + s * y)];
};

// The direction towards the viewer.
export const towardsViewer = (turn, rise) => {
  const [c, s, cr] = [Math.cos(radians(turn)), Math.sin(radians(turn)), Math.cos(radians(rise))];
  return [c * cr, s * cr, Math.sin(radians(rise))];
};

const ends = (points, i) => {
  const values = points.map((p) => p[i]);
  return [Math.min(...values), Math.max(...values)];
};

const middle = (points, n) => [...Array(n).keys()].map((i) => (ends(points, i)[0] + ends(points, i)[1]) / 2);

// The point about which the machine turns, and where the drawing without script has it.
export const pivot = (data) => {
  const centre = middle(data.points, 3);
  const flat = middle(data.points.map((p) => projected(p, data.turn, data.rise)), 2);
  const held = projected(centre, data.turn, data.rise).map((v, i) => v - flat[i]);
  return { centre, held };
};

// The points displaced by `part` of a motion whose largest displacement is drawn as a tenth of the frame.
export const displaced = (data, motion, part) => {
  if (!motion) return data.points;
  const size = Math.hypot(...[0, 1, 2].map((i) => ends(data.points, i)[1] - ends(data.points, i)[0]));
  const largest = Math.max(...motion.shape.map((d) => Math.hypot(...d))) || 1;
  const k = 0.1 * size / largest * part;
  return data.points.map((p, i) => p.map((v, j) => v + k * (motion.shape[i]?.[j] ?? 0)));
};

// The displacement of each point relative to the largest.
export const amplitudesOf = (motion) => {
  const sizes = motion.shape.map((d) => Math.hypot(...d));
  const largest = Math.max(...sizes) || 1;
  return sizes.map((size) => size / largest);
};

// The segments of lines in each of `count` steps of amplitude; a step has its own colour and width.
export const byAmplitude = (data, motion, count) => {
  const steps = Array.from({ length: count }, () => []);
  const parts = amplitudesOf(motion);
  for (const line of data.lines) {
    for (let i = 1; i < line.length; i++) {
      const part = (parts[line[i - 1]] + parts[line[i]]) / 2;
      steps[Math.min(count - 1, Math.floor(part * count))].push([line[i - 1], line[i]]);
    }
  }
  return steps;
};
