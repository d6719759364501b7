// Suggestions under a text field, by the combobox pattern: Down opens, Enter takes, Escape closes and keeps the text.
// A field names the address that answers it with [{value, name, inci, on_shelf}] in data-suggest.
"use strict";

(() => {
  const WAIT_MS = 80;
  let list = null;
  let field = null;
  let timer = 0;
  let asked = 0;

  function close() {
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
    row.dataset.value = found.value;
    row.dataset.name = found.name;
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
  }

  async function ask(input) {
    const text = input.value.trim();
    const mine = ++asked;
    if (text.length < 2) { close(); return; }
    const answer = await fetch(`${input.dataset.suggest}?q=${encodeURIComponent(text)}`).catch(() => null);
    if (mine === asked && answer?.ok) open(input, await answer.json());
  }

  function mark(step) {
    const rows = [...list.children];
    const now = rows.findIndex((row) => row.getAttribute("aria-selected") === "true");
    const next = rows[(now + step + rows.length) % rows.length];
    rows.forEach((row) => row.setAttribute("aria-selected", String(row === next)));
    field.setAttribute("aria-activedescendant", next.id);
    next.scrollIntoView({ block: "nearest" });
  }

  function take(row) {
    const input = field;
    const { name, value } = row.dataset;
    close();
    // Typed in rather than set, so that the browser can still take it back.
    input.focus();
    input.select();
    if (!document.execCommand("insertText", false, name)) input.value = name;
    clearTimeout(timer);
    asked += 1;
    input.dispatchEvent(new CustomEvent("tarebook:taken", { bubbles: true, detail: { value } }));
  }

  document.addEventListener("input", (event) => {
    if (!event.target.matches("[data-suggest]")) return;
    clearTimeout(timer);
    timer = setTimeout(ask, WAIT_MS, event.target);
  });

  document.addEventListener("keydown", (event) => {
    if (!event.target.matches("[data-suggest]") || event.altKey) return;
    const marked = list && list.querySelector("[aria-selected='true']");
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (list) mark(event.key === "ArrowDown" ? 1 : -1); else ask(event.target);
    } else if (event.key === "Escape" && list) {
      event.preventDefault();
      event.stopPropagation();
      close();
    } else if (event.key === "Enter" && marked) {
      event.preventDefault();
      event.stopImmediatePropagation();
      take(marked);
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
})();
