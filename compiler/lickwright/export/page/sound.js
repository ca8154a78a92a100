// Sound: recordings from the page's own text, slowed down or sped up at true pitch, and plain plucked strings where there is no recording.
// In: numbers. Out: Float32Array of one channel. Nothing here knows the page.

const ATTACK = 0.02; // seconds after an onset that are never stretched
const SEARCH = 0.007; // seconds to either side in which a piece may be moved to fit

/** Returns the bytes of a text in base64. */
function bytesOf(text) {
  const packed = atob(text.trim());
  const bytes = new Uint8Array(packed.length);
  for (let i = 0; i < packed.length; i++) bytes[i] = packed.charCodeAt(i);
  return bytes.buffer;
}

/**
 * Returns the corners of the way from seconds of the slow or quick version to those of the recording.
 * Around every onset time runs as in the recording, so that a stroke stays one stroke; the rest of each note makes up for it.
 */
function timeCorners(onsets, end, factor, window) {
  const corners = [[0, 0]]; // [seconds out, seconds in]
  const starts = [0, ...onsets.filter((at, i, all) => at > 0.01 && (i === 0 || at - all[i - 1] > 0.02)), end];
  for (let i = 0; i + 1 < starts.length; i++) {
    const length = starts[i + 1] - starts[i];
    if (length <= 0) continue;
    const after = Math.min(ATTACK, 0.3 * length);
    const before = i + 2 < starts.length ? Math.min(window, 0.3 * length) : 0;
    corners.push([starts[i] * factor + after, starts[i] + after]);
    corners.push([starts[i + 1] * factor - before, starts[i + 1] - before]);
    corners.push([starts[i + 1] * factor, starts[i + 1]]);
  }
  return corners;
}

/** Returns where in `input` a piece goes on best from `natural`, at most `reach` samples from `wanted`. */
function bestStart(input, natural, wanted, reach, length) {
  let best = wanted;
  let most = -Infinity;
  for (let start = Math.max(0, wanted - reach); start <= wanted + reach; start += 2) {
    let product = 0;
    let power = 1e-9;
    for (let i = 0; i < length; i += 4) {
      const sample = input[start + i] || 0;
      product += sample * (input[natural + i] || 0);
      power += sample * sample;
    }
    const likeness = product / Math.sqrt(power);
    if (likeness > most) {
      most = likeness;
      best = start;
    }
  }
  return best;
}

/**
 * Returns `input` `factor` times as long at the same pitch, by overlapping pieces that fit each other (waveform similarity, Verhelst and Roelands 1993).
 * `onsets` are seconds at which notes begin, `lowest` the lowest frequency in hertz.
 */
function stretched(input, rate, factor, onsets, lowest) {
  if (Math.abs(factor - 1) < 0.002) return input;
  const hop = Math.round(rate * Math.max(0.015, 1.25 / lowest));
  const reach = Math.round(rate * Math.max(SEARCH, 0.6 / lowest));
  const output = new Float32Array(Math.ceil(input.length * factor));
  const corners = timeCorners(onsets, input.length / rate, factor, (2 * hop) / rate);
  const rise = Float32Array.from({ length: hop }, (_, i) => 0.5 - 0.5 * Math.cos((Math.PI * (i + 0.5)) / hop));
  let corner = 0;
  let natural = 0; // where the piece before would go on
  for (let at = 0; at < output.length; at += hop) {
    const seconds = at / rate;
    while (corner + 2 < corners.length && corners[corner + 1][0] <= seconds) corner++;
    const [outA, inA] = corners[corner];
    const [outB, inB] = corners[corner + 1];
    const slope = outB > outA ? (inB - inA) / (outB - outA) : 1;
    const wanted = Math.max(0, Math.round((inA + (seconds - outA) * slope) * rate));
    const straight = Math.abs(slope - 1) < 0.01 && Math.abs(natural - wanted) < 3;
    const start = at === 0 ? 0 : straight ? natural : bestStart(input, natural, wanted, reach, hop);
    for (let i = 0; i < hop && at + i < output.length; i++) {
      const before = input[natural + i] || 0;
      output[at + i] = before + ((input[start + i] || 0) - before) * rise[i];
    }
    natural = start + hop;
  }
  return output;
}

/** Returns the semitones by which a note's moves shift it at a second; the shapes are those of the recordings. */
function bent(moves, at) {
  let sum = 0;
  for (const [start, end, change, shape] of moves) {
    if (at >= end) sum += shape === 0 || shape === 3 ? change : 0;
    else if (at >= start) {
      const share = (at - start) / (end - start);
      if (shape === 0) sum += change * (0.5 - 0.5 * Math.cos(Math.PI * share));
      else if (shape === 3) sum += change * share;
      else {
        const depth = (change / 2) * Math.min(1, (at - start) / 0.12, (end - at) / 0.05);
        const turn = 2 * Math.PI * 5.5 * (at - start);
        sum += shape === 1 ? depth - depth * Math.cos(turn) : -depth * Math.sin(turn);
      }
    }
  }
  return sum;
}

/** Returns plain plucked strings for `notes` (Karplus and Strong 1983), `seconds` long: what a page without a recording plays. */
function plucked(notes, seconds, rate) {
  const output = new Float32Array(Math.ceil(seconds * rate));
  let seed = 7; // the same noise on every machine
  for (const note of notes) {
    const first = Math.round(note.start * rate);
    const count = Math.min(Math.round((note.end - note.start) * rate), output.length - first);
    const pitch = note.pitch === null ? 45 : note.pitch;
    const fade = Math.max(1, Math.min(count / 3, 0.012 * rate));
    const tone = new Float32Array(Math.max(0, count));
    const burst = rate / (440 * 2 ** ((pitch - 69) / 12));
    const loss = note.pitch === null ? 0.9 : 0.5 ** (burst / rate / 0.35); // down to half in 0.35 s
    const strength = (note.joined ? 0.35 : 0.7) * note.loudness;
    let period = burst;
    for (let i = 0; i < count; i++) {
      if (i % 32 === 0) period = burst / 2 ** (bent(note.moves, note.start + i / rate) / 12);
      let sample = 0;
      if (i < burst) {
        seed = (seed * 16807) % 2147483647;
        sample = strength * (seed / 1073741824 - 1);
      }
      const back = i - period + 0.5;
      const whole = Math.floor(back);
      if (whole >= 1) {
        const part = back - whole;
        const here = tone[whole] + part * (tone[whole + 1] - tone[whole]);
        const before = tone[whole - 1] + part * (tone[whole] - tone[whole - 1]);
        sample += loss * 0.5 * (here + before);
      }
      tone[i] = sample;
      output[first + i] += sample * Math.min(1, (count - i) / fade) * 0.6;
    }
  }
  return output;
}
