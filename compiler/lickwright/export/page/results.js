// The pupil's results: a table of day, lick, tempo, score and bars to look at, which the pupil keeps in a file of their own, and how far each lick is.
// Reports of `lickwright listen` fill rows in, that on a folder one for each recording.

{
  const FORM = "lickwright results 1";
  const MOST = 2000; // rows
  const LONGEST = 200; // letters of a title
  const MOST_BARS = 64; // of a row
  const CLEAN = 95; // score from which on a take that was played through is clean; a tempo that the pupil enters is
  const progress = document.getElementById("results-progress");
  const table = document.getElementById("results-rows");
  const message = document.getElementById("results-message");
  const form = document.getElementById("results-add");
  const rows = new Map(); // by their text, so that no row is there twice
  let unsaved = false;

  // The day in this device's own time zone, as `2026-12-05`.
  const localDay = (milliseconds) => {
    const time = new Date(milliseconds);
    const digits = (number, count) => String(number).padStart(count, "0");
    return `${digits(time.getFullYear(), 4)}-${digits(time.getMonth() + 1, 2)}-${digits(time.getDate(), 2)}`;
  };

  const isResult = (row) =>
    row && isDay(row.day) && isText(row.lick) && row.lick.length <= LONGEST && row.bpm >= 1 && row.bpm <= 1000 && Number.isFinite(row.bpm) &&
    (row.score === null || (Number.isInteger(row.score) && row.score >= 0 && row.score <= 100)) &&
    (row.through === undefined || typeof row.through === "boolean") &&
    (row.bars === undefined || (Array.isArray(row.bars) && row.bars.length <= MOST_BARS && row.bars.every((bar) => Number.isInteger(bar) && bar >= 0)));

  const barWords = (bars) => bars.map((bar) => bar || "pick-up").join(", ");

  // How far a lick is: the highest tempo at which it was clean, and the bars that were most often to look at.
  const progressWords = (lick, results) => {
    const clean = results.filter((row) => row.score === null || (row.score >= CLEAN && row.through !== false));
    const best = clean.reduce((found, row) => (found && found.bpm >= row.bpm ? found : row), null);
    const counts = new Map();
    const told = results.filter((row) => row.bars);
    for (const bar of told.flatMap((row) => row.bars)) counts.set(bar, (counts.get(bar) || 0) + 1);
    const most = Math.max(0, ...counts.values());
    const bars = [...counts.keys()].filter((bar) => counts.get(bar) === most).sort((a, b) => a - b).slice(0, 3);
    const named = bars.map((bar) => (bar ? `bar ${bar}` : "the pick-up")).join(", ");
    const words = best ? `clean at ${best.bpm} so far, on ${best.day}` : "not clean yet";
    return `${lick}: ${words}${most ? `; most often to look at: ${named} (${most} of ${told.length} takes)` : ""}`;
  };

  const say = (troubles) => {
    const note = unsaved ? ["not saved yet: press Save results before you close this page"] : [];
    message.textContent = [...troubles, ...note].join("; ");
  };

  const draw = () => {
    const sorted = [...rows].sort(([, a], [, b]) => a.day.localeCompare(b.day));
    const licks = new Map();
    for (const [, row] of sorted) licks.set(row.lick, [...(licks.get(row.lick) || []), row]);
    progress.replaceChildren(
      ...[...licks].map(([lick, results]) => Object.assign(document.createElement("li"), { textContent: progressWords(lick, results) })),
    );
    table.replaceChildren(
      ...sorted.map(([key, row]) => {
        const line = document.createElement("tr");
        for (const value of [row.day, row.lick, row.bpm, row.score === null ? "" : row.score, barWords(row.bars || [])]) {
          line.append(Object.assign(document.createElement("td"), { textContent: String(value) }));
        }
        const away = Object.assign(document.createElement("button"), { type: "button", textContent: "\u00d7", title: "Remove" });
        away.setAttribute("aria-label", `Remove ${row.lick} at ${row.bpm} on ${row.day}`);
        away.addEventListener("click", () => {
          rows.delete(key);
          unsaved = true;
          draw();
          say([]);
        });
        line.append(Object.assign(document.createElement("td"), { className: "screen" }));
        line.lastChild.append(away);
        return line;
      }),
    );
  };

  // Whether there was room for the row.
  const add = ({ day, lick, bpm, score, bars, through }) => {
    const key = JSON.stringify({ day, lick, bpm, score });
    if (!rows.has(key) && rows.size >= MOST) return false;
    if (bars || !rows.has(key)) rows.set(key, { day, lick, bpm, score, bars, through });
    return true;
  };

  const resultOf = (report, day) => {
    const { bpm, score, remarks, pauses, skips, begun_again, breaks_off } = report.best;
    const jumps = [pauses, skips].flatMap((some) => (Array.isArray(some) ? some : [])).filter((jump) => jump && Number.isInteger(jump.bar));
    const bars = [...new Set([...remarks, ...jumps].map((one) => one.bar))].sort((a, b) => a - b).slice(0, MOST_BARS);
    const through = !jumps.length && !begun_again && !breaks_off;
    return { day: report.day || day, lick: report.title, bpm: Math.round(bpm), score: score.of_100, bars, through };
  };

  const judged = (value) => {
    const report = checkReport(value);
    if (report.refusal) throw new Error(report.refusal);
    return report;
  };

  // The results of a report on a folder of recordings; null for a recording that was not judged.
  const resultsOf = (recordings, day) =>
    recordings.map((entry) => {
      try {
        return resultOf(judged(entry.report), day);
      } catch {
        return null;
      }
    });

  // Adds what is in a file; throws an Error with words for what could not be taken.
  const take = (value, day) => {
    const own = value.format === FORM;
    if (own && !Array.isArray(value.results)) throw new Error("these results are damaged");
    const many = value.format === MANY && Array.isArray(value.recordings);
    const found = own ? value.results : many ? resultsOf(value.recordings, day) : [resultOf(judged(value), day)];
    const good = found.filter(isResult);
    const before = rows.size;
    const full = good.filter((row) => !add(row)).length;
    unsaved ||= rows.size > before && (!own || before > 0);
    if (good.length < found.length) throw new Error(`${found.length - good.length} of ${found.length} ${many ? "recordings were not judged" : "rows are damaged and left out"}`);
    if (full) throw new Error(`the table is full at ${MOST} rows, ${full} are left out`);
  };

  const open = async (files) => {
    const troubles = [];
    for (const file of files) {
      try {
        take(await readValue(file), localDay(file.lastModified));
      } catch (error) {
        const words = error.message === NO_REPORT ? "neither results nor a report of lickwright listen" : error.message;
        troubles.push(`${file.name}: ${words}`);
      }
    }
    draw();
    say(troubles);
  };
  document.getElementById("results-file").addEventListener("change", (event) => open(event.target.files));
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    open(event.dataTransfer.files);
  });
  window.addEventListener("beforeunload", (event) => {
    if (unsaved) event.preventDefault();
  });

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const data = new FormData(form);
    const row = { day: data.get("day"), lick: data.get("lick"), bpm: Number(data.get("bpm")), score: null };
    const taken = isResult(row) && add(row);
    unsaved ||= taken;
    draw();
    say(taken ? [] : ["this cannot be added: give a day, a lick and a tempo"]);
  });
  form.elements.day.value = localDay(Date.now());

  document.getElementById("results-save").addEventListener("click", () => {
    const text = `${JSON.stringify({ format: FORM, results: [...rows.values()] }, null, 1)}\n`;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = "results.json";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    unsaved = false;
    say([]);
  });
}
