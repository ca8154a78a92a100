// What the page shows of a moment: the line along the music, the lit notes, the fingers on the neck, the count.
// In: a moment of the transport. Nothing here knows the controls.

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
