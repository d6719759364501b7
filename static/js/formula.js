// The formula page: what follows is shown while typing, with focus and caret left alone.
import { Live } from "./live.js";
import { fillsUpOnce, grow, lock, watchDragging } from "./rows.js";

const form = document.getElementById("formula");
const state = document.getElementById("state");
const SETTLED_MS = 1200;
let settled = 0;

document.documentElement.classList.add("scripted");

function say(words, bad) {
  state.textContent = words;
  state.classList.toggle("unsaved", Boolean(bad));
}

const live = new Live(form, `tarebook${form.getAttribute("action")}`, {
  failed(status) {
    say(`Saving failed${status ? ` (${status})` : ""}, still on this page. Trying again.`, true);
    const again = document.createElement("button");
    again.type = "button";
    again.className = "small-button";
    again.textContent = "Save now";
    again.addEventListener("click", () => live.now());
    state.append(" ", again);
  },
  conflict(found) {
    const box = document.getElementById("conflict");
    box.innerHTML = found.conflict;
    say("Not saved: changed in another place", true);
    box.firstElementChild.focus();
  },
  answer: show,
});

function show(found, { deed, stale, taken }) {
  document.getElementById("conflict").replaceChildren();
  form.elements.row_version.value = found.row_version;
  form.elements.base.value = found.base;
  for (const id of ["undo", "redo"]) {
    const button = document.getElementById(id);
    button.disabled = !found[id];
    button.title = found[id];
  }
  Object.entries(found.named || {}).forEach(([line, name]) => named(line, name));
  const redrawn = deed && found.parts.lines;
  if (redrawn) redraw(found, deed);
  if (stale) return;
  document.getElementById("results").innerHTML = found.parts.results;
  if (!redrawn) drawLines(found.lines);
  drawFaults(found.faults);
  tellTotal();
  if (taken) say(`Saved ${found.saved}${found.said ? `. ${found.said}` : ""}`);
  else say(found.unsaved, true);
  document.dispatchEvent(new CustomEvent("tarebook:swapped"));
}

// What was taken from the library stands on the shelf now, under the name it has there.
function named(line, name) {
  const choice = form.elements[`line.${line}.choice`];
  const field = form.elements[`line.${line}.typed`];
  if (choice) choice.value = "";
  if (field && document.activeElement !== field) field.value = name;
}

// The foot shows the total at once; it is read out once typing rests.
function tellTotal() {
  const words = document.getElementById("total").innerText.replace(/\s+/g, " ").trim();
  document.getElementById("foot-total").textContent = words;
  clearTimeout(settled);
  settled = setTimeout(() => {
    const told = document.getElementById("told");
    if (told.textContent !== words) told.textContent = words;
  }, SETTLED_MS);
}

function place() {
  const held = document.activeElement;
  const caret = held && held.matches("input:not([type=checkbox]), textarea") ? [held.selectionStart, held.selectionEnd] : null;
  const row = held && held.closest(".line:last-child");
  const last = row ? { phase: row.closest(".phase").dataset.phase, column: held.id.split(".").pop() } : null;
  return { id: held ? held.id : "", caret, last };
}

function redraw(found, deed) {
  const before = place();
  const typed = [...live.since].map(([name, field]) => [name, field.value]);
  const rows = new Set([...live.since.values()].map((field) => field.closest(".line")).filter(Boolean));
  document.getElementById("lines").innerHTML = found.parts.lines;
  document.getElementById("packs").innerHTML = found.parts.packs;
  drawHead(JSON.parse(found.base));
  keepNewRows(rows);
  for (const [name, value] of typed) {
    const field = form.elements[name];
    if (field && "value" in field && field.type !== "checkbox") field.value = value;
  }
  const moved = /^(line|phase)-(up|down):/.test(deed);
  const first = moved || !found.focus ? [before.id, found.focus] : [found.focus, before.id];
  const next = first.map((id) => id && document.getElementById(id)).find(Boolean) || emptyRow(before.last);
  if (!next || next === document.activeElement) return;
  next.focus();
  if (next.id === before.id && before.caret) next.setSelectionRange(...before.caret);
}

// Rows begun while the answer was on its way are not known to it yet; they stay as they are.
function keepNewRows(rows) {
  for (const row of rows) {
    if (form.querySelector(`.line[data-line="${row.dataset.line}"]`)) continue;
    const phase = row.querySelector("[data-phase-of]").value;
    const lines = form.querySelector(`[data-phase="${phase}"] .lines`) || form.querySelector(".lines");
    lines.lastElementChild.before(row);
  }
}

function emptyRow(last) {
  const row = last && form.querySelector(`[data-phase="${last.phase}"] .line:last-child`);
  return row ? row.querySelector(`input[id$=".${last.column}"]`) : null;
}

const HEAD = ["name", "code", "batch", "fill", "loss_percent", "target_ph", "basis", "density", "product_type", "exposure", "claims", "notes", "labour_minutes", "price"];

function drawHead(draft) {
  for (const name of HEAD) {
    const field = form.elements[name];
    if (field && field.value !== draft[name]) field.value = draft[name];
  }
  form.querySelectorAll("[name=special_uses]").forEach((box) => { box.checked = draft.special_uses.includes(box.value); });
}

