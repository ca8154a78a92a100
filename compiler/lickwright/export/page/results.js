// The pupil's results: a table of day, lick, tempo and score, which the pupil keeps in a file of their own. Reports of `lickwright listen` fill rows in.

{
  const FORM = "lickwright results 1";
  const MOST = 4 << 20; // bytes
  const table = document.getElementById("results-rows");
  const message = document.getElementById("results-message");
  let rows = [];

  const valid = (row) =>
    typeof row.day === "string" && /^\d{4}-\d{2}-\d{2}$/.test(row.day) && typeof row.lick === "string" && Number.isFinite(row.bpm) &&
    (row.score === null || Number.isFinite(row.score));

  const draw = () => {
    rows.sort((a, b) => a.day.localeCompare(b.day));
    table.replaceChildren(
      ...rows.map((row) => {
        const line = document.createElement("tr");
        for (const value of [row.day, row.lick, row.bpm, row.score === null ? "" : row.score]) {
          line.append(Object.assign(document.createElement("td"), { textContent: String(value) }));
        }
        return line;
      }),
    );
  };

  const add = (row) => {
    if (!rows.some((one) => JSON.stringify(one) === JSON.stringify(row))) rows.push(row);
  };

  const take = (value, day) => {
    if (value.format === FORM) return value.results.filter(valid).map(({ day, lick, bpm, score }) => ({ day, lick, bpm, score }));
    if (value.format !== "lickwright listening report 1") throw new Error("neither results nor a report of lickwright listen");
    if (!value.recognized) throw new Error(String(value.refusal));
    const best = value.passes[value.best];
    return [{ day, lick: String(value.title), bpm: Math.round(best.bpm), score: best.score.of_100 }].filter(valid);
  };

  document.getElementById("results-file").addEventListener("change", async (event) => {
    const troubles = [];
    for (const file of event.target.files) {
      try {
        if (file.size > MOST) throw new Error("the file is too large");
        take(JSON.parse(await file.text()), new Date(file.lastModified).toISOString().slice(0, 10)).forEach(add);
      } catch (error) {
        const known = error instanceof SyntaxError || error instanceof TypeError;
        troubles.push(`${file.name}: ${known ? "neither results nor a report of lickwright listen" : error.message}`);
      }
    }
    message.textContent = troubles.join("; ");
    draw();
  });

  document.getElementById("results-add").addEventListener("submit", (event) => {
    event.preventDefault();
    const form = new FormData(event.target);
    const row = { day: form.get("day"), lick: form.get("lick"), bpm: Number(form.get("bpm")), score: null };
    if (valid(row)) add(row);
    draw();
  });

  document.getElementById("results-save").addEventListener("click", () => {
    const text = `${JSON.stringify({ format: FORM, results: rows }, null, 1)}\n`;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = "results.json";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });
}
