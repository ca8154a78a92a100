// The controls of the page: the button, the choices, the part to play, by pointer and by keyboard.

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
  const words = `${Math.round(percent)} %, ${bpm < 100 ? bpm.toFixed(1).replace(/\.0$/, "") : Math.round(bpm)}`;
  byId("speed-said").textContent = `${words} bpm`;
  speed.setAttribute("aria-valuetext", `${words} beats a minute`);
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

function showPart(from = transport.chosen.from, to = transport.chosen.to) {
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

/** Loops bars as played at so many beats a minute, with the count-in that is chosen; what loops so already is paused. */
async function loopBars(from, to, bpm) {
  const { chosen } = transport;
  const playing = transport.isPlaying();
  if (playing) toggle();
  if (playing && chosen.again && chosen.from === from && chosen.to === to && Math.abs((score.bpm * chosen.speed) / 100 - bpm) < 0.3) return;
  byId("again").checked = true;
  await choose({ from, to, again: true });
  await setSpeed((100 * bpm) / score.bpm);
  toggle();
}

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

let drag = null; // {pointer, began, bar, moved}: the bars where a drag began and where it is; null while there is none

music.addEventListener("pointerdown", (event) => {
  look();
  if (event.button !== 0 || !event.isPrimary || !shown) return;
  const bar = barNear(event.clientX, event.clientY);
  if (bar === null) return;
  drag = { pointer: event.pointerId, began: bar, bar, moved: false };
  music.setPointerCapture(event.pointerId); // it may end beside the music
});
music.addEventListener("pointermove", (event) => {
  if (!drag || event.pointerId !== drag.pointer) return;
  const bar = barNear(event.clientX, event.clientY);
  if (bar === null || bar === drag.bar) return;
  drag.bar = bar;
  drag.moved = true;
  showPart(Math.min(drag.began, bar), Math.max(drag.began, bar));
});
music.addEventListener("pointercancel", () => {
  drag = null; // the page is scrolled or zoomed
  showPart();
});
music.addEventListener("pointerup", (event) => {
  if (!drag || event.pointerId !== drag.pointer) return;
  const { began, bar, moved } = drag;
  drag = null;
  if (moved) choosePart(began, bar);
  else transport.goTo(bar).then(() => choose({}));
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

// ---- the way back to the index page, which says at the end of its links how many folders above the page it lies

const above = /^#up-([0-9]{1,2})$/.exec(window.location.hash);
if (above) {
  const link = byId("index-link");
  link.setAttribute("href", "../".repeat(Number(above[1])) + link.getAttribute("href"));
  byId("back").hidden = false;
}

// ---- on paper the legend is always there

const legend = document.getElementById("marks");
let wasOpen = false;
if (legend) {
  window.addEventListener("beforeprint", () => {
    wasOpen = legend.open;
    legend.open = true;
  });
  window.addEventListener("afterprint", () => {
    legend.open = wasOpen;
  });
}
