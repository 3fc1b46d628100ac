/** One letter does one thing, unless somebody is typing or has switched the letters off. */
const REMEMBERED = "tallytare-keys";

function typing(target) {
  return target.closest("input:not([type=checkbox]):not([type=radio]), textarea, select, dialog");
}

export function listenForKeys(tickBox, actions) {
  tickBox.checked = localStorage.getItem(REMEMBERED) !== "off";
  tickBox.addEventListener("change", () => {
    localStorage.setItem(REMEMBERED, tickBox.checked ? "on" : "off");
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
    if (!tickBox.checked || typing(event.target)) return;
    const letter = event.key.toLowerCase();
    const marked = document.querySelector(`[data-key="${CSS.escape(letter)}"]`);
    const action = actions[letter] ?? (marked ? () => marked.click() : null);
    if (!action) return;
    event.preventDefault();
    action();
  });
}
