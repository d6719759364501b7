// Suggestions under a text field, by the combobox pattern: the first is marked, Enter takes the marked one, Down and Up
// choose, Escape closes and keeps the text. A field names the address that answers it in data-suggest.
import { get, Latest } from "./latest.js";

const WAIT_MS = 60;
let list = null;
let field = null;

export const isOpen = () => Boolean(list);
// A line may have been drawn anew since its field asked: the field that stands in its place now.
export const present = (input) => (input.isConnected ? input : document.getElementById(input.id) ?? input);

const find = (input, text) => get(`${input.dataset.suggest}?q=${encodeURIComponent(text)}`);
const asking = new Latest(async (input, text) => ({ input, text, found: await find(input, text) }), {
  wait: WAIT_MS,
  shown({ input: asked, text, found }, stale) {
    const input = present(asked);
    if (!stale && input.value.trim() === text) open(input, found);
  },
  failed: () => close(),
});

// Enter was pressed before the suggestions came: whoever types on is not held up, and the first one is written in
// when one of its names begins as was typed.
async function takeLater(input, text) {
  asking.drop();
  close();
  const [first] = await find(input, text).catch(() => []);
  const there = present(input);
  if (first?.begins && there.value.trim() === text) put(there, first.name, first.value);
}

function put(input, name, value) {
  input.value = name;
  input.dispatchEvent(new CustomEvent("tarebook:taken", { bubbles: true, detail: { value } }));
}

export function close() {
  if (list) list.remove();
  if (field) { field.setAttribute("aria-expanded", "false"); field.removeAttribute("aria-activedescendant"); }
  list = null;
  field = null;
}

function option(found, place) {
  const row = document.createElement("li");
  row.id = `choice-${place}`;
  row.setAttribute("role", "option");
  row.setAttribute("aria-selected", "false");
  Object.assign(row.dataset, { value: found.value, name: found.name, inci: found.inci });
  const name = document.createElement("span");
  name.textContent = found.name + (found.on_shelf ? "" : " (library)");
  const inci = document.createElement("span");
  inci.className = "soft small";
  inci.textContent = found.inci;
  row.append(name, inci);
  return row;
}

function open(input, found) {
  close();
  if (!found.length || document.activeElement !== input) return;
  field = input;
  list = document.createElement("ul");
  list.className = "choices";
  list.id = "choices";
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "Materials");
  found.forEach((one, place) => list.append(option(one, place)));
  input.parentElement.append(list);
  input.setAttribute("aria-expanded", "true");
  input.setAttribute("aria-controls", "choices");
  mark(1);
}

function mark(step) {
  const rows = [...list.children];
  const now = rows.findIndex((row) => row.getAttribute("aria-selected") === "true");
  const next = rows[(now + step + rows.length) % rows.length];
  rows.forEach((row) => row.setAttribute("aria-selected", String(row === next)));
  field.setAttribute("aria-activedescendant", next.id);
  if (now >= 0) next.scrollIntoView({ block: "nearest" });
}

function take(row) {
  const input = field;
  const { name, value } = row.dataset;
  close();
  // Typed in rather than set, so that the browser can still take it back; no other way keeps its undo.
  input.focus();
  input.select();
  document.execCommand("insertText", false, name);
  asking.drop();
  put(input, name, value);
}

// Enter in a field of names: take the marked one; false when there is nothing to take, or nothing yet. A list that
// belongs to what was typed before is never taken from.
export function enter(input) {
  const text = input.value.trim();
  if (asking.pending && text.length > 1) { takeLater(input, text); return false; }
  const marked = list && field === input && list.querySelector("[aria-selected='true']");
  if (marked) take(marked);
  return Boolean(marked);
}

document.addEventListener("input", (event) => {
  if (!event.target.matches("[data-suggest]")) return;
  const text = event.target.value.trim();
  if (text.length < 2) { asking.drop(); close(); } else asking.ask(event.target, text);
});

document.addEventListener("keydown", (event) => {
  if (!event.target.matches("[data-suggest]") || event.altKey || event.ctrlKey || event.shiftKey || !list) return;
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    event.preventDefault();
    event.stopImmediatePropagation();
    mark(event.key === "ArrowDown" ? 1 : -1);
  } else if (event.key === "Escape") {
    event.preventDefault();
    event.stopImmediatePropagation();
    close();
  }
}, true);

document.addEventListener("pointerdown", (event) => {
  if (list && !list.contains(event.target) && event.target !== field) close();
});
document.addEventListener("click", (event) => {
  const row = list && event.target.closest(".choices li");
  if (row) take(row);
});
document.addEventListener("focusout", (event) => {
  if (event.target === field) setTimeout(() => { if (field && document.activeElement !== field) close(); }, 150);
});
