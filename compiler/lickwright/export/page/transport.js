// Transport: plays a part of the lick at a speed, once or over and over, with a count-in, clicks, and room to answer.
// In: the score of the page and what the user chose. Out: sound, and `now()`, which says what is going on at this moment.
// All is planned ahead on the clock of the sound device, so clicks, loops and what is lit keep together.

const AHEAD = 2.5; // seconds that are planned ahead: a page that is not looked at wakes once a second
const SLOW_UNTIL = 75; // per cent up to which the slow recording is nearer

/** Makes the transport of a score; `audio(take, speed)` gives a promise of a buffer, or of null for silence. */
function makeTransport(score, audio) {
  const chosen = { speed: 100, from: 0, to: score.takes[0].bars.length - 1, again: false, countIn: true, click: false, answer: false };
  let context = null;
  let turns = []; // what is planned: {kind, start, end, from, to} in seconds of the clock and of the take
  let sources = [];
  let clicking = null; // the gain of the click
  let timer = 0;
  let run = 0; // number of the present run: what an earlier one still does is dropped
  let plan = null; // {take, rate, buffer, next, done}
  let rest = null; // where it was paused: {bar, share}; null for the beginning of the part

  const takeAt = (speed) => (speed <= SLOW_UNTIL && score.takes[1]) || score.takes[0];
  const rateAt = (speed) => speed / takeAt(speed).percent;
  const clock = () => (context ? context.currentTime : performance.now() / 1000);
  const delay = () => (context ? context.outputLatency || context.baseLatency || 0 : 0);
  const barStart = (take, bar) => (bar < take.bars.length ? take.bars[bar].at : take.end);
  const part = (take) => [barStart(take, chosen.from), barStart(take, chosen.to + 1)];

  /** Returns the second of a take for a bar and a share of it. */
  function secondOf(take, place) {
    const start = barStart(take, place.bar);
    return start + place.share * (barStart(take, place.bar + 1) - start);
  }

  function placeOf(take, second) {
    let bar = take.bars.length - 1;
    while (bar > 0 && take.bars[bar].at > second + 1e-6) bar--;
    const start = take.bars[bar].at;
    const length = barStart(take, bar + 1) - start;
    return { bar, share: Math.min(0.999, Math.max(0, length > 0 ? (second - start) / length : 0)) };
  }

  function open() {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (context || !Context) return;
    try {
      context = new Context();
    } catch {
      return; // no sound device: all goes on in silence
    }
    clicking = context.createGain();
    clicking.connect(context.destination);
    setClick();
  }

  function setClick() {
    if (clicking) clicking.gain.value = chosen.click ? 1 : 0;
  }

  /** Plans one click of the clock; those of a count-in are heard whatever the switch says. */
  function beep(at, first, always) {
    if (!context || at < context.currentTime - 0.01) return;
    const tone = context.createOscillator();
    const gain = context.createGain();
    tone.frequency.value = first ? 1480 : 1110;
    gain.gain.setValueAtTime(0.0001, at);
    gain.gain.exponentialRampToValueAtTime(0.25, at + 0.002);
    gain.gain.exponentialRampToValueAtTime(0.0001, at + 0.05);
    tone.connect(gain).connect(always ? context.destination : clicking);
    tone.start(at);
    tone.stop(at + 0.06);
    sources.push({ node: tone, end: at + 0.06 });
  }

  function sound(turn, last) {
    if (!plan.buffer) return;
    const source = context.createBufferSource();
    const gain = context.createGain();
    const end = last ? turn.start + plan.buffer.duration - turn.from / plan.rate : turn.end;
    source.buffer = plan.buffer;
    gain.gain.setValueAtTime(0, turn.start);
    gain.gain.linearRampToValueAtTime(1, turn.start + 0.004);
    gain.gain.setValueAtTime(1, Math.max(turn.start + 0.004, end - 0.015));
    gain.gain.linearRampToValueAtTime(0, end);
    source.connect(gain).connect(context.destination);
    source.start(turn.start, turn.from / plan.rate);
    source.stop(end);
    sources.push({ node: source, end });
  }

  /** Plans a turn: `kind` is "lead" (count-in), "music" or "answer". */
  function add(kind, from, to, last) {
    const turn = { kind, start: plan.next, end: plan.next + (to - from) / plan.rate, from, to };
    if (kind === "music") sound(turn, last);
    const beats = plan.take.clicks.filter(([at]) => at >= from - 0.001 && at < to - 0.001);
    turn.clicks = beats.map(([at, first]) => [turn.start + (at - from) / plan.rate, first]);
    turns.push(turn);
    plan.next = turn.end;
  }

  /** Plans the count-in before a second of the take: that of the beginning where the music begins there, else a bar of beats. */
  function addLead(second) {
    const take = plan.take;
    const atStart = Math.abs(second - take.bars[0].at) < 0.001;
    const beats = atStart ? take.lead.map(([at, first]) => [at - take.bars[0].at, first]) : barBeats(take, second);
    if (!beats.length) return;
    const length = -beats[0][0];
    beats.forEach(([at, first]) => beep(plan.next + (at + length) / plan.rate, first, true));
    const turn = { kind: "lead", start: plan.next, end: plan.next + length / plan.rate, from: second, to: second };
    turn.beats = beats.map(([at]) => plan.next + (at + length) / plan.rate);
    turns.push(turn);
    plan.next = turn.end;
  }

  /** Returns a bar of beats before a second in the middle of the lick, as seconds before it. */
  function barBeats(take, second) {
    const whole = take.lead.length && take.bars[0].name !== "0" ? take.lead.length : Math.max(1, Math.round(take.clicks.length / take.bars.length));
    return Array.from({ length: whole }, (_, n) => [-take.bar + (n * take.bar) / whole, n === 0 ? 1 : 0]);
  }

  function fill() {
    while (plan && !plan.done && plan.next < clock() + AHEAD) {
      const [from, to] = part(plan.take);
      const start = plan.begin === null || plan.begin >= to - 0.01 ? from : plan.begin;
      plan.begin = null;
      const last = !chosen.again && !chosen.answer;
      add("music", start, to, last);
      if (chosen.answer) add("answer", start, to, false);
      plan.done = !chosen.again;
    }
    for (const turn of turns) {
      while (turn.clicks && turn.clicks.length && turn.clicks[0][0] < clock() + AHEAD) beep(...turn.clicks.shift(), false);
    }
    sources = sources.filter((source) => source.end > clock() - 1);
    turns = turns.filter((turn) => turn.end > clock() - 5);
  }

  function silence() {
    clearInterval(timer);
    for (const source of sources) {
      try {
        source.node.stop();
      } catch {
        // it has not begun, or has ended
      }
    }
    sources = [];
    turns = [];
  }

  /** Begins to play from where it was paused, else from the beginning of the part. Gives a promise that ends when it plays. */
  async function play(counted = chosen.countIn) {
    const mine = ++run;
    silence();
    open();
    if (context && context.state === "suspended") await context.resume();
    const take = takeAt(chosen.speed);
    const buffer = context ? await audio(context, take, chosen.speed) : null;
    if (mine !== run) return false;
    plan = { take, rate: rateAt(chosen.speed), buffer, next: clock() + 0.12, done: false, begin: rest ? secondOf(take, rest) : null };
    if (counted) addLead(plan.begin === null ? part(take)[0] : plan.begin);
    fill();
    timer = setInterval(fill, 250);
    return true;
  }

  function pause() {
    const moment = now();
    run++;
    silence();
    if (plan && moment.kind !== "ended" && moment.kind !== "still" && moment.kind !== "ready") rest = placeOf(plan.take, moment.second);
    plan = null;
  }

  /** Says what is going on: {kind, take, second, beat}; kind is "still", "ready" (about to begin), "lead", "music", "answer" or "ended". */
  function now() {
    const take = plan ? plan.take : takeAt(chosen.speed);
    const still = rest ? secondOf(take, rest) : part(take)[0];
    if (!plan) return { kind: "still", take, second: still, beat: 0 };
    const at = clock() - delay();
    const turn = turns.find((one) => at < one.end);
    if (!turn) return plan.done ? { kind: "ended", take, second: part(take)[0], beat: 0 } : { kind: "still", take, second: still, beat: 0 };
    if (at < turn.start) return { kind: "ready", take, second: turn.from, beat: 0 };
    const beat = turn.beats ? turn.beats.filter((one) => one <= at).length : 0;
    const second = turn.kind === "lead" ? turn.from : turn.from + (at - turn.start) * plan.rate;
    return { kind: turn.kind, take, second, beat };
  }

  /** Changes what is chosen; what plays goes on from where it is. */
  function choose(changes) {
    const moment = plan && now();
    const moved = "from" in changes || "to" in changes;
    Object.assign(chosen, changes);
    setClick();
    if (moved) rest = null;
    if (!moment || Object.keys(changes).every((name) => name === "click" || name === "countIn")) return Promise.resolve();
    if (!moved) rest = placeOf(moment.take, moment.second);
    return play(false);
  }

  function goTo(bar) {
    const playing = plan !== null;
    rest = { bar: Math.max(chosen.from, Math.min(chosen.to, bar)), share: 0 };
    return playing ? play(false) : Promise.resolve();
  }

  function end() {
    run++;
    silence();
    plan = null;
    rest = null;
  }

  return { chosen, choose, play, pause, end, now, goTo, takeAt, rateAt, isPlaying: () => plan !== null };
}
