/** The dialogue that corrects something already recorded. */
export class CorrectionDialog {
  constructor(dialog) {
    this.dialog = dialog;
    this.form = dialog.querySelector("form");
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.finish({
        category: this.form.elements.category.value,
        count: Number.parseInt(this.form.elements.count.value, 10),
        reason: this.form.elements.reason.value.trim(),
      });
    });
    dialog.querySelector("[data-close]").addEventListener("click", () => dialog.close());
    dialog.addEventListener("close", () => this.finish(null));
  }

  ask(item) {
    this.form.elements.category.value = item.category;
    this.form.elements.count.value = String(item.count);
    this.form.elements.reason.value = "";
    this.dialog.showModal();
    this.form.elements.category.focus();
    return new Promise((resolve) => { this.resolve = resolve; });
  }

  finish(answer) {
    const resolve = this.resolve;
    this.resolve = null;
    if (this.dialog.open) this.dialog.close();
    if (resolve) resolve(answer);
  }
}
