// The card of a line: its tools, and its material in place.
import { get, Latest } from "./latest.js";

export function watchCards(form, live) {
  const box = document.createElement("div");
  box.className = "card-box";
  box.popover = "auto";
  box.setAttribute("role", "dialog");
  box.setAttribute("aria-label", "About this line");
  document.body.append(box);
  let opener = null;

  const TOOLS = [["up", "Up"], ["down", "Down"], ["double", "Duplicate"], ["qs", "Fill up to 100"], ["pick", "Select"], ["remove", "Remove"]];

  function tools(line) {
    const row = document.createElement("div");
    row.className = "card-tools";
    for (const [word, text] of TOOLS) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = text;
      button.addEventListener("click", () => {
        box.hidePopover();
        if (word === "qs") document.getElementById(`line.${line}.qs`).click();
        else if (word === "pick") document.querySelector(`.pick[value="${line}"]`).click();
        else live.now(`line-${word}:${line}`);
      });
      row.append(button);
    }
    return row;
  }

  const asking = new Latest((line) => get(`${form.getAttribute("action")}/lines/${encodeURIComponent(line)}/card`, "text"), {
    shown(html) { box.querySelector(".card-text").innerHTML = html; },
    failed() { box.querySelector(".card-text").textContent = "Nothing could be fetched; try again."; },
  });

  function show(button) {
    const row = button.closest(".line");
    opener = button;
    const text = document.createElement("div");
    text.className = "card-text";
    text.textContent = row.querySelector("[data-suggest]").value;
    box.replaceChildren(tools(row.dataset.line), text);
    box.showPopover();
    place(button);
    box.querySelector("button").focus();
    asking.ask(row.dataset.line);
  }

  // Beside its button, inside the window; a rule of its own, since the content policy takes no style in the markup.
  const sheet = new CSSStyleSheet();
  document.adoptedStyleSheets = [...document.adoptedStyleSheets, sheet];
  function place(button) {
    const there = button.getBoundingClientRect();
    const wide = box.offsetWidth;
    const left = Math.max(8, Math.min(there.right - wide, innerWidth - wide - 8));
    const top = Math.max(8, Math.min(there.bottom + 4, innerHeight * 0.55));
    sheet.replaceSync(`.card-box { left: ${left}px; top: ${top}px; max-height: ${innerHeight - top - 12}px; }`);
  }

  form.addEventListener("click", (event) => {
    const button = event.target.closest(".more");
    if (button) show(button);
  });
  box.addEventListener("toggle", (event) => {
    opener?.setAttribute("aria-expanded", String(event.newState === "open"));
    if (event.newState === "closed" && (box.contains(document.activeElement) || document.activeElement === document.body)) opener?.focus();
  });
}
