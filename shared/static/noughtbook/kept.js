/* What is kept on this phone until the server has it: for the pages and for the service worker alike. */
(() => {
  "use strict";
  const ALLOWED = 5 * 60 * 1000; // milliseconds that a phone's clock may be off without being asked for the time
  let opened = null;

  const open = () => new Promise((done, failed) => {
    const asked = indexedDB.open("noughtbook", 1);
    asked.onupgradeneeded = () => {
      const acts = asked.result.createObjectStore("acts", { keyPath: "number", autoIncrement: true });
      acts.createIndex("key", "key", { unique: true });
      asked.result.createObjectStore("notes");
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  const database = () => {
    opened ??= open().then((found) => {
      found.onversionchange = found.onclose = () => { found.close(); opened = null; };
      return found;
    });
    return opened;
  };

  // One transaction, on the disk before anybody is told that it is kept.
  const run = async (stores, mode, act) => {
    const transaction = (await database()).transaction(stores, mode, { durability: "strict" });
    return new Promise((done, failed) => {
      let result;
      act(transaction.objectStore([stores].flat()[0]), (found) => { result = found; }, transaction);
      transaction.oncomplete = () => done(result);
      transaction.onerror = transaction.onabort = () => failed(transaction.error);
    });
  };
  const read = (store, ask) => run(store, "readonly", (found, tell) => {
    const asked = ask(found);
    asked.onsuccess = () => tell(asked.result);
  });
  const write = (store, ask) => run(store, "readwrite", (found) => { ask(found); });

  // The same form twice is one act. Another one under its key, from a page that was used before, gets a key of its own.
  // `draft`: the note that it was made from, which goes in the same moment.
  const add = (act, draft) => run(["acts", "notes"], "readwrite", (acts, tell, transaction) => {
    if (draft) transaction.objectStore("notes").delete(draft);
    const asked = acts.index("key").get(act.key);
    asked.onsuccess = () => {
      const found = asked.result;
      if (found && JSON.stringify(found.fields) === JSON.stringify(act.fields)) return tell(found);
      const key = found ? crypto.randomUUID() : act.key;
      const kept = { ...act, key, fields: { ...act.fields, key } };
      const made = acts.add(kept);
      made.onsuccess = () => tell({ ...kept, number: made.result });
    };
  });
  // Only if it is there still: what was sent meanwhile does not come back.
  const change = (number, what) => run("acts", "readwrite", (acts, tell) => {
    const asked = acts.get(number);
    asked.onsuccess = () => {
      if (!asked.result) return;
      const changed = { ...asked.result, ...what };
      acts.put(changed);
      tell(changed);
    };
  });

  // How far the clock is off by what the server said last; what somebody answered holds until it is set anew.
  const clock = async () => ({ off: null, said: null, ...(await read("notes", (notes) => notes.get("clock"))) });
  const learn = async (off) => {
    const { said } = await clock();
    await write("notes", (notes) => notes.put({ off, said: said !== null && Math.abs(said - off) > ALLOWED ? null : said }, "clock"));
  };
  const wrong = (off) => off !== null && Math.abs(off) > ALLOWED;

  // Whether this person is signed in as far as the phone knows, and has not left it for longer than a session may be left: then
  // its time begins anew. What is typed otherwise may be anybody's, and is sent only once they have said that it is theirs.
  const inTime = async (person) => {
    const [who, session] = await Promise.all(["person", "session"].map((name) => read("notes", (notes) => notes.get(name))));
    if (who !== person || !session || Date.now() - session.used >= session.idle) return false;
    await write("notes", (notes) => notes.put({ ...session, used: Date.now() }, "session"));
    return true;
  };
  const LEFT = "Nobody was signed in any more when this was typed. Send it if it is yours; else strike it off.";
  const stateOf = async (person) => await inTime(person) ? { state: "waiting" } : { state: "refused", reason: LEFT };

  // What a display showed, in thousandths of °C; NaN for what is no number.
  const milliOf = (text, unit) => {
    const plain = text.trim().replace(/\u2212/g, "-").replace(",", ".");
    const value = /^[-+]?\d+(\.\d*)?$/.test(plain) ? Number(plain) : NaN;
    const milli = Math.round(1000 * (unit === "F" ? (value - 32) * 5 / 9 : value));
    return Math.abs(value) <= 1000 && milli >= -273150 ? milli : NaN; // as the server has it
  };

  self.kept = {
    milliOf, inTime, stateOf, ALLOWED, add, change, clock, learn, wrong,
    acts: () => read("acts", (acts) => acts.getAll()),
    drop: (number) => write("acts", (acts) => acts.delete(number)),
    note: (name) => read("notes", (notes) => notes.get(name)),
    write: (name, value) => write("notes", (notes) => notes.put(value, name)),
    named: (start) => read("notes", (notes) => notes.getAll(IDBKeyRange.bound(start, `${start}\uffff`))),
    forget: (name) => write("notes", (notes) => notes.delete(name)),
  };
})();
