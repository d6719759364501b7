// The keys of the formula page: cells like those of a spreadsheet, lines moved, doubled and removed.
import { close, enter, isOpen } from "./combobox.js";

const CELL = ".line input:not([type=checkbox])";

export function watchKeys(form, live) {
  const cells = (column) => [...form.querySelectorAll(`.line input[id$=".${column}"]`)];
  const column = (cell) => cell.id.split(".").pop();

  function go(cell) {
    if (!cell) return;
    cell.focus();
    cell.select();
  }

  function along(cell, step) {
    const all = cells(column(cell));
    go(all[all.indexOf(cell) + step]);
  }

  // From an amount down: the next amount, or the next name where a new line begins.
  function onward(cell) {
    const row = cell.closest(".line").nextElementSibling;
    if (row && !row.nextElementSibling) go(row.querySelector("[data-suggest]"));
    else along(cell, 1);
  }

  function pressed(cell, shift) {
    if (shift) return along(cell, -1);
    if (column(cell) === "amount") return onward(cell);
    if (column(cell) !== "typed") return along(cell, 1);
    if (!cell.value.trim()) return along(cell, 1);
    return enter(cell) ? undefined : go(cell.closest(".line").querySelector(".cell-amount input.number"));
  }

  const ofLines = (word, row) => {
    const picked = form.querySelector(".pick:checked");
    return live.now(picked ? `picked-${word}` : `line-${word}:${row.dataset.line}`);
  };

  form.addEventListener("keydown", (event) => {
    const control = event.ctrlKey || event.metaKey;
    const cell = event.target.closest(CELL);
    const row = cell?.closest(".line");
    const key = event.key.toLowerCase();
    const vertical = { arrowup: -1, arrowdown: 1 }[key];
    const picked = !event.target.matches("textarea, .size-row input") && form.querySelector(".pick:checked");
    let done = true;
    if (control && key === "s") live.now();
    else if (control && key === "enter") live.now("add-phase");
    else if ((row || picked) && control && key === "backspace") ofLines("remove", row);
    else if ((row || picked) && control && key === "d") ofLines("double", row);
    else if (row && control && key === " ") row.querySelector(".pick").click();
    else if ((row || picked) && event.altKey && vertical) ofLines(vertical < 0 ? "up" : "down", row);
    else if (row && event.shiftKey && !control && vertical) document.dispatchEvent(new CustomEvent("tarebook:stretch", { detail: { row, step: vertical } }));
    else if (row && vertical && !control && !event.altKey && !isOpen()) along(cell, vertical);
    else if (event.key === "Enter" && !control && event.target.matches("input")) { if (cell) pressed(cell, event.shiftKey); else live.now(); }
    else if (event.key === "Escape" && "before" in event.target.dataset && event.target.value !== event.target.dataset.before) {
      close();
      event.target.value = event.target.dataset.before;
      event.target.dispatchEvent(new InputEvent("input", { bubbles: true }));
    } else done = false;
    if (done) event.preventDefault();
  });

  // Undo of the draft, when the field that has the focus has nothing of its own to take back.
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey)) return;
    const key = event.key.toLowerCase();
    const back = key === "z" && !event.shiftKey;
    const forth = key === "y" || (key === "z" && event.shiftKey);
    const held = document.activeElement;
    const own = held && "before" in held.dataset && (held.value !== held.dataset.before || "takenBack" in held.dataset);
    if (!(back || forth) || (held !== document.body && !form.contains(held))) return;
    if (back ? own && held.value !== held.dataset.before : own) return;
    event.preventDefault();
    live.now(back ? "undo" : "redo");
  });

  form.addEventListener("focusin", (event) => {
    if (!event.target.matches("input:not([type=checkbox]), textarea")) return;
    event.target.dataset.before = event.target.value;
    delete event.target.dataset.takenBack;
  });
  form.addEventListener("input", (event) => {
    if (event.inputType === "historyUndo") event.target.dataset.takenBack = "1";
    else if (event.inputType !== "historyRedo") delete event.target.dataset.takenBack;
  });

  // Rows of a spreadsheet come in where they are pasted; a name that is in doubt is asked at its line.
  form.addEventListener("paste", (event) => {
    const text = event.clipboardData ? event.clipboardData.getData("text/plain") : "";
    const row = event.target.closest(".line");
    if (!row || !/[\t\n]/.test(text.trim())) return;
    event.preventDefault();
    close();
    live.now(`paste-rows:${row.closest(".phase").dataset.phase}:${row.dataset.line}`, { rows: text });
  });
}
