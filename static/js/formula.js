// The formula page: sends what is typed, shows what follows, and leaves focus and caret alone.
"use strict";

(() => {
  const WAIT_MS = 45;
  const RETRY_MS = 3000;
  const form = document.getElementById("formula");
  const state = document.getElementById("state");
  let timer = 0;
  let running = null;
  let again = false;
  let pending = false;
  let stopped = false;

  document.documentElement.classList.add("scripted");
  form.elements.editor.value = sessionStorage.tarebookEditor ||= Math.random().toString(36).slice(2, 12);
  const keepKey = `tarebook${form.getAttribute("action")}`;

  function say(words, bad) {
    state.textContent = words;
    state.classList.toggle("unsaved", Boolean(bad));
  }

  function pieces(extra) {
    const data = new URLSearchParams(new FormData(form));
    Object.entries(extra || {}).forEach(([name, value]) => data.set(name, value));
    return data;
  }

  function later() {
    pending = true;
    if (stopped) return;
    clearTimeout(timer);
    timer = setTimeout(send, WAIT_MS);
  }

  async function send(deed, extra) {
    clearTimeout(timer);
    if (running) { again = true; await running.catch(() => {}); if (!deed) return undefined; }
    again = false;
    pending = false;
    running = post(deed, extra);
    try { return await running; } finally {
      running = null;
      if (again || pending) later();
    }
  }

  async function post(deed, extra) {
    const typed = pieces({ ...extra, ...(deed ? { do: deed } : {}) });
    sessionStorage.setItem(keepKey, typed.toString());
    let answer;
    try {
      answer = await fetch(form.action, { method: "POST", body: typed, headers: { "X-Live": "1" } });
    } catch {
      pending = true;
      say("Saving failed, still on this page. Trying again.", true);
      setTimeout(later, RETRY_MS);
      return undefined;
    }
    return took(answer, deed);
  }

  async function took(answer, deed) {
    if (answer.status === 409) { showConflict(await answer.json()); return undefined; }
    if (answer.status !== 200 && answer.status !== 422) {
      pending = true;
      say(`Saving failed (${answer.status}), still on this page. Press Ctrl S to try again.`, true);
      return undefined;
    }
    const found = await answer.json();
    show(found, deed);
    if (answer.status === 422) say(found.unsaved, true);
    else { sessionStorage.removeItem(keepKey); say(`Saved ${found.saved}${found.said ? `. ${found.said}. Undo takes it back` : ""}`); }
    return found;
  }

  function showConflict(found) {
    stopped = true;
    const box = document.getElementById("conflict");
    box.innerHTML = found.conflict;
    say("Not saved: changed in another place", true);
    box.firstElementChild.focus();
  }

  function show(found, deed) {
    stopped = false;
    document.getElementById("conflict").replaceChildren();
    form.elements.row_version.value = found.row_version;
    form.elements.base.value = found.base;
    button("undo", found.undo);
    button("redo", found.redo);
    const redrawn = deed && found.parts.lines;
    if (redrawn) redraw(found);
    document.getElementById("results").innerHTML = found.parts.results;
    document.getElementById("foot-total").textContent = document.getElementById("total").textContent;
    if (!redrawn) figures(found);
    faults(found.faults);
    document.dispatchEvent(new CustomEvent("tarebook:swapped"));
  }

  function button(id, words) {
    const one = document.getElementById(id);
    one.disabled = !words;
    one.title = words;
  }

  function redraw(found) {
    const held = document.activeElement && document.activeElement.id;
    document.getElementById("lines").innerHTML = found.parts.lines;
    document.getElementById("packs").innerHTML = found.parts.packs;
    const draft = JSON.parse(found.base);
    for (const name of ["name", "code", "batch", "fill", "loss_percent", "target_ph", "basis", "density", "product_type", "exposure", "claims", "notes", "labour_minutes", "price"]) {
      if (form.elements[name]) form.elements[name].value = draft[name];
    }
    const next = document.getElementById(found.focus) || document.getElementById(held);
    if (next) next.focus();
  }

  function figures(found) {
    for (const [line, html] of Object.entries(found.lines)) {
      const cell = form.querySelector(`[data-figures="${line}"]`);
      if (cell) cell.innerHTML = html;
    }
  }

  function faults(found) {
    form.querySelectorAll("[data-fault]").forEach((slot) => {
      const name = slot.dataset.fault;
      const input = document.getElementById(name);
      const words = found[name];
      slot.replaceChildren();
      if (words) {
        const line = document.createElement("span");
        line.className = "fault";
        line.id = `${name}-fault`;
        line.textContent = words;
        slot.append(line);
      }
      if (!input) return;
      if (words) { input.setAttribute("aria-invalid", "true"); input.setAttribute("aria-describedby", `${name}-fault`); }
      else { input.removeAttribute("aria-invalid"); input.removeAttribute("aria-describedby"); }
    });
  }

  // A line typed into the empty last row becomes a line, and a new empty row follows it.
  function grow(input) {
    const row = input.closest(".line");
    if (!row || row.nextElementSibling || !input.value.trim()) return;
    const fresh = row.cloneNode(true);
    const old = row.dataset.line;
    const id = `r${Math.random().toString(36).slice(2, 12)}`;
    fresh.innerHTML = fresh.innerHTML.replaceAll(old, id);
    fresh.dataset.line = id;
    fresh.querySelectorAll("input:not([type=hidden])").forEach((one) => {
      if (one.type === "checkbox") one.checked = false; else { one.value = ""; one.setAttribute("value", ""); one.readOnly = false; }
      one.removeAttribute("aria-invalid");
      one.removeAttribute("aria-describedby");
    });
    fresh.querySelectorAll(".choices, .offers, .fault").forEach((one) => one.remove());
    fresh.querySelector("[data-figures]").replaceChildren();
    row.after(fresh);
  }

  form.addEventListener("input", (event) => {
    if (event.target.matches(".line [data-suggest], .line .cell-amount input")) grow(event.target);
    if (event.target.name && !event.target.closest(".conflict")) later();
  });

  form.addEventListener("change", (event) => {
    const one = event.target;
    if (one.name === "qs" && one.checked) only(one);
    if (one.matches("[data-redraw], [data-adds]")) send("redraw");
  });

  // The line that fills up is one; ticking another moves it.
  function only(box) {
    form.querySelectorAll("input[name=qs]:checked").forEach((other) => {
      if (other === box) return;
      other.checked = false;
      lock(other);
    });
    lock(box);
    later();
  }

  function lock(box) {
    const amount = document.getElementById(`line.${box.value}.amount`);
    amount.readOnly = box.checked;
    if (box.checked) amount.value = "";
  }

  form.addEventListener("change", (event) => { if (event.target.name === "qs") lock(event.target); });

  form.addEventListener("tarebook:taken", async (event) => {
    const row = event.target.closest(".line");
    const id = row.dataset.line;
    grow(event.target);
    form.elements[`line.${id}.choice`].value = event.detail.value;
    const library = event.detail.value.startsWith("library:");
    await send(library ? "redraw" : undefined);
    const amount = document.getElementById(`line.${id}.amount`);
    if (amount) { amount.focus(); amount.select(); }
    const choice = form.elements[`line.${id}.choice`];
    if (choice) choice.value = "";
  });

  form.addEventListener("submit", (event) => {
    const pressed = event.submitter;
    if (!pressed || pressed.name !== "do") return;
    event.preventDefault();
    send(pressed.value === "recalculate" ? undefined : pressed.value);
  });

  form.addEventListener("keydown", (event) => {
    const control = event.ctrlKey || event.metaKey;
    const key = event.key.toLowerCase();
    if (control && key === "s") { event.preventDefault(); send(); return; }
    const cell = event.target.closest(".line input");
    if (cell && event.altKey && (event.key === "ArrowUp" || event.key === "ArrowDown")) {
      event.preventDefault();
      send(`line-${event.key === "ArrowUp" ? "up" : "down"}:${cell.closest(".line").dataset.line}`);
    } else if (cell && event.key === "Enter" && cell.type !== "checkbox") {
      event.preventDefault();
      along(cell, event.shiftKey ? -1 : 1);
    } else if (event.key === "Enter" && event.target.matches("input")) {
      event.preventDefault();
      send();
    } else if (event.key === "Escape" && event.target.matches("input, textarea") && "before" in event.target.dataset) {
      event.target.value = event.target.dataset.before;
      later();
    }
  });

  // Undo of the table, when the field that has the focus was not typed into since it got it.
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey)) return;
    const key = event.key.toLowerCase();
    const back = key === "z" && !event.shiftKey;
    const forth = key === "y" || (key === "z" && event.shiftKey);
    const held = document.activeElement;
    const untouched = !held || !("before" in held.dataset) || held.value === held.dataset.before;
    if ((back || forth) && untouched && (held === document.body || form.contains(held))) {
      event.preventDefault();
      send(back ? "undo" : "redo");
    }
  });

  form.addEventListener("focusin", (event) => {
    if (event.target.matches("input:not([type=checkbox]), textarea")) event.target.dataset.before = event.target.value;
  });

  function along(cell, step) {
    const column = cell.id.split(".").pop();
    const cells = [...form.querySelectorAll(".line input")].filter((one) => one.id.endsWith(`.${column}`));
    const next = cells[cells.indexOf(cell) + step];
    if (next) { next.focus(); next.select(); }
  }

  form.addEventListener("paste", async (event) => {
    const text = event.clipboardData ? event.clipboardData.getData("text/plain") : "";
    if (!event.target.matches(".line input") || !/[\t\n]/.test(text.trim())) return;
    event.preventDefault();
    const phase = event.target.closest(".phase").dataset.phase;
    await send();
    const sheet = document.createElement("form");
    sheet.method = "post";
    sheet.action = `${form.getAttribute("action")}/paste`;
    for (const [name, value] of [["rows", text], ["phase", phase]]) {
      const field = document.createElement("textarea");
      field.name = name;
      field.value = value;
      sheet.append(field);
    }
    sheet.hidden = true;
    document.body.append(sheet);
    sheet.submit();
  });

  // Dragging a line by its grip, with a mouse, a pen or a finger.
  let dragged = null;
  form.addEventListener("pointerdown", (event) => {
    const grip = event.target.closest(".grip");
    if (!grip) return;
    dragged = grip.closest(".line");
    dragged.classList.add("dragged");
    grip.setPointerCapture(event.pointerId);
  });
  form.addEventListener("pointermove", (event) => {
    if (!dragged) return;
    const under = document.elementFromPoint(event.clientX, event.clientY);
    const row = under && under.closest(".line");
    if (!row || row === dragged || !form.contains(row)) return;
    const below = event.clientY > row.getBoundingClientRect().top + row.offsetHeight / 2;
    if (below && row.nextElementSibling) row.after(dragged); else row.before(dragged);
  });
  form.addEventListener("pointerup", () => {
    if (!dragged) return;
    dragged.classList.remove("dragged");
    dragged.querySelector("[data-phase-of]").value = dragged.closest(".phase").dataset.phase;
    dragged = null;
    send();
  });

  window.addEventListener("beforeunload", (event) => {
    if (stopped || state.classList.contains("unsaved")) event.preventDefault();
    else if (pending) navigator.sendBeacon(form.action, pieces());
  });

  // What was typed but never reached the server is offered again after a crash or a lost connection.
  const left = sessionStorage.getItem(keepKey);
  if (left) restore(new URLSearchParams(left));

  function restore(typed) {
    sessionStorage.removeItem(keepKey);
    let changed = false;
    for (const field of form.elements) {
      if (!field.name || field.type === "hidden" || field.type === "checkbox" || !typed.has(field.name)) continue;
      if (field.value !== typed.get(field.name)) { field.value = typed.get(field.name); changed = true; }
    }
    if (changed) { say("Brought back what was not saved yet"); later(); }
  }
})();
