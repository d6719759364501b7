// Several lines selected: with the box of a line, with Shift and the arrows, or Ctrl and Space.
export function watchPicks(form, live) {
  const bar = document.getElementById("picked");
  const words = document.getElementById("picked-words");
  const chosen = new Set();
  let last = null;

  const boxes = () => [...form.querySelectorAll(".line:not(:last-child) .pick")];

  function tell() {
    const count = chosen.size;
    bar.classList.toggle("any", count > 0);
    form.classList.toggle("picking", count > 0);
    words.textContent = count === 1 ? "1 line selected:" : `${count} lines selected:`;
  }

  function pick(box, on) {
    box.checked = on;
    if (on) chosen.add(box.value); else chosen.delete(box.value);
  }

  form.addEventListener("click", (event) => {
    const box = event.target.closest(".pick");
    if (!box) return;
    const all = boxes();
    if (event.shiftKey && last && all.includes(last)) {
      const [from, to] = [all.indexOf(last), all.indexOf(box)].sort((a, b) => a - b);
      all.slice(from, to + 1).forEach((one) => pick(one, box.checked));
    } else pick(box, box.checked);
    last = box;
    tell();
  });

  document.addEventListener("tarebook:stretch", ({ detail: { row, step } }) => {
    const all = boxes();
    const box = row.querySelector(".pick");
    const next = all[all.indexOf(box) + step];
    if (!all.includes(box)) return;
    pick(box, true);
    if (next) {
      pick(next, true);
      const column = document.activeElement.id.split(".").pop();
      document.getElementById(`line.${next.value}.${column}`)?.focus();
    }
    tell();
  });

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !chosen.size) return;
    boxes().forEach((box) => pick(box, false));
    tell();
  });

  // Rows that were drawn again keep their selection; lines that are gone lose it.
  new MutationObserver(() => {
    const there = new Map(boxes().map((box) => [box.value, box]));
    [...chosen].forEach((id) => { if (there.has(id)) there.get(id).checked = true; else chosen.delete(id); });
    tell();
  }).observe(document.getElementById("lines"), { childList: true });

  const cell = (row, selector) => row.querySelector(selector)?.textContent.trim() ?? "";
  const amount = (row) => { const field = row.querySelector(".cell-amount input.number"); return field.value || field.placeholder; };

  // A table that a spreadsheet takes: phase, material, amount, grams and note, with tabs.
  function table() {
    const head = ["Phase", "Material", document.querySelector(".head-amount").textContent, "g", "Note"];
    const rows = boxes().filter((box) => chosen.has(box.value)).map((box) => {
      const row = box.closest(".line");
      const letter = cell(row.closest(".phase"), ".phase-tag");
      return [letter, row.querySelector("[data-suggest]").value, amount(row), cell(row, "[data-f=grams]"), row.querySelector(".cell-note input").value];
    });
    return [head, ...rows].map((row) => row.join("\t")).join("\n");
  }

  async function copy() {
    const count = chosen.size;
    try {
      await navigator.clipboard.writeText(table());
      words.textContent = `${count} ${count === 1 ? "line" : "lines"} copied as a table`;
    } catch {
      words.textContent = "This browser does not let the page copy";
    }
    setTimeout(tell, 2500);
  }

  document.getElementById("picked-copy").addEventListener("click", copy);
  document.addEventListener("copy", (event) => {
    const held = document.activeElement;
    const marked = held && "selectionStart" in held && held.selectionStart !== held.selectionEnd;
    if (!chosen.size || marked || String(getSelection())) return;
    event.preventDefault();
    event.clipboardData.setData("text/plain", table());
  });
  return live;
}
