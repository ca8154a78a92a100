// The page: controls, lit notes, the line that goes along the music, the count, the neck.
// In: the score that stands in the page. Everything is found by the ids that sections.py gives.

const byId = (id) => document.getElementById(id);
const score = JSON.parse(byId("score").textContent);
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
const asNotes = (take) =>
  take.notes.map(([event, string, fret, start, end, pitch, loudness, joined, moves]) => ({ event, string, fret, start, end, pitch, loudness, joined, moves }));
for (const take of score.takes) take.played = asNotes(take);

// ---- sound

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

// ---- the music: where each event stands, on the drawing that is shown

const music = byId("music");
let shown = null; // {svg, line, events: Map of event to elements, spots: Map of bar and instant to {x, top, bottom, right}}

function look() {
  const svg = [...music.querySelectorAll("svg")].find((one) => one.getClientRects().length > 0);
  if (!svg || (shown && shown.svg === svg)) return;
  if (shown) shown.line.remove();
  lightNotes(score.takes[0], 0, false);
  const events = new Map();
  for (const element of svg.querySelectorAll("[data-event]")) {
    const event = Number(element.dataset.event);
    if (!events.has(event)) events.set(event, []);
    events.get(event).push(element);
  }
  const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
  line.setAttribute("class", "now");
  line.setAttribute("visibility", "hidden");
  svg.append(line);
  shown = { svg, line, events, spots: spotsOf(svg) };
  draw();
}

/** Returns where each instant of each written bar stands, by `BAR AT`. */
function spotsOf(svg) {
  const spots = new Map();
  const right = svg.viewBox.baseVal.width;
  for (const system of svg.querySelectorAll('[data-role="system"]')) {
    const matrix = system.transform.baseVal.consolidate();
    const y = matrix ? matrix.matrix.f : 0;
    const [top, bottom] = [y + Number(system.dataset.top) - 6, y + Number(system.dataset.bottom) + 6];
    for (const instant of (system.dataset.instants || "").split(";").filter(Boolean)) {
      const [bar, at, x] = instant.split(" ");
      spots.set(`${bar} ${at}`, { bar: Number(bar), x: Number(x), top, bottom, right });
    }
  }
  return spots;
}

/** Returns the instants of a take in order: {second, spot}. */
function instantsOf(take) {
  if (take.spotted !== shown) {
    take.spotted = shown;
    take.instants = take.bars.flatMap((bar) =>
      bar.instants.map(([second, at]) => ({ second, spot: shown.spots.get(`${bar.written} ${at}`) })).filter((one) => one.spot),
    );
  }
  return take.instants;
}

