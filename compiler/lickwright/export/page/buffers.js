// What the page plays: the score that stands in it, and for each take and speed its sound.
// In: the score and the recordings of the page. Out: buffers of the sound device. Everything is found by the ids that sections.py gives.

const byId = (id) => document.getElementById(id);
const score = JSON.parse(byId("score").textContent);
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
const asNotes = (take) =>
  take.notes.map(([event, string, fret, start, end, pitch, loudness, joined, moves]) => ({ event, string, fret, start, end, pitch, loudness, joined, moves }));
for (const take of score.takes) take.played = asNotes(take);

const RATE = 24000; // samples a second of plain tones
const buffers = new Map(); // by take and speed; the few used last
const recordings = new Map();

/** Gives the recording of a take, decoded once; null where the page holds none or the browser cannot read it. */
function recorded(context, number) {
  const block = byId(`take-${number}`);
  if (!block) return Promise.resolve(null);
  if (!recordings.has(number)) {
    const decoding = context.decodeAudioData(bytesOf(block.textContent)).catch(() => {
      byId("sound-said").textContent = "This browser cannot read the recording: it plays plain plucked tones.";
      return null;
    });
    recordings.set(number, decoding);
  }
  return recordings.get(number);
}

/** Gives the buffer of a take at a speed; null, for silence, where the browser cannot make it. */
async function audio(context, take, speed) {
  try {
    return await made(context, take, speed);
  } catch {
    byId("sound-said").textContent = "This browser makes no sound here: the line and the count go on in silence.";
    return null;
  }
}

async function made(context, take, speed) {
  const number = score.takes.indexOf(take);
  const name = `${number} ${speed}`;
  if (!buffers.has(name)) {
    const factor = take.percent / speed;
    const found = await recorded(context, number);
    const rate = found ? found.sampleRate : RATE;
    let samples;
    if (found) {
      const pitches = take.played.map((note) => note.pitch).filter((pitch) => pitch !== null);
      const lowest = 440 * 2 ** ((Math.min(69, ...pitches) - 69) / 12);
      samples = stretched(found.getChannelData(0), rate, factor, take.played.map((note) => note.start), Math.max(30, lowest));
    } else {
      const later = ([start, end, change, shape]) => [start * factor, end * factor, change, shape];
      const notes = take.played.map((note) => ({ ...note, start: note.start * factor, end: note.end * factor, moves: note.moves.map(later) }));
      samples = plucked(notes, Math.min(600, take.end * factor + 1), rate);
    }
    const buffer = context.createBuffer(1, samples.length, rate);
    buffer.copyToChannel(samples, 0);
    buffers.set(name, buffer);
    if (buffers.size > 4) buffers.delete(buffers.keys().next().value);
  }
  return buffers.get(name);
}

const transport = makeTransport(score, audio);
