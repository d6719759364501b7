// Shows what a pattern of batch numbers gives while it is typed, and leads to what has to be fixed.
import { focusFaults, get, Latest } from "./latest.js";

focusFaults();

const settings = document.getElementById("settings");
if (settings) {
  const field = settings.elements.batch_number_pattern;
  const told = document.getElementById("number-example");
  const asking = new Latest((pattern) => get(`${settings.dataset.example}?${new URLSearchParams({ pattern })}`), {
    wait: 150,
    shown(found, stale) { if (!stale) told.textContent = found.words; },
  });
  field.addEventListener("input", () => asking.ask(field.value));
}
