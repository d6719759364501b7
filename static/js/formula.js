// The formula page: figures follow while one types, with focus and caret left alone.
import "./combobox.js";
import { watchCards } from "./card.js";
import * as follows from "./follows.js";
import { set } from "./follows.js";
import { watchKeys } from "./keys.js";
import { focusFaults } from "./latest.js";
import { Live } from "./live.js";
import { watchPicks } from "./picks.js";
import { align, fillsUpOnce, grow, lock, watchDragging } from "./rows.js";

const form = document.getElementById("formula");
const address = form.getAttribute("action");
const state = document.getElementById("state");
const SETTLED_MS = 1200;
let settled = 0;

// The time of saving and what was done have places of their own: the strip of a phone has no room for them.
function say(words, bad, time = "", more = "") {
  const at = document.createElement("span");
  const said = document.createElement("span");
  at.className = "saved-at";
  at.textContent = more ? `${time}. ` : time;
  said.className = "said";
  said.textContent = more;
  if (state.textContent !== words + at.textContent + more) state.replaceChildren(words, at, said);
  state.classList.toggle("unsaved", Boolean(bad));
}

const live = new Live(form, `tarebook${address}`, {
  failed(status) {
    say(status ? `Not saved (${status}); trying again` : "Not saved: no connection; trying again", true);
    const again = document.createElement("button");
    again.type = "button";
    again.className = "plain-button";
    again.textContent = "Save now";
    again.addEventListener("click", () => live.now());
    state.append(" ", again);
    form.querySelectorAll(".line:has(.waiting)").forEach((row) => row.classList.add("unsaved"));
    form.querySelectorAll("[data-f].waiting, [data-s].waiting:not(.strip-label > *)").forEach((one) => one.classList.add("stale"));
    follows.lost();
  },
  conflict(found) {
    const box = document.getElementById("conflict");
    box.innerHTML = found.conflict;
    say("Not saved: changed in another place", true);
    box.firstElementChild.focus();
  },
  answer: show,
});

// What is typed is not worked out yet: its line, the total and what follows are marked.
function wait(field) {
  const row = field?.closest?.(".line");
  row?.querySelectorAll("[data-f=grams], [data-f=share]").forEach((one) => one.classList.add("waiting"));
  document.querySelectorAll("[data-s]").forEach((one) => one.classList.add("waiting"));
  follows.wait();
  if (!state.classList.contains("unsaved")) say("Saving");
}

function show(found, { action, stale, taken, newer }) {
  document.getElementById("conflict").replaceChildren();
  form.elements.row_version.value = found.row_version;
  form.elements.base.value = found.base;
  for (const id of ["undo", "redo"]) {
    const button = document.getElementById(id);
    button.disabled = !found[id];
    button.title = found[id];
  }
  Object.entries(found.named || {}).forEach(([line, name]) => named(line, name));
  if (action.startsWith("line-sum:")) drawSum(found, action.slice("line-sum:".length));
  else if (action && found.parts.lines) redraw(found, action);
  drawFigures(found.figures, new Set(newer.map((field) => field.closest(".line")?.dataset.line)), stale);
  if (stale) return;
  drawOffers(found.offers);
  drawFaults(found.faults);
  document.getElementById("note-faults").innerHTML = found.parts.problems;
  tellTotal();
  if (taken) {
    // While more waits to be sent the line goes on saying so.
    if (live.waiting < 2) say("Saved", false, ` ${found.saved}`, found.said);
    form.querySelectorAll(".unsaved.line").forEach((row) => row.classList.remove("unsaved"));
    follows.ask(address);
  } else say(found.unsaved, true);
}

// What was taken from the library stands on the shelf now, under the name it has there.
function named(line, name) {
  const choice = form.elements[`line.${line}.choice`];
  const field = form.elements[`line.${line}.typed`];
  if (choice) choice.value = "";
  if (field && document.activeElement !== field) field.value = name;
}

// The total is read out once typing rests.
function tellTotal() {
  const words = document.getElementById("total").querySelector(".strip-figure").innerText.replace(/\s+/g, " ").trim();
  clearTimeout(settled);
  settled = setTimeout(() => {
    const told = document.getElementById("told");
    if (told.textContent !== words) told.textContent = words;
  }, SETTLED_MS);
}

