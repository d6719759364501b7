// On a phone a row of a wide table becomes a card: each cell carries the words of its column head, and the style sheet
// stacks them; a cell with nothing to say is left out, one with a long text takes a line of its own. Tables with a form of their own for phones are left alone.
const OWN = ".bench-table, .working, .names, .preview, .weights, .trial, .pasted table, .composition table";

const WORDY = 48;
const labelled = new WeakSet();

function headings(table) {
  const cells = [...(table.tHead?.rows[table.tHead.rows.length - 1]?.cells ?? [])];
  return cells.flatMap((cell) => Array(cell.colSpan).fill(cell.textContent.trim()));
}

function label(table) {
  const words = headings(table);
  if (!words.length || table.matches(OWN)) return;
  for (const row of [...table.tBodies, ...(table.tFoot ? [table.tFoot] : [])].flatMap((part) => [...part.rows])) {
    let place = 0;
    for (const cell of row.cells) {
      if (cell.colSpan === 1 && words[place]) cell.dataset.label ||= words[place];
      cell.classList.toggle("none", cell.tagName === "TD" && cell.textContent.trim() === "–");
      cell.classList.toggle("wordy", cell.textContent.trim().length > WORDY);
      place += cell.colSpan;
    }
  }
  table.classList.add("stacks");
  labelled.add(table);
}

const all = () => document.querySelectorAll(".scroll table, .scroll-paper table, .record-table").forEach((table) => labelled.has(table) || label(table));
all();
new MutationObserver(all).observe(document.getElementById("main"), { childList: true, subtree: true });
