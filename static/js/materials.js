// Shortens the trips of the material pages; each of them works without it.
"use strict";

const after = (wait, deed) => {
  let timer = 0;
  return () => { window.clearTimeout(timer); timer = window.setTimeout(deed, wait); };
};

const focusFaults = () => { document.getElementById("faults")?.focus(); };

const watchFinder = (form) => {
  const results = document.getElementById("results");
  let asked = 0;
  const show = async () => {
    const mine = ++asked;
    const query = new URLSearchParams(new FormData(form));
    for (const [name, value] of [...query]) { if (!value) query.delete(name); }
    const answer = await fetch(`${form.dataset.results}?${query}`).catch(() => null);
    if (!answer?.ok || mine !== asked) return;
    const text = await answer.text();
    if (mine !== asked) return;
    results.innerHTML = text;
    window.history.replaceState(null, "", query.size ? `${form.action}?${query}` : form.action);
  };
  form.elements.q.addEventListener("input", after(150, show));
};

const rowsOf = () => [...document.querySelectorAll("#rows tbody tr")];

const showSum = (told) => {
  document.getElementById("sum").innerHTML = told.html;
  rowsOf().forEach((row, place) => {
    row.querySelector(".counted").textContent = told.counted[place] ?? "\u2013";
    row.querySelector(".remark").textContent = told.remarks[place] ?? "";
  });
};

const watchComposition = (form) => {
  let asked = 0;
  const addUp = async () => {
    const mine = ++asked;
    const answer = await fetch(form.dataset.sum, { method: "POST", body: new FormData(form) }).catch(() => null);
    if (!answer?.ok || mine !== asked) return;
    const told = await answer.json();
    if (mine === asked) showSum(told);
  };
  const soon = after(300, addUp);
  form.addEventListener("input", (event) => {
    if (event.target.closest("#rows")) soon();
    if (event.target.matches("[list]")) suggest(form, event.target);
  });
  watchRows(form, soon);
};

let suggested = new Map();
let askedNames = 0;

const suggest = async (form, field) => {
  if (suggested.has(field.value)) {
    const cas = field.closest("tr").querySelector('input[name$="-cas"]');
    if (!cas.value) cas.value = suggested.get(field.value);
    return;
  }
  const mine = ++askedNames;
  const answer = await fetch(`${form.dataset.names}?${new URLSearchParams({ q: field.value })}`).catch(() => null);
  if (!answer?.ok || mine !== askedNames) return;
  const names = await answer.json();
  suggested = new Map(names.map((one) => [one.name, one.cas]));
  document.getElementById("inci-names").replaceChildren(...names.map((one) => {
    const option = document.createElement("option");
    option.value = one.name;
    if (one.cas) option.label = `${one.name}, ${one.cas}`;
    return option;
  }));
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
