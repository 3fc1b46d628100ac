/** A button that prints the page: phones have no Ctrl+P. Without script it stays hidden. */
for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
