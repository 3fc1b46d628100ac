/** The weighing form: words that fit the method, and the net weight while typing. */
import { byId, pageData } from "./dom.js";
import { rememberSorter } from "./sorter.js";

const GRAMS = { kg: 1000, g: 1, lb: 453.59237, oz: 28.349523125 };
const LABELS = {
  container: ["Gross", "Tare"],
  difference: ["Person with the bag", "Person alone"],
};
const form = document.querySelector("[data-weigh]");

/** Only plain numbers that have one meaning; anything else is for the server to judge, with its reasons. */
function number(text) {
  const typed = text.trim();
  if (/^[1-9]\d{0,2},\d{3}$/.test(typed)) return null; // 1,250: a thousand more, or one and a quarter
  const plain = typed.replace(",", ".");
  return /^\d+(\.\d+)?$/.test(plain) ? Number(plain) : null;
}

function setLabel(name, words) {
  const label = form.querySelector(`label[for="f-${name}"]`);
  label.textContent = words;
}

function chosenMethod() {
  return form.querySelector("input[name=method]:checked").value;
}

function showMethod() {
  const method = chosenMethod();
  const readings = form.querySelector("[data-readings]");
  readings.hidden = method === "below_resolution";
  for (const input of readings.querySelectorAll("input, select")) input.disabled = readings.hidden;
  if (LABELS[method]) {
    setLabel("gross", LABELS[method][0]);
    setLabel("tare", LABELS[method][1]);
  }
  const library = byId("f-tare_from");
  if (library) library.closest(".field").hidden = method !== "container";
  showNet();
}

function shown(grams) {
  return grams < 1000 ? `${Math.round(grams * 10) / 10} g` : `${(grams / 1000).toFixed(3)} kg`;
}

function tareGrams(unit) {
  const chosen = byId("f-tare_from")?.selectedOptions[0];
  if (chosen?.value && chosenMethod() === "container") {
    const tare = pageData("tare-data").find((each) => each.id === chosen.value);
    return Number(tare.weight) * GRAMS[tare.unit];
  }
  const typed = byId("f-tare").value;
  if (!typed.trim()) return 0;
  const value = number(typed);
  return value === null ? null : value * GRAMS[unit];
}

function showNet() {
  const place = form.querySelector("[data-net]");
  place.textContent = "";
  if (chosenMethod() === "below_resolution") return;
  const unit = byId("f-unit").value;
  const gross = number(byId("f-gross").value);
  const tare = tareGrams(unit);
  if (gross === null || tare === null) return;
  const net = gross * GRAMS[unit] - tare;
  place.textContent = net > 0 ? `Net ${shown(net)}`
    : "The tare is not below the gross weight: check the readings and the unit.";
}

/** A second bucketful of a pile is no second weighing of the first: only the sorter can tell. */
function showAgain() {
  const load = byId("f-pile").selectedOptions[0]?.dataset.load;
  const choice = form.querySelector("[data-again]");
  choice.hidden = !load;
  choice.disabled = !load;
  if (!load) return;
  choice.querySelector("input").value = load;
  choice.querySelector("[data-which]").textContent = load === "1" ? "The same" : `Bucketful ${load}`;
}

function chooseAgain() {
  for (const input of form.querySelectorAll("input[name=load]")) input.checked = false;
  showAgain();
}

if (form) {
  for (const input of form.querySelectorAll("input[name=method]")) {
    input.addEventListener("change", showMethod);
  }
  form.addEventListener("input", showNet);
  showMethod();
  byId("f-pile").addEventListener("change", chooseAgain);
  showAgain();
  const sorter = byId("f-sorter");
  if (sorter.dataset.sort) rememberSorter(sorter, sorter.dataset.sort);
}
document.querySelector("[data-refusal]")?.focus();