function drawFigures(figures, newer, stale) {
  const total = document.getElementById("total");
  total.className = `strip-item total ${figures.total.state}`;
  const strip = { total: figures.total.figure, "total-words": figures.total.words, weigh: figures.weigh, unit: figures.unit.figure, "unit-short": figures.unit.short, "unit-label": figures.unit.label, "unit-of": figures.unit.of };
  for (const [name, words] of Object.entries(strip)) {
    const place = document.querySelector(`[data-s="${name}"]`);
    set(place, words);
    place.classList.remove("stale");
    place.classList.toggle("waiting", stale);
  }
  for (const [name, words] of Object.entries(figures.notes)) set(document.querySelector(`[data-n="${name}"]`), words);
  for (const [phase, words] of Object.entries(figures.phases)) set(form.querySelector(`[data-sum="${phase}"]`), words);
  for (const [line, found] of Object.entries(figures.lines)) drawLine(line, found, newer.has(line));
}

function drawLine(line, found, waits) {
  const row = form.querySelector(`.line[data-line="${line}"]`);
  if (!row) return;
  for (const place of row.querySelectorAll("[data-f]")) {
    const words = found[place.dataset.f];
    if (place.textContent !== words) place.textContent = words;
    place.classList.remove("stale");
    place.classList.toggle("waiting", waits);
  }
  row.querySelector(".share").classList.toggle("of-cost", found.share.includes("%"));
  for (const place of row.querySelectorAll("[data-c]")) place.textContent = found.columns[place.dataset.c];
  row.querySelector(".bar-weight").setAttribute("width", (found.weight * 100).toFixed(1));
  const cost = row.querySelector(".bar-cost");
  cost.setAttribute("cx", (found.cost * 100 + 3).toFixed(1));
  cost.setAttribute("visibility", found.cost ? "visible" : "hidden");
  document.getElementById(`line.${line}.amount`).placeholder = found.rest;
}

function drawOffers(offers) {
  form.querySelectorAll("[data-offers]").forEach((place) => {
    const html = offers[place.dataset.offers] || "";
    if (place.dataset.html !== html) { place.innerHTML = html; place.dataset.html = html; }
  });
  align(document.getElementById("lines"));
}

// Where a line is removed, the cell that takes its place: of the same phase if there is one.
function heir(action, column) {
  const rows = [...form.querySelectorAll(".line:not(:last-child)")];
  const gone = (row) => (action.startsWith("picked") ? row.querySelector(".pick").checked : action.endsWith(`:${row.dataset.line}`));
  const first = rows.findIndex(gone);
  const near = [...rows.slice(first), ...rows.slice(0, first).reverse()].filter((row) => !gone(row));
  const next = near.find((row) => row.parentElement === rows[first]?.parentElement) ?? near[0];
  return next ? `line.${next.dataset.line}.${column}` : "";
}

function place() {
  const held = document.activeElement;
  const caret = held && held.matches("input:not([type=checkbox]), textarea") ? [held.selectionStart, held.selectionEnd] : null;
  const row = held && held.closest(".line:last-child");
  const last = row ? { phase: row.closest(".phase").dataset.phase, column: held.id.split(".").pop() } : null;
  return { id: held ? held.id : "", column: held?.closest(".line") && held.matches(":not([type=checkbox])") ? held.id.split(".").pop() : "", caret, last };
}

// Of a sum only its own cell changes: whoever types on in another one is not held up.
function drawSum(found, line) {
  const drawn = document.createElement("template");
  drawn.innerHTML = found.parts.lines;
  const [cell, result] = [document, drawn.content].map((where) => where.getElementById(`line.${line}.amount`));
  if (cell && result && document.activeElement !== cell) cell.value = result.value;
  align(document.getElementById("lines"));
}

function redraw(found, action) {
  const before = place();
  const typed = [...live.since].map(([name, field]) => [name, field.value]);
  const heirs = /^(line|picked)-remove/.test(action) ? heir(action, before.column || "typed") : "";
  const rows = new Set([...live.since.values()].map((field) => field.closest(".line")).filter(Boolean));
  document.getElementById("lines").innerHTML = found.parts.lines;
  drawHead(JSON.parse(found.base));
  keepNewRows(rows);
  for (const [name, value] of typed) {
    const field = form.elements[name];
    if (field && "value" in field && field.type !== "checkbox") field.value = value;
  }
  tidy();
  const moved = /^((line|phase|picked)-(up|down|to)|paste-rows)/.test(action);
  const first = moved || !found.focus ? [before.id, found.focus] : [found.focus, before.id];
  const next = [heirs, ...first].map((id) => id && document.getElementById(id)).find(Boolean) || emptyRow(before.last);
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

const HEAD = ["name", "code", "batch", "fill", "loss_percent", "target_ph", "basis", "density", "product_type", "product_kind", "exposure", "notes", "specification", "labour_minutes"];

function drawHead(draft) {
  for (const name of HEAD) {
    const field = form.elements[name];
    if (field && field.value !== draft[name]) field.value = draft[name];
  }
  document.querySelector(".head-amount").textContent = form.elements.basis.selectedOptions[0].text;
  form.querySelectorAll("[name=special_uses]").forEach((box) => { box.checked = draft.special_uses.includes(box.value); });
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
  if (field.closest(".conflict") || field.name === "pick") return;
  if (field.matches(".line [data-suggest]")) form.elements[`line.${field.closest(".line").dataset.line}.choice`].value = "";
  if (field.matches(".line [data-suggest], .line .cell-amount input")) { grow(field); tidy(field.closest(".phase")); }
  if (field.matches(".cell-amount input.number")) align(document.getElementById("lines"));
  if (field.matches(".cell-note input")) field.setAttribute("value", field.value);
  wait(field);
  live.typed(field);
});

