// What is known of a name is worked in as soon as typing rests; the answer swaps the parts that follow from it.
import { focusFaults, Latest } from "./latest.js";

const REST_MS = 350;
const form = document.getElementById("known");

function watch() {
  const state = document.getElementById("state");

  const fields = () => [...form.querySelectorAll("input[name='value']")];
  const was = (field) => field.closest("td").querySelector("input[name='was']");
  const buttonOf = (field) => form.querySelector(`[data-clear="${field.id}"]`);

  function showClear(field) { buttonOf(field).hidden = !field.value.trim(); }

  function tellFault(field, words) {
    const place = document.getElementById(`${field.id}-fault`);
    place.textContent = words || "";
    place.hidden = !words;
    if (words) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid");
  }

  function take(parts, sent) {
    Object.entries(parts).forEach(([id, html]) => {
      const place = document.getElementById(id);
      if (place) place.innerHTML = html;
    });
    fields().forEach((field, place) => {
      was(field).value = sent[place];
      tellFault(field, "");
      field.closest("tr").classList.toggle("is-fixed", Boolean(sent[place]));
    });
    state.textContent = "Worked out with what you know.";
  }

  const asking = new Latest(async () => {
    const sent = fields().map((field) => field.value.trim());
    const answer = await fetch(form.action, {
      method: "POST", body: new URLSearchParams(new FormData(form)), headers: { "X-Live": "1" },
    });
    if (![200, 422].includes(answer.status)) throw new Error(String(answer.status));
    return { ok: answer.ok, sent, found: await answer.json() };
  }, {
    wait: REST_MS,
    shown({ ok, sent, found }, stale) {
      if (stale) return;
      if (ok) { take(found.parts, sent); return; }
      fields().forEach((field) => tellFault(field, found.faults[field.id]));
      state.textContent = "One of the values cannot be read; nothing changed.";
    },
    failed() { state.textContent = "Not worked out yet; it is still typed here. Press the button to try again."; },
  });

  form.addEventListener("input", (event) => {
    if (event.target.name !== "value") return;
    showClear(event.target);
    asking.ask();
  });
  form.addEventListener("click", (event) => {
    const button = event.target.closest("[data-clear]");
    if (!button) return;
    const field = document.getElementById(button.dataset.clear);
    field.value = "";
    showClear(field);
    field.focus();
    asking.ask();
  });
  fields().forEach(showClear);
}

if (form) watch();
focusFaults();
