// The pH, the checks and the notes of the margin follow each save. What waits is marked; when it cannot be worked out,
// what stands there is struck through and said to be of the formula before.
import { get, Latest } from "./latest.js";

const fault = document.getElementById("after-fault");
const waiting = () => document.querySelectorAll("[data-after]");
const notes = () => [...document.querySelectorAll(".note")];

function mark(name, on) {
  waiting().forEach((one) => one.classList.toggle(name, on));
  notes().filter((note) => note.open).forEach((note) => note.querySelector(".note-body").classList.toggle(name === "waiting" ? "note-waiting" : "stale", on));
}

export function set(place, words) {
  if (!place || place.textContent === words) return;
  place.textContent = words;
  place.classList.remove("changed");
  requestAnimationFrame(() => place.classList.add("changed"));
}

function show(found, stale) {
  const { ph, checks, bodies } = found;
  const strip = document.getElementById("strip-ph");
  strip.classList.toggle("off", ph.off);
  set(document.getElementById("ph-target"), ph.target);
  set(strip.querySelector(".strip-figure"), ph.figure);
  document.getElementById("strip-ruler").innerHTML = ph.ruler;
  const count = document.getElementById("strip-checks");
  count.className = `strip-figure checks-${checks.worst}`;
  const worst = checks.words.split(",", 1)[0];
  [worst, checks.short, checks.words.slice(worst.length)].forEach((words, place) => set(count.children[place], words));
  set(document.querySelector("[data-n=ph]"), ph.note);
  set(document.querySelector("[data-n=checks]"), checks.words);
  for (const [name, html] of Object.entries(bodies)) body(name, html);
  notes().filter((note) => !(note.dataset.note in bodies)).forEach((note) => { note.dataset.old = "1"; });
  fault.hidden = true;
  mark("stale", false);
  mark("waiting", stale);
  document.dispatchEvent(new CustomEvent("tarebook:swapped"));
}

function body(name, html) {
  const place = document.querySelector(`[data-body="${name}"]`);
  const open = new Set([...place.querySelectorAll("details[open]")].map((one) => one.id || one.firstElementChild.textContent));
  place.innerHTML = html;
  place.querySelectorAll("details").forEach((one) => { one.open = open.has(one.id || one.firstElementChild.textContent); });
  delete place.closest(".note").dataset.old;
}

const asking = new Latest((address) => {
  const query = new URLSearchParams(notes().filter((note) => note.open).map((note) => ["open", note.dataset.note]));
  return get(`${address}/follows?${query}`);
}, {
  shown: show,
  failed() {
    mark("waiting", false);
    mark("stale", true);
    fault.hidden = false;
  },
});

let from = "";

// The formula has changed: what is shown belongs to the one before until the answer comes.
export function wait() { mark("waiting", true); }

export function ask(address) {
  from = address;
  wait();
  asking.ask(address);
}

// Nothing can be asked because nothing could be saved.
export function lost() {
  mark("waiting", false);
  mark("stale", true);
  fault.hidden = false;
}

document.getElementById("after-again").addEventListener("click", () => { if (from) ask(from); else document.dispatchEvent(new CustomEvent("tarebook:again")); });

// A note that was closed while the formula changed is asked for when it is opened.
document.addEventListener("toggle", (event) => {
  const note = event.target;
  if (note.matches?.(".note") && note.open && note.dataset.old && from) ask(from);
}, true);