form.addEventListener("change", (event) => {
  const field = event.target;
  if (field.name === "qs") { fillsUpOnce(form, field); live.typed(field); }
  if (field.matches("[data-redraw], [data-adds]")) live.now("redraw");
  if (field.matches(".cell-amount input.number") && SUM.test(field.value)) workOut(field);
});

// A sum gives way to its result when its cell is left: as a step of its own, so that undo brings the sum back.
const SUM = /[+*×/()=]/;
async function workOut(field) {
  const { id, value } = field;
  live.now();
  await live.now(`line-sum:${field.closest(".line").dataset.line}`);
  const cell = document.getElementById(id);
  if (cell && cell.value !== value) cell.title = `= ${value.replace(/^=/, "")}`;
}

// A suggestion was taken: one of the library goes onto the shelf with the same save.
form.addEventListener("tarebook:taken", async (event) => {
  const id = event.target.closest(".line").dataset.line;
  grow(event.target);
  tidy(event.target.closest(".phase"));
  const library = event.detail.value.startsWith("library:");
  if (library) form.elements[`line.${id}.choice`].value = event.detail.value;
  live.typed(event.target);
  const amount = document.getElementById(`line.${id}.amount`);
  if (amount && document.activeElement === event.target) { amount.focus(); amount.select(); }
  await live.now();
});

// The tools of rows and phases stay out of the tab order but for those of the row that has the focus.
function tidy(within = form) {
  within.querySelectorAll(".pick, .qs input, .phase-moves button, .more").forEach((one) => { one.tabIndex = -1; });
}
form.addEventListener("focusin", (event) => {
  form.querySelectorAll(".more[tabindex='0'], .phase-moves button[tabindex='0']").forEach((one) => { one.tabIndex = -1; });
  event.target.closest(".line")?.querySelectorAll(".more").forEach((one) => { one.tabIndex = 0; });
  event.target.closest(".phase-head")?.querySelectorAll(".phase-moves button").forEach((one) => { one.tabIndex = 0; });
});

const AWAY = ["paste", "columns"];
form.addEventListener("submit", (event) => {
  const pressed = event.submitter;
  if (!pressed || pressed.name !== "do" || AWAY.includes(pressed.value)) { live.saved = live.edits; return; }
  event.preventDefault();
  pressed.closest("[popover]")?.hidePopover();
  live.now(pressed.value === "recalculate" ? "" : pressed.value);
});

// What may fill up to 100 is asked of the lines as they stand, since the page was drawn before they were typed.
document.getElementById("make-hundred").addEventListener("beforetoggle", (event) => {
  const filler = form.elements.filler;
  if (event.newState !== "open") return;
  const kept = filler.value;
  const rows = [...form.querySelectorAll(".line")].filter((row) => row.querySelector("[data-suggest]").value.trim());
  filler.replaceChildren(...rows.map((row) => new Option(row.querySelector("[data-suggest]").value, row.dataset.line, false, row.dataset.line === kept || row.classList.contains("fills-up"))));
});

watchPicks(form, live);
watchKeys(form, live);
watchCards(form, live);
watchDragging(form, () => { live.typed(); live.now(); });
document.addEventListener("tarebook:again", () => live.now());
// What was typed before this script was there counts as typed.
for (const field of form.elements) {
  if (field.type !== "hidden" && "defaultValue" in field && field.value !== field.defaultValue) live.typed(field);
}

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

window.addEventListener("beforeunload", (event) => {
  if (live.unsaved && (live.held || state.classList.contains("unsaved"))) event.preventDefault();
  else live.leave();
});

// What this tab typed but never got saved is sent again, as if its button had been pressed.
const left = sessionStorage.getItem(live.key);
sessionStorage.removeItem(live.key);
if (left && document.querySelector("#conflict:empty")) post(address, [...new URLSearchParams(left), ["do", "recalculate"]]);

form.querySelectorAll("[name=qs]:checked").forEach(lock);
tidy();
focusFaults();
document.getElementById("conflict-box")?.focus();
