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
  const sentence = (words) => `${words[0].toUpperCase()}${words.slice(1)}.`;

  const describe = (report) => {
    const parts = [];
    if (report.title !== document.title) parts.push(said("p", `This report is about another lick, ${report.title}.`));
    if (report.refusal) {
      parts.push(said("p", sentence(report.refusal)), ...report.hints.map((hint) => said("p", sentence(hint))));
    } else {
      const { score, remarks } = report.best;
      parts.push(said("p", `Score ${score.of_100} of 100: ${score.right} of ${score.notes} notes just right.`));
      if (report.praise) parts.push(said("p", `Good: ${report.praise}.`));
      if (report.facts.length) parts.push(list("ul", report.facts));
      if (remarks.length) {
        parts.push(said("h3", "What was different"));
        parts.push(list("ol", remarks.map((one) => `${one.bar ? `bar ${one.bar}` : "pick-up"}, beat ${one.beat}: ${one.words}`)));
      }
      if (report.practice.length) parts.push(said("h3", "To practice"), list("ol", report.practice));
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
  place.addEventListener("dragover", (event) => event.preventDefault());
  place.addEventListener("drop", (event) => {
    event.preventDefault();
    show(event.dataTransfer.files[0]);
  });
}
