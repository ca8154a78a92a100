// The pupil's results: a table of day, lick, tempo and score, which the pupil keeps in a file of their own. Reports of `lickwright listen` fill rows in.

{
  const FORM = "lickwright results 1";
  const MOST = 2000; // rows
  const LONGEST = 200; // letters of a title
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
    (row.score === null || (Number.isInteger(row.score) && row.score >= 0 && row.score <= 100));

  const say = (troubles) => {
    const note = unsaved ? ["not saved yet: press Save results before you close this page"] : [];
    message.textContent = [...troubles, ...note].join("; ");
  };

  const draw = () => {
    const sorted = [...rows].sort(([, a], [, b]) => a.day.localeCompare(b.day));
    table.replaceChildren(
      ...sorted.map(([key, row]) => {
        const line = document.createElement("tr");
        for (const value of [row.day, row.lick, row.bpm, row.score === null ? "" : row.score]) {
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
  const add = ({ day, lick, bpm, score }) => {
    const row = { day, lick, bpm, score };
    const key = JSON.stringify(row);
    if (!rows.has(key) && rows.size >= MOST) return false;
    rows.set(key, row);
    return true;
  };

  // Adds what is in a file; throws an Error with words for what could not be taken.
  const take = (value, day) => {
    const own = value.format === FORM;
    if (own && !Array.isArray(value.results)) throw new Error("these results are damaged");
    const report = own ? null : checkReport(value);
    if (report && report.refusal) throw new Error(report.refusal);
    const found = own ? value.results : [{ day: report.day || day, lick: report.title, bpm: Math.round(report.best.bpm), score: report.best.score.of_100 }];
    const good = found.filter(isResult);
    const before = rows.size;
    const full = good.filter((row) => !add(row)).length;
    unsaved ||= rows.size > before && (!own || before > 0);
    if (good.length < found.length) throw new Error(`${found.length - good.length} of ${found.length} rows are damaged and left out`);
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
