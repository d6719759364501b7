// The values of a drawing by pointer, focus and keys: a mark says its words in the line below the drawing.
const marks = (drawing) => [...drawing.querySelectorAll("[data-mark]")];

function say(drawing, mark) {
  marks(drawing).forEach((one) => one.classList.toggle("here", one === mark));
  drawing.nextElementSibling.textContent = mark ? mark.dataset.mark : "";
}

document.addEventListener("pointerover", (event) => {
  const mark = event.target.closest?.("[data-drawing] [data-mark]");
  if (mark) say(mark.closest("[data-drawing]"), mark);
});
document.addEventListener("focusin", (event) => {
  if (event.target.matches("[data-drawing]")) say(event.target, marks(event.target)[0]);
});
document.addEventListener("focusout", (event) => {
  if (event.target.matches("[data-drawing]")) say(event.target, null);
});
document.addEventListener("keydown", (event) => {
  const drawing = event.target;
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (!drawing.matches?.("[data-drawing]") || !step) return;
  event.preventDefault();
  const all = marks(drawing);
  const now = all.findIndex((one) => one.classList.contains("here"));
  say(drawing, all[(now + step + all.length) % all.length]);
});