/** Returns the index of the last of `items` whose `second` is not after a second; -1 where none is. */
function lastBefore(items, second) {
  let low = 0;
  let high = items.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (items[middle].second <= second + 1e-6) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/** Returns where the line stands at a second of a take: between the instant before and the next one on its line of music. */
function spotAt(take, second) {
  const instants = instantsOf(take);
  if (!instants.length) return null;
  const index = Math.max(0, lastBefore(instants, second));
  const before = instants[index];
  const after = instants[index + 1];
  const end = after ? after.second : take.end;
  const share = end > before.second ? Math.min(1, Math.max(0, (second - before.second) / (end - before.second))) : 0;
  const onward = after && after.spot.top === before.spot.top && after.spot.x > before.spot.x;
  const goal = onward ? after.spot.x : before.spot.right - 2;
  return { ...before.spot, x: calm.matches ? before.spot.x : before.spot.x + share * (goal - before.spot.x) };
}

// ---- what is lit

const lit = new Map(); // note to its elements
const neck = byId("neck");
const fingers = new Map([...document.querySelectorAll(".finger")].map((one) => [Number(one.dataset.string), one]));

function lightNotes(take, second, sounding) {
  const wanted = new Set(sounding ? take.played.filter((note) => note.start <= second && second < note.end) : []);
  for (const [note, elements] of lit) {
    if (wanted.has(note)) continue;
    for (const element of elements) element.classList.remove("lit");
    lit.delete(note);
  }
  for (const note of wanted) {
    if (lit.has(note)) continue;
    const place = neck && note.fret !== null ? neck.querySelector(`[data-place="${note.string}-${note.fret}"]`) : null;
    const elements = [...((shown && shown.events.get(note.event)) || []), ...(place ? [place] : [])];
    lit.set(note, elements);
  }
  for (const elements of lit.values()) for (const element of elements) element.classList.add("lit");
  moveFingers(wanted, second);
}

/** Puts a finger on each string that sounds: a bend pushes it across the neck, a slide takes it along. */
function moveFingers(sounding, second) {
  const busy = new Set();
  for (const note of sounding) {
    const finger = fingers.get(note.string);
    if (!finger || note.fret === null) continue;
    busy.add(note.string);
    const { first, step, low, open, gap } = Object.fromEntries(Object.entries(neck.dataset).map(([name, value]) => [name, Number(value)]));
    const slides = note.moves.filter((move) => move[3] === 3);
    const others = note.moves.filter((move) => move[3] !== 3);
    const along = calm.matches ? 0 : bent(slides, second);
    const across = calm.matches ? 0 : Math.max(-2, Math.min(4, bent(others, second)));
    const x = note.fret === 0 ? open : first + (note.fret - low + along) * step;
    const way = note.string > score.strings / 2 ? -1 : 1; // thick strings are bent towards the thin ones, the others away
    finger.setAttribute("transform", `translate(${x.toFixed(1)} ${(across * way * gap * 0.28).toFixed(1)})`);
    finger.setAttribute("visibility", "visible");
  }
  for (const [string, finger] of fingers) if (!busy.has(string)) finger.setAttribute("visibility", "hidden");
}

const count = byId("count");
let counted = ""; // what the count shows now, to write it only when it changes

function showCount(moment) {
  const words = moment.kind === "lead" ? leadWords(moment) : barWords(moment);
  const name = words.map(([word, on]) => (on ? `[${word}]` : word)).join(" ");
  if (name === counted) return;
  counted = name;
  count.replaceChildren(
    ...words.map(([word, on]) => {
      const span = document.createElement("span");
      span.textContent = word;
      if (on) span.className = "lit";
      return span;
    }),
  );
}

function leadWords(moment) {
  const beats = moment.take.lead.length || 4;
  return Array.from({ length: Math.max(beats, moment.beat) }, (_, n) => [String(n + 1), n + 1 === moment.beat]);
}

function barWords(moment) {
  const bar = moment.take.bars[barAt(moment.take, moment.second)];
  const said = bar ? bar.instants.filter((instant) => instant[2] !== "") : [];
  const playing = moment.kind === "music" || moment.kind === "answer";
  return said.map(([at, , word], n) => [word, playing && at <= moment.second + 1e-6 && (n + 1 === said.length || said[n + 1][0] > moment.second + 1e-6)]);
}

/** Returns the index of the bar as played at a second of a take. */
function barAt(take, second) {
  let bar = take.bars.length - 1;
  while (bar > 0 && take.bars[bar].at > second + 1e-6) bar--;
  return bar;
}

// ---- the state of the player

const button = byId("play");
const status = byId("status");
const WORDS = { still: "Paused.", lead: "Counting in.", music: "Playing.", answer: "Your turn.", ended: "Ready." };

function say(words) {
  if (status.textContent !== words) status.textContent = words;
}

function draw() {
  const moment = transport.now();
  if (moment.kind === "ended") transport.end();
  const playing = moment.kind === "music" || moment.kind === "answer" || moment.kind === "lead";
  lightNotes(moment.take, moment.second, moment.kind === "music" || moment.kind === "answer");
  showCount(moment);
  document.body.dataset.turn = moment.kind;
  if (shown) {
    const spot = spotAt(moment.take, moment.second);
    shown.line.setAttribute("visibility", spot && (playing || moment.second > 0.01) ? "visible" : "hidden");
    if (spot) {
      for (const [name, value] of [["x1", 0], ["x2", 0], ["y1", spot.top], ["y2", spot.bottom]]) shown.line.setAttribute(name, value);
      shown.line.setAttribute("transform", `translate(${spot.x.toFixed(2)} 0)`);
    }
  }
  return moment;
}

let frame = 0;

function follow() {
  const moment = draw();
  if (transport.isPlaying()) {
    if (moment.kind in WORDS && moment.kind !== "still") say(WORDS[moment.kind]);
    keepInView();
    frame = requestAnimationFrame(follow);
  } else {
    button.textContent = "Play";
    say(WORDS[moment.kind]);
  }
}

let viewed = -1; // top of the line of music that was brought into view last

function keepInView() {
  if (!shown || shown.line.getAttribute("visibility") === "hidden") return;
  const top = Number(shown.line.getAttribute("y1"));
  if (top === viewed) return;
  viewed = top;
  const box = shown.line.getBoundingClientRect();
  const covered = byId("player").getBoundingClientRect().bottom;
  if (box.bottom > window.innerHeight || box.top < Math.max(0, covered)) {
    shown.line.scrollIntoView({ block: "center", behavior: calm.matches ? "auto" : "smooth" });
  }
}

async function toggle() {
  if (transport.isPlaying()) {
    transport.pause();
    cancelAnimationFrame(frame);
    button.textContent = "Play";
    draw();
    say(WORDS.still);
    return;
  }
  button.textContent = "Pause";
  say("Getting ready.");
  cancelAnimationFrame(frame);
  if (await transport.play()) follow();
}

button.addEventListener("click", toggle);
button.disabled = false;

// ---- the choices

const speed = byId("speed");

function showSpeed(percent) {
  const bpm = (score.bpm * percent) / 100;
  const words = `${Math.round(percent)} %, ${bpm < 100 ? bpm.toFixed(1).replace(/\.0$/, "") : Math.round(bpm)} beats a minute`;
  byId("speed-said").textContent = words;
  speed.setAttribute("aria-valuetext", words);
  for (const rung of document.querySelectorAll(".rung")) {
    rung.setAttribute("aria-pressed", String(Math.abs(Number(rung.dataset.bpm) - bpm) < 0.3));
  }
}

async function choose(changes) {
  await transport.choose(changes);
  showSpeed(transport.chosen.speed);
  showPart();
  cancelAnimationFrame(frame);
  if (transport.isPlaying()) follow();
  else draw();
}

speed.addEventListener("input", () => showSpeed(Number(speed.value)));
speed.addEventListener("change", () => setSpeed(Number(speed.value)));

function setSpeed(value) {
  const percent = Math.max(Number(speed.min), Math.min(Number(speed.max), value));
  speed.value = String(percent);
  return choose({ speed: percent });
}

for (const [id, name] of [["again", "again"], ["count-in", "countIn"], ["click", "click"], ["answer", "answer"]]) {
  const box = byId(id);
  box.addEventListener("change", () => choose({ [name]: box.checked }));
  transport.chosen[name] = box.checked; // a browser may keep what was chosen when a page is opened again
}
for (const rung of document.querySelectorAll(".rung")) {
  rung.addEventListener("click", () => setSpeed((100 * Number(rung.dataset.bpm)) / score.bpm));
}

// ---- the part to play

const first = byId("from");
const last = byId("to");

function choosePart(from, to) {
  const most = score.takes[0].bars.length - 1;
  const low = Math.max(0, Math.min(most, Math.min(from, to)));
  const high = Math.max(0, Math.min(most, Math.max(from, to)));
  return choose({ from: low, to: high });
}

function showPart() {
  const { from, to } = transport.chosen;
  first.value = String(from);
  last.value = String(to);
  if (!shown) return;
  const whole = from === 0 && to === score.takes[0].bars.length - 1;
  const inside = new Set();
  const take = score.takes[0];
  const end = to + 1 < take.bars.length ? take.bars[to + 1].at : Infinity;
  for (const note of take.played) if (note.start >= take.bars[from].at - 0.12 && note.start < end - 0.001) inside.add(note.event);
  for (const [event, elements] of shown.events) {
    for (const element of elements) element.classList.toggle("outside", !whole && !inside.has(event));
  }
}

first.addEventListener("change", () => choosePart(Number(first.value), Math.max(Number(first.value), Number(last.value))));
last.addEventListener("change", () => choosePart(Math.min(Number(first.value), Number(last.value)), Number(last.value)));

/** Returns the first bar as played that stands at a point of the screen; null where there is none. */
function barNear(x, y) {
  const at = new DOMPoint(x, y).matrixTransform(shown.svg.getScreenCTM().inverse());
  const far = (spot) => Math.max(0, spot.top - at.y, at.y - spot.bottom);
  const spots = [...shown.spots.values()];
  const least = Math.min(...spots.map(far));
  const onLine = spots.filter((spot) => far(spot) === least);
  const before = onLine.filter((spot) => spot.x <= at.x + 8);
  const found = before.length ? before[before.length - 1] : onLine[0];
  const bar = found ? score.takes[0].bars.findIndex((one) => one.written === found.bar) : -1;
  return bar < 0 ? null : bar;
}

let dragged = null; // the bar where a drag began

music.addEventListener("pointerdown", (event) => {
  look();
  if (event.button === 0 && shown) dragged = barNear(event.clientX, event.clientY);
});
music.addEventListener("pointercancel", () => {
  dragged = null; // the page is scrolled
});
music.addEventListener("pointerup", (event) => {
  if (dragged === null) return;
  const bar = barNear(event.clientX, event.clientY);
  const began = dragged;
  dragged = null;
  if (bar === null) return;
  if (bar === began) transport.goTo(bar).then(() => choose({}));
  else choosePart(began, bar);
});
music.addEventListener("keydown", (event) => {
  const { from, to } = transport.chosen;
  const moment = transport.now();
  const bar = barAt(moment.take, moment.second);
  const actions = {
    ArrowLeft: () => transport.goTo(bar - 1).then(() => choose({})),
    ArrowRight: () => transport.goTo(bar + 1).then(() => choose({})),
    " ": toggle,
    Escape: () => choosePart(0, score.takes[0].bars.length - 1),
  };
  const growing = {
    ArrowLeft: () => choosePart(from, Math.max(from, to - 1)),
    ArrowRight: () => choosePart(from, to + 1),
  };
  const action = (event.shiftKey ? growing : actions)[event.key];
  if (!action || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  action();
});

new ResizeObserver(() => {
  look();
  showPart();
}).observe(music);
look();
showPart();
setSpeed(Number(speed.value));
