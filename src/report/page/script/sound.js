// Plays a tap: the sum of decaying tones.

import { clamp } from "./drawing.js";

let sound = null;

// The sum of all tones, as loud as possible without clipping.
const fill = (samples, tones, rate) => {
  for (const m of tones) {
    if (!m.heard || m.frequency >= rate / 2) continue;
    for (let i = 0; i < samples.length; i++) {
      const t = i / rate;
      samples[i] += m.heard * Math.exp(-Math.PI * m.frequency * m.loss * t) * Math.sin(2 * Math.PI * m.frequency * t);
    }
  }
  let loudest = 0;
  for (const sample of samples) loudest = Math.max(loudest, Math.abs(sample));
  // The last hundredth of a second fades out, so that the end does not click.
  const fade = Math.min(samples.length, Math.ceil(0.01 * rate));
  for (let i = 0; i < samples.length; i++) {
    samples[i] *= 0.8 / (loudest || 1) * Math.min(1, (samples.length - i) / fade);
  }
};

const hear = (tones) => {
  sound ??= new AudioContext();
  const rate = sound.sampleRate;
  const slowest = Math.min(...tones.map((m) => Math.PI * m.frequency * m.loss).filter((d) => d > 0));
  const seconds = clamp(Number.isFinite(slowest) ? 7 / slowest : 3, 0.3, 6);
  const buffer = sound.createBuffer(1, Math.ceil(seconds * rate), rate);
  fill(buffer.getChannelData(0), tones, rate);
  const source = sound.createBufferSource();
  source.buffer = buffer;
  source.connect(sound.destination);
  sound.resume().then(() => source.start());
};

// The tap of one line of a curve, or of a frame.
export const enableSound = (figure, data) => {
  for (const button of figure.querySelectorAll('[data-play="tap"]')) {
    const tones = data.series?.[button.dataset.line].tap ?? data.motions.map((motion) => motion.tone);
    button.addEventListener("click", () => hear(tones));
  }
};
