/* A whole check at zero without the server: what is ticked and typed is kept at once, and sent when it is finished. */
(() => {
  "use strict";
  const form = document.getElementById("whole");
  if (!form || !self.kept || !self.isSecureContext) return;
  const { probe, code, site, tolerance, allowed, longest, most } = form.dataset;
  const mine = document.head.querySelector("meta[name=person]")?.content, name = `check of ${probe} by ${mine}`;
  const { milliOf } = kept, part = (id) => document.getElementById(id), run = crypto.randomUUID();
  const about = { title: `Zero check of ${code}`, person: mine, url: `/probes/${probe}/check/whole/` };
  const fresh = () => ({ ...about, key: crypto.randomUUID(), inserted: null, numbers: [], struck: [], fields: {} });
  let draft = fresh();

  // The clock of the page goes on evenly, also where that of the phone is set; after the page was left that one has to do.
  const elapsed = () => {
    const { wall, even, page } = draft.inserted;
    return Math.max(0, Math.round(page === run ? performance.now() - even : Date.now() - wall));
  };
  let saved = Promise.resolve(), finished = false;
  // A number is listed once it is on the disk: what somebody sees there is there again after the page was left.
  const save = () => {
    saved = saved.then(() => finished || kept.write(name, draft)).then(() => kept.inTime(mine))
      .catch(() => wrong("This phone has no room left: write it on paper.")).then(show);
  };
  const wrong = (words) => {
    part("wrong").textContent = words;
    part("wrong").hidden = !words;
  };
  const clock = (ms) => `${Math.floor(ms / 60000)}:${String(Math.floor(ms / 1000) % 60).padStart(2, "0")}`;

  const show = () => {
    const way = form.elements.way.value, unit = form.elements.unit.value, last = draft.numbers.at(-1);
    for (const set of form.querySelectorAll("[data-way]")) set.hidden = set.disabled = set.dataset.way !== way;
    part("unit-label").textContent = `°${unit}`;
    part("inside").hidden = !draft.inserted;
    part("in").hidden = Boolean(draft.inserted);
    part("finish-whole").disabled = !last;
    part("taken").replaceChildren(...draft.numbers.map(([at, text], number) => taken(at, text, unit, number)).reverse());
    const outside = [...draft.numbers, ...draft.struck].some(([, text]) => Math.abs(milliOf(text, unit)) > Number(tolerance));
    const beyond = last && Math.abs(milliOf(last[1], unit)) > Number(tolerance);
    const words = document.createElement("p");
    words.className = `form-errors tone-${outside ? "bad" : "info"}`;
    words.textContent = beyond ? `Off by more than allowed (${allowed}): do not use.`
      : outside ? `A number was off by more than allowed (${allowed}): do not use.`
        : "Not off by more than allowed so far. It is judged when the network is back: until then this clears nothing.";
    part("afresh").hidden = outside; // such a number is not to be lost
    part("finish-first").hidden = !outside;
    part("alone").replaceChildren(...(last || outside ? [words] : []));
  };
  const taken = (at, text, unit, number) => {
    const line = document.createElement("li"), button = document.createElement("button");
    Object.assign(button, { type: "button", className: "text-button", textContent: "Take back", ariaLabel: `Take back ${text} at ${clock(at)}` });
    button.addEventListener("click", () => {
      draft.struck.push(...draft.numbers.splice(number, 1));
      save();
    });
    line.append(Object.assign(document.createElement("span"), { className: "number quiet", textContent: clock(at) }),
      Object.assign(document.createElement("strong"), { className: "number", textContent: `${text} °${unit}` }), button);
    return line;
  };
  setInterval(() => { if (draft.inserted) part("elapsed").textContent = clock(elapsed()); }, 500);

  part("in").addEventListener("click", () => {
    draft.inserted = { wall: Date.now(), even: performance.now(), page: run };
    save();
    show();
    part("value").focus();
  });
  const note = () => {
    const box = part("value"), text = box.value.trim(), at = elapsed();
    if (Number.isNaN(milliOf(text, form.elements.unit.value))) return wrong("Type the number that the display shows, such as 0.3.");
    if (at > Number(longest) || draft.numbers.length + draft.struck.length >= Number(most)) return wrong("This check has gone on too long to time it. Finish it, or begin again.");
    wrong("");
    draft.numbers.push([Math.max(at, (draft.numbers.at(-1)?.[0] ?? -1) + 1), text.replace(/\u2212/g, "-")]);
    box.value = "";
    box.focus();
    save();
  };
  part("note-it").addEventListener("click", note);
  form.addEventListener("submit", (event) => event.preventDefault());
  part("value").addEventListener("keydown", (event) => { if (event.key === "Enter") note(); });
  form.addEventListener("change", () => {
    draft.fields = { ...Object.fromEntries(new FormData(form)), points: new FormData(form).getAll("points") };
    save();
    show();
  });
  part("afresh").addEventListener("click", async () => {
    if (!confirm("Begin again? What was typed here is then gone.")) return;
    await kept.forget(name);
    location.reload();
  });

  const finish = async (noFigure) => {
    finished = true;
    await saved;
    const told = new FormData(form), points = told.getAll("points"), fell = told.get("fell"), left = fell === "no" ? ["fell"] : [];
    const last = draft.numbers.at(-1)?.[0] ?? 0, { off, said } = await kept.clock();
    const at = noFigure || !draft.inserted ? Date.now() : Date.now() - elapsed() + last;
    const fields = {
      key: draft.key, probe, site, way: told.get("way"), stage: told.get("stage"), unit: told.get("unit"), note: told.get("note"),
      immersion_mm: told.get("immersion_mm"), numbers: JSON.stringify(draft.numbers), struck: JSON.stringify(draft.struck),
      no_figure: noFigure, points: [...points, ...(fell === "yes" ? ["fell"] : [])], left,
    };
    const { key } = draft, { title } = about;
    await kept.add({ what: "check", person: mine, at, off, said, query: "", key, title, fields, ...await kept.stateOf(mine) }, name);
    const worker = await navigator.serviceWorker.ready;
    await worker.sync?.register("send").catch(() => {});
    location.assign(`/phone/?check=${key}`);
  };
  part("finish-whole").addEventListener("click", () => finish(""));
  for (const button of form.querySelectorAll("[data-no-figure]")) {
    button.addEventListener("click", () => finish(button.dataset.noFigure));
  }

  const restore = async () => {
    draft = { ...fresh(), ...(await kept.note(name)) };
    for (const box of form.elements) {
      const value = draft.fields[box.name];
      if (box.type === "checkbox") box.checked = (draft.fields.points ?? []).includes(box.value);
      else if (box.type === "radio") box.checked = value === undefined ? box.defaultChecked : value === box.value;
      else if (value !== undefined) box.value = value;
    }
    show();
  };
  form.inert = true; // what is tapped before would be lost with what was kept
  restore().finally(() => { form.inert = false; });
})();
