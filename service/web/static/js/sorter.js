/** Who sorts on this device: one of those named at the start, or somebody who came later. */
const LONGEST = 80;

/** Chooses a name, as an option of its own if the list does not hold it. */
function choose(field, name) {
  if (![...field.options].some((each) => each.value === name)) {
    field.querySelector("[data-other]").before(new Option(name));
  }
  field.value = name;
}

export function rememberSorter(field, sort) {
  const key = `tallytare-sorter-${sort}`;
  const before = localStorage.getItem(key);
  if (!field.options) {
    field.value = before ?? "";
    field.addEventListener("change", () => localStorage.setItem(key, field.value));
    return;
  }
  if (before) choose(field, before);
  let last = field.value;
  field.addEventListener("change", () => {
    const name = field.value || window.prompt("Who sorts here?")?.trim().slice(0, LONGEST);
    choose(field, name || last);
    last = field.value;
    localStorage.setItem(key, last);
  });
}
