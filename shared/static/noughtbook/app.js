/* Three things that HTML cannot do alone. Every page works without them. */
(() => {
  "use strict";
  document.documentElement.classList.add("scripted");

  // Many phones have no minus key on their number pad; frozen food and ice need one.
  document.addEventListener("click", (event) => {
    const key = event.target.closest("[data-sign-of]");
    if (!key) return;
    const box = document.getElementById(key.dataset.signOf);
    const text = box.value.trim();
    box.value = /^[-\u2212]/.test(text) ? text.slice(1) : "\u2212" + text;
    box.dispatchEvent(new Event("input", { bubbles: true }));
    box.focus();
  });

  // A filter sheet whose list is renewed in place has done its work.
  document.addEventListener("submit", (event) => {
    if (event.target.matches("[popover][hx-get]:popover-open")) event.target.hidePopover();
  });

  // A wet finger taps twice: the second tap within three seconds sends nothing.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!("once" in form.dataset)) return;
    if (form.ariaBusy === "true") return event.preventDefault();
    form.ariaBusy = "true";
    setTimeout(() => { form.ariaBusy = null; }, 3000);
  });
})();
