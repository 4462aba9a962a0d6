/* A few things that HTML cannot do alone. Every page works without them. */
(() => {
  "use strict";
  document.documentElement.classList.add("scripted");

  // HTMX acts on what our templates sealed for whoever looks, and on nothing that came of what somebody typed.
  const seal = document.head.querySelector("meta[name=seal]")?.content;
  document.addEventListener("htmx:configRequest", (event) => {
    if (!seal || event.detail.elt.dataset.seal !== seal) event.preventDefault();
  });

  // What went wrong is met first, by eye and by screen reader, also far down a long page.
  document.querySelector(".error-summary")?.focus();

  // On a phone the tab that is shown may lie beyond the edge.
  for (const tab of document.querySelectorAll(".tabs a[aria-current]")) {
    const strip = tab.closest(".tabs");
    const inside = tab.getBoundingClientRect().left - strip.getBoundingClientRect().left;
    strip.scrollLeft += inside - (strip.clientWidth - tab.offsetWidth) / 2;
  }

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

  // What was measured here lately is one tap away.
  document.addEventListener("click", (event) => {
    const key = event.target.closest("[data-fill]");
    if (key) document.getElementById(key.dataset.fill).value = key.textContent;
  });

  // A new site is most often where it is entered from. What somebody chose before is left alone.
  const zone = document.querySelector("select[data-browser-zone]");
  if (zone && (zone.selectedOptions[0]?.defaultSelected ?? true)) {
    const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
    if ([...zone.options].some((option) => option.value === here)) zone.value = here;
  }

  // Where many are ticked, one tap ticks them all.
  for (const key of document.querySelectorAll("[data-tick-all]")) {
    const group = key.closest("fieldset");
    const boxes = [...group.querySelectorAll('input[type="checkbox"]')];
    const all = () => boxes.every((box) => box.checked);
    const say = () => { key.textContent = all() ? "Untick all" : "Tick all"; };
    key.hidden = boxes.length < 3;
    key.addEventListener("click", () => {
      const tick = !all();
      for (const box of boxes) box.checked = tick;
      group.dispatchEvent(new Event("change", { bubbles: true }));
    });
    group.addEventListener("change", say);
    say();
  }

  // A filter sheet whose list is renewed in place has done its work.
  document.addEventListener("submit", (event) => {
    if (event.target.matches("[popover][hx-get]:popover-open")) event.target.hidePopover();
  });

  // The clock of a check runs here, from what the server said when it made the part; what counts are its own times of taps.
  const started = new WeakMap();
  const stopwatch = (seconds) => {
    const [hours, minutes, rest] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
    const two = (number) => String(number).padStart(2, "0");
    return hours ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`;
  };
  const show = (part, text) => { if (part.textContent !== text) part.textContent = text; };
  const passed = (part) => {
    if (!started.has(part)) started.set(part, Date.now());
    return Math.max(0, Date.now() - started.get(part));
  };
  const tick = () => {
    for (const clock of document.querySelectorAll("[data-clock]")) {
      show(clock, stopwatch(Math.floor((Number(clock.dataset.clock) + passed(clock)) / 1000)));
    }
    for (const part of document.querySelectorAll("[data-left]")) {
      const left = Math.ceil((Number(part.dataset.left) - passed(part)) / 1000);
      show(part, left > 0 ? `${stopwatch(left)} left` : "Type it now");
    }
  };
  tick();
  setInterval(tick, 500);
  document.addEventListener("htmx:load", tick);

  // The focus goes to what is next; never onto a button that the second tap of a wet finger would press.
  let shownAt = performance.now();
  const goOn = (options) => {
    shownAt = performance.now();
    document.querySelector("#check [data-next]")?.focus(options);
  };
  if (!document.querySelector(".error-summary")) goOn({ preventScroll: true });
  document.addEventListener("htmx:afterSettle", (event) => { if (event.detail.target?.id === "check") goOn(); });

  // In one bath the button of the next probe comes where the last one was: the second tap of a wet finger is not for it.
  document.addEventListener("click", (event) => {
    const soon = event.detail > 0 && performance.now() - shownAt < 400;
    if (soon && event.target.closest("#finish-bath, .together ~ section #insert")) event.preventDefault();
  }, true);

  // With the keyboard of a phone open, the number, its button and what to do stay in sight together.
  window.addEventListener("resize", () => {
    if (document.activeElement?.id === "value") document.activeElement.form.scrollIntoView({ block: "nearest" });
  });

  // A page that somebody comes back to may be old, and its clock may have slept with the phone.
  const look = () => document.getElementById("now")?.dispatchEvent(new Event("look"));
  document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
  window.addEventListener("pageshow", (event) => {
    if (event.persisted || performance.getEntriesByType("navigation")[0]?.type === "back_forward") look();
  });

  // That something could not be saved holds until it is sent again.
  document.addEventListener("htmx:beforeRequest", (event) => {
    if (event.detail.requestConfig.verb === "post") document.getElementById("not-saved")?.replaceChildren();
  });

  // A round is typed without a tap: Enter goes on to the next box, and going on to another line saves the one that is left.
  const boxes = () => [...document.querySelectorAll("[data-sheet] [data-box]")];
  const lineOf = (box) => box?.closest?.("[data-box]")?.closest("li");
  const saveLine = (line) => { if (/\d/.test(line.querySelector("[data-number]").value)) line.querySelector("[data-save]").click(); };
  document.addEventListener("keydown", (event) => {
    const line = lineOf(event.target);
    if (!line || event.key !== "Enter") return;
    event.preventDefault();
    const all = boxes();
    const next = all[all.indexOf(event.target) + 1] ?? all.find((box) => lineOf(box) !== line);
    if (next) next.focus();
    else saveLine(line);
  });
  document.addEventListener("focusin", (event) => { // behind a sign that is there already
    if (event.target.matches("[data-number]")) event.target.setSelectionRange(99, 99);
  });
  document.addEventListener("focusout", (event) => {
    const [line, other] = [lineOf(event.target), lineOf(event.relatedTarget)];
    if (line && other && line !== other) saveLine(line);
  });
  document.addEventListener("htmx:load", (event) => {
    const line = event.detail.elt;
    if (!line.matches(".sheet-line") || document.activeElement !== document.body || line.querySelector("[role=alert], fieldset")) return;
    boxes().find((box) => line.compareDocumentPosition(box) & Node.DOCUMENT_POSITION_FOLLOWING)?.focus();
  });
  document.addEventListener("click", (event) => { // also where it was chosen already
    if (event.target.matches("[data-sheet] [name=probe]")) boxes()[0]?.focus();
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
