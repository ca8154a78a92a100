// What was heard of a recording: shows a report that `lickwright listen --report` wrote. It is read here and goes nowhere.

{
  const MOST = 4 << 20; // bytes
  const shown = byId("heard-report");
  const place = shown.closest("section");
  const chosen = byId("heard-file");
  const said = (name, words) => Object.assign(document.createElement(name), { textContent: words });
  const list = (name, lines) => {
    const element = document.createElement(name);
    element.append(...lines.map((line) => said("li", line)));
    return element;
  };
  const words = (values) => (Array.isArray(values) ? values.filter((value) => typeof value === "string") : []);

  const describe = (report) => {
    if (report.format !== "lickwright listening report 1") throw new Error("this is not a report of lickwright listen");
    const other = report.title === document.title ? [] : [said("p", `This report is about another lick, ${report.title}.`)];
    if (!report.recognized) return [...other, said("p", String(report.refusal))];
    const best = report.passes[report.best];
    const remarks = best.remarks.map((one) => `${one.bar ? `bar ${one.bar}` : "pick-up"}, beat ${one.beat}: ${one.words}`);
    return [
      ...other,
      said("p", `Score ${best.score.of_100} of 100: ${best.score.right} of ${best.score.notes} notes just right.`),
      said("p", report.praise ? `Good: ${report.praise}.` : ""),
      list("ul", words(report.facts)),
      list("ol", words(remarks)),
      said("h3", "To practice"),
      list("ol", words(report.practice)),
    ];
  };

  const show = async (file) => {
    if (!file) return;
    try {
      if (file.size > MOST) throw new Error("the file is too large for a report");
      shown.replaceChildren(...describe(JSON.parse(await file.text())));
    } catch (error) {
      const why = error instanceof SyntaxError || error instanceof TypeError ? "this is not a report of lickwright listen" : error.message;
      shown.replaceChildren(said("p", `${file.name}: ${why}`));
    }
  };

  chosen.addEventListener("change", () => show(chosen.files[0]));
  place.addEventListener("dragover", (event) => event.preventDefault());
  place.addEventListener("drop", (event) => {
    event.preventDefault();
    show(event.dataTransfer.files[0]);
  });
}
