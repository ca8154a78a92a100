// What was heard of a recording: shows a report that `lickwright listen --report` wrote.

{
  const shown = byId("heard-report");
  const place = shown.closest("section");
  const chosen = byId("heard-file");
  const said = (name, words) => Object.assign(document.createElement(name), { textContent: words });
  const list = (name, lines) => {
    const element = document.createElement(name);
    element.append(...lines.map((line) => said("li", line)));
    return element;
  };
  const MOST_LOOPS = 4; // buttons of one thing to practice
  const bars = score.takes[0].bars.map((bar) => Number(bar.name));

  // The shortest stretch of bars as played from one written bar to another with all between them; null where there is none.
  const stretch = ({ from, to }) => {
    const wanted = new Set(bars.filter((bar) => from <= bar && bar <= to));
    let found = null;
    bars.forEach((bar, first) => {
      if (bar !== from) return;
      const left = new Set(wanted);
      for (let last = first; last < bars.length && !(found && found[1] - found[0] <= last - first); last++) {
        left.delete(bars[last]);
        if (bars[last] === to && !left.size) found = [first, last];
      }
    });
    return found;
  };

  const named = ({ from, to }) => {
    if (from === to) return from ? `bar ${from}` : "the pick-up";
    return from ? `bars ${from} to ${to}` : `the pick-up to bar ${to}`;
  };

  // A thing to practice, with a button for each run of its bars that this page can play.
  const practiced = (step, own) => {
    const element = said("li", step.words);
    const runs = own && step.bpm ? step.bars.filter(stretch).slice(0, MOST_LOOPS) : [];
    if (!runs.length) return element;
    const bpm = Math.max((score.bpm * speed.min) / 100, Math.min((score.bpm * speed.max) / 100, step.bpm));
    const loops = Object.assign(document.createElement("p"), { className: "loops screen" });
    for (const run of runs) {
      const button = Object.assign(said("button", `Loop ${named(run)} at ${Math.round(bpm)}`), { type: "button" });
      button.addEventListener("click", () => loopBars(...stretch(run), bpm));
      loops.append(button);
    }
    element.append(loops);
    return element;
  };

  const begun = (words) => `${words[0].toUpperCase()}${words.slice(1)}`;
  const sentence = (words) => `${begun(words)}.`;

  const soft = (words) => Object.assign(said("p", words), { className: "hint" });
  const describe = (report) => {
    const parts = [];
    const own = report.lick === document.title;
    if (!own) parts.push(said("p", `This report is about another lick, ${report.title}.`));
    else if (report.title !== report.lick) parts.push(said("p", `${report.title}.`));
    if (report.refusal) {
      parts.push(said("p", sentence(report.refusal)), ...report.hints.map((hint) => said("p", sentence(hint))));
    } else {
      const { score, remarks } = report.best;
      if (report.headline) parts.push(said("h3", begun(report.headline)));
      parts.push(said("p", `Score ${score.of_100} of 100: ${report.counts || `${score.right} of ${score.notes} notes just right`}.`));
      if (report.praise) parts.push(said("p", `Good: ${report.praise}.`));
      const facts = report.by_bar ? [...report.facts, `just right by bar: ${report.by_bar}`] : report.facts;
      if (facts.length) parts.push(list("ul", facts));
      if (remarks.length) {
        const place = (one) => one.place || `${one.bar ? `bar ${one.bar}` : "pick-up"}, beat ${one.beat}`;
        parts.push(said("h3", "What was different"));
        parts.push(list("ol", remarks.map((one) => `${place(one)}: ${one.words}`)));
      }
      if (report.steps.length) {
        const steps = document.createElement("ol");
        steps.append(...report.steps.map((step) => practiced(step, own)));
        parts.push(said("h3", "To practice"), steps);
      }
      if (report.untold.length) parts.push(soft(`Not judged: ${report.untold.join("; ")}.`));
    }
    if (report.caution) parts.push(Object.assign(said("p", report.caution), { className: "caution" }));
    return parts;
  };

  const show = async (file) => {
    if (!file) return;
    try {
      shown.replaceChildren(...describe(checkReport(await readValue(file))));
    } catch (error) {
      shown.replaceChildren(said("p", `${file.name}: ${error.message}`));
    }
  };

  chosen.addEventListener("change", () => show(chosen.files[0]));
  // Anywhere on the page: a browser would open a file that is dropped beside the place for it, and leave the page.
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", async (event) => {
    event.preventDefault();
    chosen.value = "";
    await show(event.dataTransfer.files[0]);
    // Below the controls of the player, which stay at the top and are as high as the width of the page makes them.
    place.style.scrollMarginTop = `${document.getElementById("player")?.offsetHeight ?? 0}px`;
    place.scrollIntoView();
  });
}
