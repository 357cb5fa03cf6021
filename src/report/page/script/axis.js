// The axis of a curve: its ticks, and the way between a value and its place along the axis.

// Powers of ten from low to high, with 2 and 5 between if they are few.
const logTicks = (low, high, count) => {
  const decades = Math.log10(high / low);
  const factors = 3 * decades <= count ? [1, 2, 5] : decades < 2 ? [1, 3] : [1];
  const every = Math.max(1, Math.ceil(decades / count));
  const found = [];
  for (let power = Math.floor(Math.log10(low)); power <= Math.log10(high); power++) {
    if (((power % every) + every) % every) continue;
    for (const f of factors) found.push(f * 10 ** power);
  }
  return found.filter((v) => v >= low * 0.999999 && v <= high * 1.000001);
};

// Round values from low to high; on a logarithmic axis that covers little, as on a linear one.
export const ticks = (low, high, log, count) => {
  if (log && high / low > 4) return logTicks(low, high, count);
  const raw = (high - low) / count;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].find((f) => raw <= f * power * 1.0001) * power;
  const found = [];
  for (let i = Math.ceil(low / step - 1e-9); i <= high / step + 1e-9 && found.length < 50; i++) found.push(i * step);
  return found;
};

// The place of a value along the axis, from 0 at its low end to 1 at its high end.
export const fractionOf = (axis, v) =>
  axis.log ? Math.log(v / axis.low) / Math.log(axis.high / axis.low) : (v - axis.low) / (axis.high - axis.low);

export const valueAt = (axis, fraction) =>
  axis.log
    ? axis.low * (axis.high / axis.low) ** fraction
    : axis.low + fraction * (axis.high - axis.low);
