// Ticks of practice ladders, kept in this browser where it allows that.

const ticks = [...document.querySelectorAll(".tick")];
const kept = `ticks ${document.title} ${ticks.map((tick) => tick.dataset.bpm).join(" ")}`;
try {
  const done = JSON.parse(localStorage.getItem(kept) || "[]");
  ticks.forEach((tick, n) => {
    tick.checked = done.includes(n);
  });
} catch {
  // this browser keeps nothing for a file
}
for (const tick of ticks) {
  tick.addEventListener("change", () => {
    try {
      localStorage.setItem(kept, JSON.stringify(ticks.flatMap((one, n) => (one.checked ? [n] : []))));
    } catch {
      // this browser keeps nothing for a file
    }
  });
}
