// The rows of the formula page: a new empty one follows what is typed, one line fills up, lines are dragged.

const EDGE_PX = 60;

const freshId = () => `r${Math.random().toString(36).slice(2, 12)}`;

// A line typed into the empty last row becomes a line, and a new empty row follows it.
export function grow(input) {
  const row = input.closest(".line");
  if (!row || row.nextElementSibling || !input.value.trim()) return;
  const fresh = row.cloneNode(true);
  const id = freshId();
  for (const one of [fresh, ...fresh.querySelectorAll("*")]) {
    for (const attribute of [...one.attributes]) {
      if (attribute.value.includes(row.dataset.line)) attribute.value = attribute.value.replaceAll(row.dataset.line, id);
    }
  }
  fresh.querySelectorAll(".choices, .fault").forEach((one) => one.remove());
  fresh.querySelectorAll("[data-f], [data-c], [data-offers]").forEach((one) => one.replaceChildren());
  fresh.querySelectorAll(".waiting, .unsaved").forEach((one) => one.classList.remove("waiting", "unsaved"));
  fresh.classList.remove("fills-up", "unsaved");
  fresh.querySelectorAll("input:not([type=hidden])").forEach(empty);
  fresh.querySelector("[data-suggest]").setAttribute("aria-expanded", "false");
  row.after(fresh);
}

function empty(field) {
  ["aria-invalid", "aria-describedby", "aria-controls", "aria-activedescendant"].forEach((one) => field.removeAttribute(one));
  if (field.type === "checkbox") { field.checked = false; return; }
  field.value = "";
  if ("suggest" in field.dataset) field.placeholder = "Add a material";
  else field.removeAttribute("placeholder");
  field.removeAttribute("autofocus");
  field.readOnly = false;
  delete field.dataset.before;
}

// One line fills up to 100: ticking another moves it, and its own amount waits in the field until then.
export function fillsUpOnce(form, box) {
  if (box.checked) {
    form.querySelectorAll("[name=qs]:checked").forEach((other) => {
      if (other !== box) { other.checked = false; lock(other); }
    });
  }
  lock(box);
}

export function lock(box) {
  const amount = document.getElementById(`line.${box.value}.amount`);
  box.closest(".line").classList.toggle("fills-up", box.checked);
  amount.readOnly = box.checked;
  if (box.checked) { amount.dataset.kept = amount.value; amount.value = ""; }
  else { amount.value = amount.value || amount.dataset.kept || ""; amount.placeholder = ""; }
}

// How many decimals a number has, so that a column stands at its point; the same as the page was drawn with.
export function align(lines) {
  const fields = [...lines.querySelectorAll(".cell-amount input.number")];
  const counts = fields.map((field) => decimals(field.value || field.placeholder));
  fields.forEach((field, place) => {
    const wanted = `dec-${counts[place]}`;
    if (!field.classList.contains(wanted)) field.className = `number ${wanted}`;
  });
  const grams = [...lines.querySelectorAll(".grams")];
  const places = grams.map((one) => decimals(one.textContent));
  grams.forEach((one, place) => { one.className = `grams dec-${places[place]}${one.classList.contains("waiting") ? " waiting" : ""}`; });
  const most = (found) => Math.max(0, ...found.filter((count) => count !== ""));
  lines.className = `places-${most(counts)} grams-${most(places)}`;
}

// The same for the amounts that are tried: percent now, tried and changed in one row of points, grams in another.
export function alignTrial(table) {
  const place = (cells) => Math.max(0, ...cells.map((cell) => {
    const count = decimals(cell.value || cell.placeholder || cell.textContent);
    cell.className = [...cell.classList].filter((one) => !one.startsWith("dec-")).concat(`dec-${count}`).join(" ");
    return Number(count);
  }));
  const percent = place([...table.querySelectorAll("[data-now], [data-change], input")]);
  table.className = `trial places-${percent} grams-${place([...table.querySelectorAll("[data-grams]")])}`;
}

function decimals(text) {
  const number = text.trim().replace(/^[+−]/, "").replace(/[g%]$/, "").trim().replace(",", ".");
  const found = /^\d*(?:\.(\d+))?$/.exec(number);
  return found && number ? Math.min((found[1] || "").length, 6) : "";
}

// Dragging a line by its grip, with a mouse, a pen or a finger.
export function watchDragging(form, done) {
  let dragged = null;
  form.addEventListener("pointerdown", (event) => {
    const grip = event.target.closest(".grip");
    if (!grip || event.button > 0) return;
    event.preventDefault();
    dragged = grip.closest(".line");
    dragged.classList.add("dragged");
    grip.setPointerCapture(event.pointerId);
  });
  form.addEventListener("pointermove", (event) => {
    if (!dragged) return;
    if (event.clientY < EDGE_PX) window.scrollBy(0, -12);
    if (event.clientY > window.innerHeight - EDGE_PX) window.scrollBy(0, 12);
    const under = document.elementFromPoint(event.clientX, event.clientY);
    const row = under && under.closest(".line");
    if (!row || row === dragged || !form.contains(row)) return;
    const below = event.clientY > row.getBoundingClientRect().top + row.offsetHeight / 2;
    if (below && row.nextElementSibling) row.after(dragged); else row.before(dragged);
  });
  const drop = () => {
    if (!dragged) return;
    dragged.classList.remove("dragged");
    dragged.querySelector("[data-phase-of]").value = dragged.closest(".phase").dataset.phase;
    dragged = null;
    done();
  };
  form.addEventListener("pointerup", drop);
  form.addEventListener("pointercancel", drop);
}
