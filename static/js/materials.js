// Shortens the trips of the material pages; each of them works without it.
import { focusFaults, get, Latest } from "./latest.js";

const watchFinder = (form) => {
  const results = document.getElementById("results");
  const query = () => {
    const found = new URLSearchParams(new FormData(form));
    for (const [name, value] of [...found]) { if (!value) found.delete(name); }
    return found;
  };
  const asking = new Latest((asked) => get(`${form.dataset.results}?${asked}`, "text"), {
    wait: 150,
    shown(html, stale) {
      if (stale) return;
      const asked = query();
      results.innerHTML = html;
      results.classList.remove("waiting");
      window.history.replaceState(null, "", asked.size ? `${form.action}?${asked}` : form.action);
    },
    failed() { results.classList.add("waiting"); },
  });
  form.elements.q.addEventListener("input", () => asking.ask(query()));
};

const rowsOf = () => [...document.querySelectorAll("#rows tbody tr")];

const showSum = (told) => {
  const sum = document.getElementById("sum");
  sum.innerHTML = told.html;
  sum.classList.remove("stale");
  rowsOf().forEach((row, place) => {
    row.querySelector(".counted").textContent = told.counted[place] ?? "\u2013";
    row.querySelector(".remark").textContent = told.remarks[place] ?? "";
  });
};

const watchComposition = (form) => {
  const asking = new Latest(() => get(form.dataset.sum, "json", { method: "POST", body: new FormData(form) }), {
    wait: 250,
    shown(told, stale) { if (!stale) showSum(told); },
    failed() { document.getElementById("sum").classList.add("stale"); },
  });
  const soon = () => asking.ask();
  form.addEventListener("input", (event) => {
    if (event.target.closest("#rows")) soon();
    if (event.target.matches("[list]")) suggest(form, event.target);
  });
  watchRows(form, soon);
};

let suggested = new Map();
const names = new Latest((address, q) => get(`${address}?${new URLSearchParams({ q })}`), {
  shown(found) {
    suggested = new Map(found.map((one) => [one.name, one.cas]));
    document.getElementById("inci-names").replaceChildren(...found.map((one) => {
      const option = document.createElement("option");
      option.value = one.name;
      if (one.cas) option.label = `${one.name}, ${one.cas}`;
      return option;
    }));
  },
});

const suggest = (form, field) => {
  if (!suggested.has(field.value)) { names.ask(form.dataset.names, field.value); return; }
  const cas = field.closest("tr").querySelector('input[name$="-cas"]');
  if (!cas.value) cas.value = suggested.get(field.value);
};

const watchRows = (form, changed) => {
  let next = rowsOf().length;
  const body = document.querySelector("#rows tbody");
  const add = () => {
    const html = document.getElementById("empty-row").innerHTML;
    body.insertAdjacentHTML("beforeend", html.replaceAll("__PLACE__", next).replaceAll("__NUMBER__", rowsOf().length + 1));
    next += 1;
    return body.lastElementChild;
  };
  document.getElementById("more-rows").addEventListener("click", (event) => {
    event.preventDefault();
    add().querySelector("input").focus();
  });
  document.getElementById("add-up").hidden = true;
  body.addEventListener("click", (event) => {
    const button = event.target.closest(".drop");
    if (!button) return;
    event.preventDefault();
    remove(button.closest("tr"), changed);
  });
  body.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("input:not([type=checkbox])")) return;
    event.preventDefault();
    const ending = event.target.name.replace(/^part-\d+/, "");
    const row = event.target.closest("tr");
    (row.nextElementSibling ?? add()).querySelector(`[name$="${ending}"]`)?.focus();
  });
};

const remove = (row, changed) => {
  const after = row.nextElementSibling;
  const name = row.querySelector("input").value || "an empty row";
  const told = document.getElementById("removed");
  const undo = document.createElement("button");
  undo.type = "button";
  undo.className = "plain-button";
  undo.textContent = "Undo";
  undo.addEventListener("click", () => {
    document.querySelector("#rows tbody").insertBefore(row, after?.isConnected ? after : null);
    told.replaceChildren();
    row.querySelector("input").focus();
    changed();
  });
  row.remove();
  told.replaceChildren(`Removed ${name}. `, undo);
  ((after?.isConnected ? after : rowsOf().at(-1))?.querySelector("input") ?? undo).focus();
  changed();
};

const watchLeaving = (form) => {
  let changed = Boolean(document.getElementById("faults"));
  form.addEventListener("input", () => { changed = true; });
  form.addEventListener("submit", () => { changed = false; });
  window.addEventListener("beforeunload", (event) => { if (changed) event.preventDefault(); });
};

focusFaults();
const finder = document.getElementById("finder");
if (finder) watchFinder(finder);
const materialForm = document.getElementById("material-form");
if (materialForm) { watchComposition(materialForm); watchLeaving(materialForm); }
