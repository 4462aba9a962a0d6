/* The service worker: keeps pages to open without network, and what was typed until the server has it.
   The view that serves it puts `noughtbook` before it (addresses and static parts) and loads kept.js. */
(() => {
  "use strict";
  const { parts, version, shell, now, send, signOut, reading, round, idle } = self.noughtbook;
  const PARTS = `parts-${version}`, PAGES = "pages";
  const SLOW = 4000, LONG = 10000; // milliseconds: for a page that is kept, and for an answer to what was typed
  const FRESH = 10 * 60 * 1000; // for which a page that another one brings along is not fetched again
  const AWAY = [502, 503, 504];
  const KEPT_AT = "Noughtbook-Kept-At";

  self.addEventListener("install", (event) => event.waitUntil((async () => {
    const cache = await caches.open(PARTS);
    await cache.addAll(parts);
    await cache.put(shell, await fetch(shell, { credentials: "omit" })); // as nobody sees it
    await self.skipWaiting();
  })()));

  self.addEventListener("activate", (event) => event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("parts-") && name !== PARTS) await caches.delete(name);
    await self.clients.claim();
  })()));

  self.addEventListener("fetch", (event) => {
    const { request } = event, url = new URL(request.url);
    if (url.origin !== location.origin) return;
    if (request.method === "POST") {
      const acts = url.pathname === reading || new RegExp(round).test(url.pathname);
      if (url.pathname === signOut) event.respondWith(leave(request));
      else if (acts) event.respondWith(record(event, url));
      else event.respondWith(fetch(request).catch(() => unsent(request)));
    } else if (request.mode === "navigate") event.respondWith(page(event, url));
    else if (request.headers.has("HX-Request")) event.respondWith(fetch(request).catch(() => new Response(null, { status: 204 })));
    else if (url.pathname.startsWith("/static/")) event.respondWith(part(request, url));
  });
  self.addEventListener("sync", (event) => { if (event.tag === "send") event.waitUntil(flush().then((done) => done || Promise.reject(new Error("No network yet")))); });
  self.addEventListener("message", (event) => {
    const { visited, left, send: asked, answered } = event.data;
    if (visited) event.waitUntil(visit(visited));
    if (left) event.waitUntil(wipe("-"));
    if (answered !== undefined) event.waitUntil(setClock(answered).then(() => flush()));
    if (asked) event.waitUntil(prune().then(() => flush()));
  });

  const unsent = (request) => request.mode === "navigate" ? Response.redirect(`${shell}?not-sent`, 303)
    : new Response("", { headers: { "HX-Reswap": "none", "Noughtbook-Away": "1" } });
  const within = (milliseconds, promise) => Promise.race([
    promise, new Promise((_, failed) => { setTimeout(failed, milliseconds, new TypeError("too slow")); }),
  ]);
  const tell = async () => {
    for (const client of await self.clients.matchAll({ includeUncontrolled: true })) client.postMessage("kept");
  };

  // ---- Static parts: by names that say what is in them
  const unhashed = (path) => path.replace(/\.[0-9a-f]{12}(\.\w+)$/, "$1");
  const part = async (request, url) => {
    const cache = await caches.open(PARTS), found = await cache.match(url.pathname);
    if (found) return found;
    try { return await fetch(request); } catch (away) { // of a page from before an update
      const alike = parts.find((each) => unhashed(each) === unhashed(url.pathname));
      const instead = alike && await cache.match(alike);
      if (instead) return instead;
      throw away;
    }
  };

  // ---- Pages: the network first; without it what was kept for the person who is signed in
  const whole = (url) => url.pathname + (url.pathname === reading && url.searchParams.get("site") ? `?site=${url.searchParams.get("site")}` : "");
  const wipe = async (person) => {
    await caches.delete(PAGES);
    await self.kept.write("person", person);
    await self.kept.forget("session");
  };
  // A session ends when it is left for its time, here as on the server.
  const use = async () => {
    const person = await self.kept.note("person") ?? "-";
    if (person !== "-" && !await self.kept.inTime(person)) await wipe("-");
  };
  const prune = async () => {
    const cache = await caches.open(PAGES);
    for (const each of await cache.keys()) {
      if (Date.now() - Number((await cache.match(each)).headers.get(KEPT_AT)) >= idle) await cache.delete(each);
    }
  };
  // What the browser has from before is not taken for what there is now.
  const page = async (event, url) => {
    await use();
    const { request } = event, copy = await stored(url), back = ["force-cache", "only-if-cached"].includes(request.cache);
    try {
      const asked = back && copy ? fetch(request, { cache: "no-cache" }) : fetch(request);
      const answer = await (copy ? within(SLOW, asked) : asked);
      if (!back || copy) event.waitUntil(seen(url, answer.headers.has("Noughtbook-Keep") ? answer.clone() : answer));
      return answer;
    } catch {
      return copy ? shown(copy) : nothing();
    }
  };
  const seen = async (url, answer) => {
    const person = answer.headers.get("Noughtbook-Person");
    if (person === null) return;
    if (person !== await self.kept.note("person")) await wipe(person);
    const idle = 1000 * Number(answer.headers.get("Noughtbook-Idle") ?? 0);
    if (idle) await self.kept.write("session", { idle, used: Date.now() });
    const date = Date.parse(answer.headers.get("Date") ?? "");
    if (date) await self.kept.learn(Date.now() - date - 500); // it names the second that has begun
    await keep(url, answer);
    await flush();
  };
  const keep = async (url, answer) => {
    const cache = await caches.open(PAGES), person = answer.headers.get("Noughtbook-Person");
    for (const address of (answer.headers.get("Noughtbook-Keep") ?? "").split(" ").filter(Boolean)) {
      const old = await cache.match(address);
      if (address === url.pathname + url.search) await put(cache, address, answer);
      else if (!old || Date.now() - Number(old.headers.get(KEPT_AT)) > FRESH) {
        const other = await fetch(address).catch(() => null);
        if (other?.ok && !other.redirected && other.headers.get("Noughtbook-Person") === person) await put(cache, address, other);
      }
    }
  };
  const put = async (cache, address, answer) => {
    const headers = new Headers(answer.headers);
    headers.delete("Content-Encoding");
    headers.set(KEPT_AT, Date.now());
    await cache.put(address, new Response(await answer.text(), { headers }));
  };
  const visit = async (address) => {
    const url = new URL(address), answer = await fetch(address).catch(() => null);
    if (answer?.ok && !answer.redirected) await seen(url, answer);
  };
  // A check that is led through by the server is made on a page of its own without it; the first page is the last day's.
  const stored = async (url) => {
    const cache = await caches.open(PAGES);
    const addresses = [url.pathname + url.search, whole(url), `${url.pathname}whole/`];
    if (["/", "/today/"].includes(url.pathname)) {
      addresses.push(...(await cache.keys()).map((each) => new URL(each.url).pathname).filter((each) => /^\/today\/\d+\/$/.test(each)));
    }
    for (const address of addresses) {
      const found = await cache.match(address);
      if (found && Date.now() - Number(found.headers.get(KEPT_AT)) < idle) return found;
      if (found) await cache.delete(address);
    }
    return null;
  };
  const shown = async (copy) => {
    const at = new Date(Number(copy.headers.get(KEPT_AT)));
    const day = at.toDateString() === new Date().toDateString() ? {} : { day: "numeric", month: "short" };
    const time = at.toLocaleString("en-GB", { hour: "2-digit", minute: "2-digit", ...day });
    const words = `<p><strong>No network.</strong> This page is as it was at ${time}; what has been recorded since is not on it.</p>`;
    const note = `<div class="no-network tone-doubt" id="no-network" role="status">${words}</div>`;
    const text = (await copy.text()).replace('<div id="not-saved"', `${note}<div id="not-saved"`);
    return new Response(text, { headers: copy.headers });
  };
  const nothing = async () => (await (await caches.open(PARTS)).match(shell)) ?? Response.error();

  const leave = async (request) => {
    await wipe("-");
    return fetch(request).catch(() => Response.redirect(`${shell}?signed-out`, 303));
  };

  // ---- What was typed: kept first, then sent
  const record = async (event, url) => {
    const { request } = event, fields = new URLSearchParams(await request.clone().text());
    const mine = [];
    try {
      for (const act of await actsOf(url, fields)) mine.push((await self.kept.add(act)).number);
    } catch { mine.length = 0; } // no room: as if there were no worker
    if (!mine.length) return fetch(request);
    try {
      if (await isBehind(mine[0]) && !await within(LONG, flush(mine[0]))) throw new TypeError("away");
      const answer = await within(LONG, fetch(request.clone()));
      const asked = answer.type === "opaqueredirect" || answer.redirected; // recorded, or signed out: sending it again tells
      if (!asked && !AWAY.includes(answer.status)) for (const number of mine) await self.kept.drop(number);
      event.waitUntil(asked ? flush() : tell());
      return answer;
    } catch {
      event.waitUntil(later());
      if (request.mode === "navigate") return Response.redirect(`${shell}?kept`, 303);
      return new Response("", { headers: { "HX-Reswap": "none", "Noughtbook-Kept": "1" } });
    }
  };
  const isBehind = async (number) => (await self.kept.acts()).some((act) => act.number < number && act.state === "waiting");
  const later = async () => {
    await tell();
    await self.registration.sync?.register("send").catch(() => {}); // else pages ask to send
  };
  const actsOf = async (url, fields) => {
    const { off, said } = await self.kept.clock();
    const person = fields.get("person");
    if (!person) return [];
    const common = { what: "reading", person, at: Date.now(), off, said, query: url.search, ...await self.kept.stateOf(person) };
    if (url.pathname === reading) {
      const told = Object.fromEntries(fields);
      for (const name of ["csrfmiddlewaretoken", "person"]) delete told[name];
      return [{ ...common, key: told.key, title: told.item || "Reading", fields: told }];
    }
    return fields.has("act") ? [] : linesOf(url, fields, common);
  };
  // A round's sheet: the line that is saved, or all that are filled in.
  const linesOf = (url, fields, common) => {
    const site = new RegExp(round).exec(url.pathname)[1], named = fields.get("sure") ?? fields.get("line");
    const lines = named ? [named] : [...fields.keys()].filter((name) => name.startsWith("of-")).map((name) => name.slice(3));
    return lines.filter((line) => /\d/.test(fields.get(`typed-${line}`) ?? "") && fields.get("probe")).map((line) => {
      const [limit, appliance, unit, ...name] = fields.get(`of-${line}`).split(":"), title = name.join(":");
      const told = { probe: fields.get("probe"), limit, appliance, unit, key: fields.get(`key-${line}`), typed: fields.get(`typed-${line}`) };
      told.item = fields.get(`item-${line}`) ?? title;
      for (const [mine, theirs] of [["hold_s", "held"], ["since_start_s", "since"]]) {
        if (fields.get(`${theirs}-${line}`)) told[mine] = fields.get(`${theirs}-${line}`);
      }
      if (fields.has("sure")) told.all_the_same = "on";
      return { ...common, key: told.key, title: told.item || title, line, query: `?site=${site}`, fields: told };
    });
  };

  // ---- Sending: in order, one at a time, under the name of who typed it; false where there is no network
  const flush = (before = Infinity) => navigator.locks.request("noughtbook-send", async () => {
    const waiting = (await self.kept.acts()).filter((act) => act.state === "waiting" && !act.asks && act.number < before);
    if (!waiting.length) return true;
    const server = await ask();
    if (!server) return false;
    for (const act of waiting) {
      if (act.person !== server.person) continue;
      if (!await sent(act, server)) return false;
      await tell();
    }
    return true;
  });
  const ask = async () => {
    const begun = Date.now(), answer = await fetch(now, { headers: { "HX-Request": "true" } }).catch(() => null);
    if (!answer?.ok) return null;
    if (answer.redirected) { // to sign in
      await wipe("-");
      return null;
    }
    const told = await answer.json(), off = Math.round((begun + Date.now()) / 2 - told.now);
    await self.kept.learn(off);
    return { ...told, off };
  };
  // Whether the server has answered. Of a clock that is far off, or was set meanwhile, it has somebody asked once.
  const sent = async (act, server) => {
    const off = act.off ?? server.off;
    await self.kept.change(act.number, { off });
    const beside = { what: act.what, person: act.person, phone_at: act.at, phone_off: off, phone_now: Date.now(), phone_said: act.said ?? "" };
    const body = new URLSearchParams(Object.entries({ ...act.fields, ...beside }).flatMap(([name, value]) => [value].flat().map((each) => [name, each])));
    const answer = await fetch(send + act.query, { method: "POST", body, redirect: "manual", headers: { "X-CSRFToken": server.csrf } }).catch(() => null);
    if (!answer || answer.type === "opaqueredirect" || answer.status >= 500 || answer.status === 429) return false;
    const told = answer.ok ? await answer.json().catch(() => null) : { refused: `The server refuses it (${answer.status}): you may not record there, or it is there no longer.` };
    if (told?.recorded) {
      const { key, title, person } = act, url = told.recorded;
      await self.kept.write("last", { key, url });
      if (told.look) await self.kept.write(`look at ${key}`, { title, person, url, name: `look at ${key}` });
      await self.kept.drop(act.number);
    } else if (told?.asks) await self.kept.change(act.number, { asks: told.asks });
    else if (told?.refused) await self.kept.change(act.number, { state: "refused", reason: told.refused, question: told.question ?? "" });
    return Boolean(told);
  };
  // What the clock is off by, as somebody said, for all that was typed while it went like that.
  const setClock = async (said) => {
    const { off } = await self.kept.clock();
    await self.kept.write("clock", { off, said });
    for (const act of await self.kept.acts()) {
      if (act.said === null && act.asks !== "then" && Math.abs((act.off ?? off) - off) <= self.kept.ALLOWED) {
        await self.kept.change(act.number, { said, asks: null });
      }
    }
    await tell();
  };
})();
