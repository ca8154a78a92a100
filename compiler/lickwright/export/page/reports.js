// Files that pages read: reports of `lickwright listen`, and the pupil's results. Anybody may have made such a file, so nothing of it is shown that was not
// checked here. They are read on this device and go nowhere.

const LARGEST = 4 << 20; // bytes
const MANY = "lickwright listening reports 1"; // the format of a report on a folder of recordings
const NO_REPORT = "this is not a report of lickwright listen";

const isText = (value) => typeof value === "string";
const areTexts = (value) => Array.isArray(value) && value.every(isText);
const isPlace = (one) =>
  one && Number.isInteger(one.bar) && isText(one.beat) && isText(one.words) && (one.place === undefined || isText(one.place));
// A day as `2026-12-05`.
const isDay = (day) => isText(day) && /^\d{4}-\d{2}-\d{2}$/.test(day) && !Number.isNaN(Date.parse(day));
const isScore = (one) => one && [one.of_100, one.right, one.notes].every(Number.isInteger);
const isPass = (one) =>
  one && Number.isFinite(one.bpm) && isScore(one.score) && Array.isArray(one.remarks) && one.remarks.every(isPlace);

const isStep = (one) =>
  one && isText(one.words) && Array.isArray(one.bars) && one.bars.every((run) => run && [run.from, run.to].every(Number.isInteger)) &&
  (one.bpm === null || (Number.isFinite(one.bpm) && one.bpm > 0));

// The value in a file. Throws an Error with words for the reader.
const readValue = async (file) => {
  if (file.size > LARGEST) throw new Error("the file is too large");
  let value = null;
  try {
    value = JSON.parse(await file.text());
  } catch (error) {
    if (!(error instanceof SyntaxError)) throw new Error("the file cannot be read");
  }
  if (value === null || typeof value !== "object") throw new Error(NO_REPORT);
  return value;
};

// What pages show of a report on one recording: its best pass, or why there is none. Throws an Error with words for the reader.
const checkReport = (value) => {
  if (value.format === MANY) throw new Error("this is about many recordings: open the report of one");
  if (value.format !== "lickwright listening report 1" || !isText(value.title)) throw new Error(NO_REPORT);
  // What reports of versions 1.0 and 1.1 have not, or not always.
  const [caution, headline, counts, by_bar] = [value.caution, value.headline, value.counts, value.by_bar].map((one) => (isText(one) ? one : ""));
  const hints = areTexts(value.hints) ? value.hints.filter((hint) => hint) : [];
  const { title, refusal, praise, facts, practice } = value;
  const lick = isText(value.lick) ? value.lick : title;
  if (refusal && isText(refusal)) return { title, lick, refusal, hints, caution };
  const best = Array.isArray(value.passes) ? value.passes[value.best] : null;
  if (!isPass(best) || !isText(praise) || !areTexts(facts) || !areTexts(practice)) throw new Error(NO_REPORT);
  const plain = practice.map((words) => ({ words, bars: [], bpm: null }));
  const steps = Array.isArray(value.practice_steps) && value.practice_steps.every(isStep) ? value.practice_steps : plain;
  const notes = areTexts(value.notes) ? value.notes : [];
  const untold = [best.not_told, value.never_judged].flatMap((one) => (areTexts(one) ? one : []));
  const day = isDay(value.recorded_on) ? value.recorded_on : null;
  return { title, lick, day, caution, best, headline, counts, by_bar, praise, facts: [...notes, ...facts], steps, untold };
};