function drawLines(lines) {
  for (const [line, found] of Object.entries(lines)) {
    const row = form.querySelector(`[data-line="${line}"]`);
    if (!row) continue;
    row.querySelector("[data-figures]").innerHTML = found.figures;
    row.querySelector("[data-offers]").innerHTML = found.offers;
    document.getElementById(`line.${line}.amount`).placeholder = found.rest;
  }
}

function drawFaults(faults) {
  form.querySelectorAll("[data-fault]").forEach((slot) => drawFault(slot, faults[slot.dataset.fault]));
}

function drawFault(slot, fault) {
  const name = slot.dataset.fault;
  const input = document.getElementById(name);
  slot.replaceChildren();
  if (input) ["aria-invalid", "aria-describedby"].forEach((one) => input.removeAttribute(one));
  if (!fault) return;
  const line = document.createElement("span");
  line.className = fault.open ? "fault unfinished" : "fault";
  line.id = `${name}-fault`;
  line.textContent = fault.words;
  slot.append(line);
  if (!input) return;
  input.setAttribute("aria-describedby", line.id);
  if (!fault.open) input.setAttribute("aria-invalid", "true");
}

form.addEventListener("input", (event) => {
  const field = event.target;
  if (field.closest(".conflict")) return;
  if (field.matches(".line [data-suggest]")) form.elements[`line.${field.closest(".line").dataset.line}.choice`].value = "";
  if (field.matches(".line [data-suggest], .line .cell-amount input")) grow(field);
  live.typed(field);
});

form.addEventListener("change", (event) => {
  const field = event.target;
  if (field.name === "qs") { fillsUpOnce(form, field); live.typed(field); }
  if (field.matches("[data-redraw], [data-adds]")) live.now("redraw");
});

// A suggestion was taken: one of the library goes onto the shelf with the same save.
form.addEventListener("tarebook:taken", async (event) => {
  const id = event.target.closest(".line").dataset.line;
  grow(event.target);
  const library = event.detail.value.startsWith("library:");
  if (library) form.elements[`line.${id}.choice`].value = event.detail.value;
  live.typed(event.target);
  const amount = document.getElementById(`line.${id}.amount`);
  if (amount) { amount.focus(); amount.select(); }
  await live.now();
});

const AWAY = ["paste"];
form.addEventListener("submit", (event) => {
  const pressed = event.submitter;
  if (!pressed || pressed.name !== "do" || AWAY.includes(pressed.value)) { live.saved = live.edits; return; }
  event.preventDefault();
  live.now(pressed.value === "recalculate" ? "" : pressed.value);
});

form.addEventListener("keydown", (event) => {
  const control = event.ctrlKey || event.metaKey;
  const cell = event.target.closest(".line input");
  if (control && event.key.toLowerCase() === "s") {
    event.preventDefault();
    live.now();
  } else if (cell && event.altKey && ["ArrowUp", "ArrowDown"].includes(event.key)) {
    event.preventDefault();
    live.now(`line-${event.key === "ArrowUp" ? "up" : "down"}:${cell.closest(".line").dataset.line}`);
  } else if (event.key === "Enter" && event.target.matches("input")) {
    event.preventDefault();
    if (cell) along(cell, event.shiftKey ? -1 : 1); else live.now();
  } else if (event.key === "Escape" && "before" in event.target.dataset && event.target.value !== event.target.dataset.before) {
    event.target.value = event.target.dataset.before;
    live.typed(event.target);
  }
});

function along(cell, step) {
  const column = cell.id.split(".").pop();
  const cells = [...form.querySelectorAll(`.line input[id$=".${column}"]`)];
  const next = cells[cells.indexOf(cell) + step];
  if (!next) return;
  next.focus();
  if (next.type !== "checkbox") next.select();
}

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

// Cells of a spreadsheet go to the page that shows what they read as, before anything is written.
form.addEventListener("paste", async (event) => {
  const text = event.clipboardData ? event.clipboardData.getData("text/plain") : "";
  if (!event.target.matches(".line input") || !/[\t\n]/.test(text.trim())) return;
  event.preventDefault();
  const phase = event.target.closest(".phase").dataset.phase;
  await live.now();
  if (!live.unsaved) post(`${form.getAttribute("action")}/paste`, [["rows", text], ["phase", phase]]);
});

function post(action, fields) {
  const sheet = document.createElement("form");
  sheet.method = "post";
  sheet.action = action;
  sheet.hidden = true;
  for (const [name, value] of fields) {
    const field = document.createElement("textarea");
    field.name = name;
    field.value = value;
    sheet.append(field);
  }
  document.body.append(sheet);
  sheet.submit();
}

watchDragging(form, () => { live.typed(); live.now(); });

window.addEventListener("beforeunload", (event) => {
  if (live.unsaved && (live.held || state.classList.contains("unsaved"))) event.preventDefault();
  else live.leave();
});

// What this tab typed but never got saved is sent again, as if its button had been pressed.
const left = sessionStorage.getItem(live.key);
sessionStorage.removeItem(live.key);
if (left && document.querySelector("#conflict:empty")) post(form.getAttribute("action"), [...new URLSearchParams(left), ["do", "recalculate"]]);

form.querySelectorAll("[name=qs]:checked").forEach(lock);
document.getElementById("faults")?.focus();
document.getElementById("conflict-box")?.focus();
