// The index page: hides the licks that are not asked for. A word is found anywhere in what a row says, accents and capitals aside.

const form = document.getElementById("search");
const words = document.getElementById("words");
const facets = [...document.querySelectorAll(".facet")];
const found = document.getElementById("found");
const folded = (text) => text.replaceAll("♭", "b").replaceAll("♯", "#").normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
const rows = [...document.querySelectorAll("#licks li")].map((element) => ({ element, text: folded(element.textContent) }));

function search() {
  const wanted = folded(words.value).split(/\s+/).filter(Boolean);
  const chosen = facets.filter((facet) => facet.value).map((facet) => [facet.dataset.facet, facet.value]);
  let number = 0;
  for (const { element, text } of rows) {
    const fits =
      wanted.every((word) => text.includes(word)) && chosen.every(([name, value]) => element.dataset[name].split("|").includes(value));
    element.hidden = !fits;
    if (fits) number += 1;
  }
  const all = number === rows.length;
  found.textContent = `${number.toLocaleString("en")} ${number === 1 ? "lick" : "licks"}${all ? "" : ` of ${rows.length.toLocaleString("en")}`}`;
}

form.addEventListener("input", search);
form.addEventListener("submit", (event) => event.preventDefault());
form.addEventListener("reset", () => setTimeout(search));
search();
