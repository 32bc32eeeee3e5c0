// Level, pitch and pitched share while it sounds: live and rough. The server measures anew.
//
// Pitch by the normalised square difference function: n(k) = 2 sum x_i x_(i+k) / sum (x_i^2 +
// x_(i+k)^2), first peak within 0.97 of the highest (McLeod and Wyvill, A smarter way to find
// pitch, ICMC 2005, from memory; the factor was tried on invented crows, whose octaves are strong).
// Its height is the share of the sound that repeats.

export const LOWEST = 180; // Hz, as the server looks for a crow
export const HIGHEST = 1800;
const SPAN = 0.045; // s looked at
const NEAR = 0.97;
const TRUSTED = 0.6; // height from which a pitch is shown
const SINGLE = 0.8; // pitched share from which the take has one pitch

// The pitch of the last SPAN of a sound [Hz, NaN where there is none] and how far it repeats.
export function pitchOf(x, rate) {
  const shortest = Math.floor(rate / HIGHEST);
  const longest = Math.ceil(rate / LOWEST) + 1;
  const n = x.length - longest;
  if (n < longest) return { pitch: NaN, clarity: 0 };
  const heights = new Float32Array(longest + 1);
  let before = 0;
  for (let i = 0; i < n; i += 1) before += x[i] * x[i];
  let after = before;
  for (let k = 0; k <= longest; k += 1) {
    let sum = 0;
    for (let i = 0; i < n; i += 1) sum += x[i] * x[i + k];
    heights[k] = before + after > 1e-12 ? (2 * sum) / (before + after) : 0;
    after += x[n + k] * x[n + k] - x[k] * x[k];
  }
  const peaks = [];
  let risen = false; // the peak at no lag at all is none
  for (let k = 1; k < longest; k += 1) {
    if (heights[k] <= 0) risen = true;
    if (!risen || k < shortest) continue;
    if (heights[k] > heights[k - 1] && heights[k] >= heights[k + 1]) peaks.push(k);
  }
  const best = Math.max(0, ...peaks.map((k) => heights[k]));
  const at = peaks.find((k) => heights[k] >= NEAR * best);
  if (at === undefined) return { pitch: NaN, clarity: 0 };
  const [left, here, right] = [heights[at - 1], heights[at], heights[at + 1]];
  const bend = left - 2 * here + right;
  const shift = bend < 0 ? (0.5 * (left - right)) / bend : 0;
  const clarity = Math.min(1, Math.max(0, here));
  return { pitch: clarity >= TRUSTED ? rate / (at + shift) : NaN, clarity };
}

const FLAT = 3; // samples in a row at the top make it clipped
const CLIPPED = 0.999;

export function levelOf(x) {
  let sum = 0;
  let peak = 0;
  let run = 0;
  let clipped = false;
  for (const v of x) {
    sum += v * v;
    const size = Math.abs(v);
    if (size > peak) peak = size;
    run = size >= CLIPPED ? run + 1 : 0;
    clipped ||= run >= FLAT;
  }
  const decibels = (p) => (p > 1e-20 ? 10 * Math.log10(p) : -200);
  return { level: decibels(sum / x.length), peak: decibels(peak * peak), clipped };
}

// The levels that the server asks for [dB re full scale; dB above the room].
export const LIMITS = { silent: -75, quiet: -55, room: 20 };

// Follows a take: blows, the room between them, pitched share, what stands in the way.
export class Follower {
  constructor(rate) {
    this.rate = rate;
    this.tail = new Float32Array(Math.round(SPAN * rate));
    this.levels = [];
    this.blown = 0; // s
    this.pitched = 0; // s of it that repeat
    this.blows = 0;
    this.loudest = -200;
    this.clipped = false;
    this.now = 0; // s of the blow under way
    this.rest = Infinity; // s since the last one
    this.pitches = [];
  }

  block(x) {
    const seconds = x.length / this.rate;
    const kept = Math.min(x.length, this.tail.length);
    this.tail.copyWithin(0, kept);
    this.tail.set(x.subarray(x.length - kept), this.tail.length - kept);
    const { level, peak, clipped } = levelOf(x);
    this.clipped ||= clipped;
    this.levels.push(level);
    const sorted = [...this.levels].sort((a, b) => a - b);
    const room = sorted[Math.floor(0.1 * (sorted.length - 1))];
    const loud = sorted[Math.floor(0.98 * (sorted.length - 1))];
    // as the server finds blows: above the room, and not far below the loudest
    const sounds = level > LIMITS.silent && level > room + 8 && level > loud - 35 && loud - room > 12;
    const { pitch, clarity } = sounds ? pitchOf(this.tail, this.rate) : { pitch: NaN, clarity: 0 };
    if (sounds) {
      if (this.rest >= 0.12) this.now = 0;
      const before = this.now;
      this.now += seconds;
      this.rest = 0;
      if (before < 0.2 && this.now >= 0.2) this.blows += 1;
      this.blown += seconds;
      this.loudest = Math.max(this.loudest, level);
      this.pitched += seconds * clarity;
      if (!Number.isNaN(pitch)) this.pitches.push(pitch);
    } else {
      this.rest += seconds;
    }
    const share = this.blown > 0 ? this.pitched / this.blown : NaN;
    return {
      level, peak, clipped, pitch, clarity, sounds, share,
      blows: this.blows,
      median: share >= SINGLE ? median(this.pitches) : NaN,
      state: this.state(room),
    };
  }

  // What a light beside the meter says of the take so far.
  state(room) {
    if (this.clipped) return "clipped";
    if (this.blown < 0.2) return room > -40 ? "noisy" : "listening";
    if (this.loudest < LIMITS.quiet) return "quiet";
    return this.loudest - room < LIMITS.room ? "noisy" : "usable";
  }
}

function median(values) {
  if (!values.length) return NaN;
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

// In a worker: { rate } begins a take, { samples, channels } is one block of it.
if (globalThis.WorkerGlobalScope && self instanceof WorkerGlobalScope) {
  let follower = null;
  self.onmessage = ({ data }) => {
    if (data.rate) {
      follower = new Follower(data.rate);
      return;
    }
    const { samples, channels } = data;
    const frames = samples.length / channels;
    const mono = new Float32Array(frames);
    for (let i = 0; i < frames; i += 1) {
      for (let c = 0; c < channels; c += 1) mono[i] += samples[i * channels + c] / channels;
    }
    self.postMessage(follower.block(mono));
  };
}
