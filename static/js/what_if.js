// Other amounts: what they change is worked out while they are typed.
import { focusFaults, get, Latest } from "./latest.js";
import { alignTrial } from "./rows.js";

const form = document.getElementById("trial");
const outcome = document.getElementById("outcome");
const fault = document.getElementById("outcome-fault");

const asking = new Latest(() => get(form.action, "json", { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { "X-Live": "1" } }), {
  shown(found, stale) {
    outcome.innerHTML = found.outcome;
    outcome.classList.toggle("waiting", stale);
    outcome.classList.remove("stale");
    fault.hidden = true;
    for (const row of form.querySelectorAll("tr[data-line]")) {
      const line = row.dataset.line;
      const one = found.lines[line];
      if (!one) continue;
      row.querySelector("[data-change]").textContent = one.change;
      row.querySelector("[data-grams]").textContent = one.grams;
      row.querySelector("input").placeholder = one.rest;
      const words = found.faults[`line.${line}.amount`] || "";
      const place = row.querySelector(".fault");
      place.textContent = words;
      place.hidden = !words;
      row.querySelector("input").toggleAttribute("aria-invalid", Boolean(words));
    }
    alignTrial(document.getElementById("trial-lines"));
  },
  failed() { outcome.classList.add("stale"); fault.hidden = false; },
});

form.addEventListener("input", (event) => {
  if (!event.target.name.startsWith("amount.")) return;
  outcome.classList.add("waiting");
  asking.ask();
});
form.addEventListener("keydown", (event) => {
  const step = { ArrowUp: -1, ArrowDown: 1, Enter: event.shiftKey ? -1 : 1 }[event.key];
  if (!step || !event.target.name?.startsWith("amount.")) return;
  event.preventDefault();
  const fields = [...form.querySelectorAll("input[name^='amount.']")];
  const next = fields[fields.indexOf(event.target) + step];
  next?.focus();
  next?.select();
});
focusFaults();
