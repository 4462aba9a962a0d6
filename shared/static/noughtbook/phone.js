/* What a page says of the phone: how much is kept and not sent yet, that its clock is off, what cannot be done without network. */
(() => {
  "use strict";
  const workers = navigator.serviceWorker;
  if (!workers || !self.indexedDB) return; // over plain http all works as before, with network alone
  const shell = "/phone/", mine = document.head.querySelector("meta[name=person]")?.content;
  const isShell = Boolean(document.getElementById("kept-acts")), hook = document.getElementById("not-saved");
  const post = (message) => workers.ready.then((found) => found.active?.postMessage(message));
  const send = () => post({ send: true });
  const make = (tag, text, about = {}) => Object.assign(document.createElement(tag), { textContent: text, ...about });
  const person = async () => mine ?? (isShell ? (await kept.note("person") ?? "").replace(/^-$/, "") || null : null);

  workers.register("/worker.js").catch(() => {}); // without network the one that is there goes on
  if (mine && !workers.controller) post({ visited: location.href });
  send();
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  setInterval(async () => { if (!document.hidden && (await kept.acts()).length) send(); }, 20000);

  // ---- How much is kept, on every page
  const draw = async () => {
    const acts = await kept.acts(), own = await person();
    const ownActs = acts.filter((act) => act.person === own), refused = ownActs.filter((act) => act.state === "refused" || act.asks);
    document.getElementById("kept-count")?.remove();
    if (acts.length) {
      const link = make("a", `Kept on this phone: ${own ? ownActs.length : acts.length}`, { href: shell });
      const line = make("p", "", { id: "kept-count", className: `kept-count tone-${refused.length ? "bad" : "doubt"}` });
      line.setAttribute("role", "status");
      const others = acts.length - ownActs.length, apart = own && others ? `; ${others} of somebody else` : "";
      line.append(link, !own ? ", sent when who typed it signs in" : refused.length ? `. ${refused.length} of it waits for you${apart}` : `, not in the record yet${apart}`);
      hook?.before(line);
    }
    const here = `/probes/${document.getElementById("whole")?.dataset.probe}/check/whole/`;
    links("kept-drafts", "Not finished: ", (await kept.named("check of ")).filter((each) => each.person === own && each.url !== here));
    const told = (await kept.named("look at ")).filter((each) => each.person === own);
    for (const each of told) if (each.url === location.pathname) await kept.forget(each.name);
    links("kept-told", "In the record now. Look what it says: ", told.filter((each) => each.url !== location.pathname));
    const last = await kept.note("last");
    if (last && location.search === `?check=${last.key}`) location.replace(last.url);
    mark(ownActs);
    list(ownActs, acts.length - ownActs.length);
    await askTime(ownActs);
  };
  const links = (id, words, found) => {
    document.getElementById(id)?.remove();
    if (!found.length) return;
    const line = make("p", words, { id, className: "kept-count tone-doubt" });
    line.append(...found.flatMap(({ title, url }) => [make("a", title, { href: url }), " "]));
    hook?.before(line);
  };
  let drawn = Promise.resolve();
  const show = () => { drawn = drawn.then(draw, draw); return drawn; }; // one after the other
  workers.addEventListener("message", (event) => { if (event.data === "kept") show(); });

  // ---- A clock that is far off: asked once, on whichever page comes first
  const DAY = 86400000;
  const saidOf = (text, off) => { // by how much it is ahead of a time of day that somebody gives
    const at = new Date(Date.now() - off);
    at.setHours(...text.split(":").map(Number));
    const said = Date.now() - at;
    return said - Math.round((said - off) / DAY) * DAY;
  };
  const askTime = async (acts) => {
    const { off, said } = await kept.clock(), there = document.getElementById("true-time");
    if (!((mine || acts.length) && kept.wrong(off) && said === null)) return there?.remove();
    if (there) return;
    const minutes = Math.round(Math.abs(off) / 60000);
    const form = make("form", "", { id: "true-time", className: "card form tone-doubt" });
    const box = make("input", "", { type: "time", id: "true-time-now", required: true });
    box.defaultValue = new Date(Date.now() - off).toTimeString().slice(0, 5);
    form.append(
      make("p", `The clock of this phone is ${minutes} min ${off > 0 ? "ahead" : "behind"}, as the network told last. Look at another clock.`),
      make("label", "What time is it?", { htmlFor: box.id }), box,
      make("button", "That is the time", { className: "button", type: "submit" }),
    );
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (!box.value) return;
      post({ answered: box.value === box.defaultValue ? off : saidOf(box.value, off) });
      form.remove();
    });
    hook?.before(form);
  };

  // ---- The list of what is kept
  const STYLE = { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" };
  const clockTime = (at) => new Date(at).toLocaleString("en-GB", STYLE);
  const list = (acts, others) => {
    const all = document.getElementById("kept-acts");
    if (!all) return;
    all.querySelector("[data-nothing]").hidden = acts.length > 0;
    for (const line of all.querySelectorAll("[data-number]")) {
      if (!acts.some((act) => String(act.number) === line.dataset.number && line.dataset.state === stateOf(act))) line.remove();
    }
    for (const act of acts) if (!all.querySelector(`[data-number="${act.number}"]`)) all.append(lineOf(act));
    const apart = document.getElementById("kept-others");
    apart.hidden = !others;
    apart.textContent = others ? `${others} more, typed by somebody else: kept until they sign in on this phone.` : "";
  };
  const stateOf = (act) => [act.state, act.asks ?? "", act.reason ?? ""].join();
  const lineOf = (act) => {
    const line = document.getElementById("kept-act").content.firstElementChild.cloneNode(true), form = line.querySelector("form");
    const shown = act.fields.typed ? `${act.title}: ${act.fields.typed} °${act.fields.unit}` : act.title;
    Object.assign(line.dataset, { number: act.number, state: stateOf(act) });
    line.querySelector("[data-title]").textContent = shown;
    const waits = { now: "waits for the true time, asked above", then: "waits for you", null: "waits for the network" }[act.asks ?? null];
    line.querySelector("[data-when]").textContent = `${clockTime(act.at)} by the clock of this phone, ${act.state === "refused" ? "refused" : waits}`;
    if (act.state === "refused" || act.asks === "then") correctable(line, form, act);
    return line;
  };
  // What the server does not accept comes back with its reason, and with all that was typed.
  const correctable = (line, form, act) => {
    const reason = line.querySelector("[data-reason]");
    form.hidden = false;
    reason.hidden = !act.reason;
    reason.textContent = act.reason ?? "";
    for (const part of form.querySelectorAll("[data-field]")) {
      const name = part.dataset.field, box = part.querySelector("[name]");
      part.hidden = name === "then" ? act.asks !== "then" : name === "unit" ? !["unit", "all_the_same"].includes(act.question)
        : !(name in act.fields || (name === "used_despite" && act.what === "reading"));
      box.value = name === "then" ? "" : act.fields[name] ?? "";
    }
    const button = form.querySelector("[type=submit]");
    if (act.question === "all_the_same") button.textContent = "Save it all the same";
    if (act.question === "another") button.textContent = "It is another one: save it too";
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const told = [...form.querySelectorAll("[data-field]:not([hidden]) [name]")].map((box) => [box.name, box.value]);
      const { then, ...fields } = Object.fromEntries(told);
      if (act.asks === "then" && !then) return form.querySelector("[name=then]").focus();
      const same = Object.entries(fields).every(([name, value]) => value === (act.fields[name] ?? ""));
      if (act.question === "all_the_same" && same) fields.all_the_same = "on"; // another number is looked at anew
      if (act.question === "unit") fields.unit_said = "on";
      const key = act.question === "another" ? crypto.randomUUID() : act.key;
      const said = then ? { said: act.at - new Date(then), asks: null } : {};
      await kept.change(act.number, { key, fields: { ...act.fields, ...fields, key }, state: "waiting", reason: null, question: "", ...said });
      await show();
      send();
    });
    form.querySelector("[data-drop]").addEventListener("click", async () => {
      if (!confirm("Strike it off? It is then in no record.")) return;
      await kept.drop(act.number);
      await show();
    });
  };
  document.getElementById("send-now")?.addEventListener("click", send);
  const what = location.pathname === shell ? location.search.slice(1) : "not-kept";
  const asked = document.querySelector(`[data-said="${CSS.escape(what)}"]`);
  if (asked) asked.hidden = false;

  const pages = async () => {
    const all = document.getElementById("page-list");
    if (!all || !self.caches) return;
    const cache = await caches.open("pages"), found = await cache.keys();
    const links = await Promise.all(found.map(async (each) => {
      const title = /<title>\s*(.*?)\s*<\/title>/s.exec(await (await cache.match(each)).text())?.[1] ?? each.url;
      const line = make("li", "");
      line.append(make("a", new DOMParser().parseFromString(title, "text/html").body.textContent.replace(" · Noughtbook", ""), { href: each.url, className: "row-link" }));
      return line;
    }));
    if (links.length) all.replaceChildren(...links);
  };

  // ---- Pages that were kept: each form there is a new one
  const old = document.getElementById("no-network");
  if (old) for (const key of document.querySelectorAll('input[name="key"], input[name^="key-"]')) key.value = crypto.randomUUID();

  // ---- A line of a round that is kept
  const mark = (acts) => {
    for (const act of acts) {
      const line = act.line && document.querySelector(`[data-sheet] #line-${act.line}`);
      if (!line || line.querySelector("[data-kept]")) continue;
      const words = make("p", "", { role: "status" });
      words.dataset.kept = act.key;
      const { typed, unit } = act.fields, { most, least } = line.dataset, milli = kept.milliOf(typed, unit);
      const beyond = (most !== undefined && milli > Number(most)) || (least !== undefined && milli < Number(least));
      words.append(make("strong", `${typed} °${unit}`, { className: "figure" }), ` · kept on this phone${beyond ? ". The limit is not met: act on it now." : ""}`);
      for (const part of [...line.children].slice(1)) part.remove();
      line.append(words);
      line.classList.add(beyond ? "tone-bad" : "tone-info");
    }
  };
  document.addEventListener("htmx:afterRequest", (event) => {
    const { xhr } = event.detail, whose = xhr.getResponseHeader("Noughtbook-Person");
    if (whose && mine && whose !== mine) post({ left: true });
    if (xhr.getResponseHeader("Noughtbook-Kept")) show();
    if (xhr.getResponseHeader("Noughtbook-Away")) away();
  });
  // A check that the server leads through goes on without it on a page of its own.
  const away = () => {
    const words = make("p", "No network: that was not noted. ", { className: "form-errors tone-bad" });
    if (/^\/probes\/\d+\/check\/$/.test(location.pathname)) words.append(make("a", "Make the whole check without it", { href: `${location.pathname}whole/` }));
    hook?.replaceChildren(words);
  };
  show();
  pages();
})();
