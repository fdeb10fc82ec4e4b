// The visit on a phone: every input is kept on the phone at once, and handed over when it can be.
"use strict";
(() => {
  const given = JSON.parse(document.getElementById("given").textContent);
  const alone = given.day !== null; // one file by itself: nothing to hand over to
  const $ = (id) => document.getElementById(id);
  const say = (key, blanks = {}) => given.words[key].replace(/\{(\w+)\}/g, (_, name) => blanks[name] ?? "");
  taps.comma = given.comma;
  let db = null, key = null, day = given.day, draft = null, visits = [], reached = false, busy = false;

  // The store

  const request = (made) => new Promise((done, failed) => {
    made.onsuccess = () => done(made.result);
    made.onerror = () => failed(made.error);
  });

  async function open() {
    const made = indexedDB.open("growthcast" + (alone ? "-" + given.day.mark : ""), 1);
    made.onupgradeneeded = () => {
      made.result.createObjectStore("own", { keyPath: "id" });
      made.result.createObjectStore("drafts", { keyPath: "tank" });
      made.result.createObjectStore("visits", { keyPath: "number" });
    };
    db = await request(made);
  }

  // Resolves when what was written is on the phone, not before.
  function write(work) {
    if (!db) return Promise.reject(new Error("no store"));
    return new Promise((done, failed) => {
      const change = db.transaction(["own", "drafts", "visits"], "readwrite", { durability: "strict" });
      change.oncomplete = () => done();
      change.onerror = change.onabort = () => failed(change.error);
      work((name) => change.objectStore(name));
    });
  }
  const all = (name) => request(db.transaction(name).objectStore(name).getAll());
  const one = (name, id) => request(db.transaction(name).objectStore(name).get(id));

  // Words

  const today = () => {
    const now = new Date();
    return new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  };
  const quoted = (word) => (/^[\w.,:+=\/%~-]+$/.test(word) ? word : '"' + word.replace(/["\\]/g, "\\$&") + '"');
  const lineOf = (v, tapped = "") => ["growthcast log --tank", quoted(v.tank), "--on", v.day, "--visit", v.number, ...(v.by ? ["--by", v.by] : []), ...(tapped ? ["--taps", quoted(tapped)] : []), ...v.items.map(quoted)].join(" ");
  const harmless = (note) => "note:" + note.trim().replace(/\s+/g, " ").replace(/^(?=[=+\-@])/, "'");

  // What was typed and tapped at one area, in the grammar of `log`, as the desk has it.
  function partsOf(card, f) {
    let { b = "", a = "", l = "", d = "", n = "", p = "" } = f;
    b = b.trim(); a = a.trim();
    if (d === "usual" && !l && !b) l = "right";
    if (d === "usual" && !a) {
      if (card.cut === null) d = "left";
      else a = String(card.cut);
    }
    const parts = [];
    if (b && p) parts.push(`photo:${b}~${p}`, ...(a ? ["/" + a] : []));
    else if (b || a) parts.push(a ? b + "/" + a : b);
    if (l) parts.push(l);
    if (d === "left" && !a && (l || !b)) parts.push("-0" + card.unit);
    if (n.trim()) parts.push(harmless(n));
    return parts;
  }

  function understood(visit, fields) {
    const items = [], rows = [];
    visit.areas.forEach((card, n) => {
      const f = {};
      for (const letter of "baldnp") f[letter] = fields[letter + n] || "";
      const parts = partsOf(card, f);
      if (!parts.length) return;
      items.push(card.id + "=" + parts.join("+"));
      const said = [];
      const cut = parts.find((part) => /^[^:]*\/|^\//.test(part)) || "";
      const before = f.b.trim(), after = cut.split("/")[1] || "";
      if (before) said.push(say(f.p && before ? "said_by_photo" : "said_before_cm", { cm: before + (f.p ? " ± " + f.p : "") + " " + card.unit }));
      if (after) said.push(say("said_after_cm", { cm: after + " " + card.unit }));
      for (const look of ["short", "right", "over"]) if (parts.includes(look)) said.push(say(look));
      if (parts.some((p) => p.startsWith("-0")) || (before && !after)) said.push(say("left"));
      if (f.n.trim()) said.push(f.n.trim());
      const height = taps.read(before);
      const odd = height < card.odd[0] || height > card.odd[1];
      const text = [before, after].filter(Boolean);
      const torn = text.some((t) => !/^\d+([.,]\d*)?$/.test(t));
      rows.push([card.label, said.join(", "), torn ? say("no_number") : odd ? say("odd") + " " + card.range : ""]);
    });
    const whole = [];
    const [grams, minutes, atTank, water, doses, remark] = ["grams", "minutes", "visit_min", "water", "doses", "note"].map((name) => (fields[name] || "").trim());
    const note = [doses && say("doses") + ": " + doses, remark].filter(Boolean).join("; ");
    if (grams) { items.push("bucket=" + grams + "g"); whole.push(grams + " g"); }
    if (minutes) { items.push(minutes + "min"); whole.push(minutes + " min"); }
    if (atTank) { items.push("visit=" + atTank + "min"); whole.push(say("at_tank") + " " + atTank + " min"); }
    if (water) { items.push("water=" + water + "%"); whole.push(say("water") + " " + water + " %"); }
    if (note) { items.push(harmless(note)); whole.push(note); }
    const torn = [grams, minutes, atTank, water].some((t) => t && !/^\d+([.,]\d*)?$/.test(t));
    if (whole.length) rows.push([say("whole"), whole.join(", "), torn ? say("no_number") : ""]);
    return { items, rows };
  }

  // Screens

  function show(name) {
    for (const id of ["list", "visit", "said", "photo"]) $(id).hidden = id !== name;
    window.scrollTo(0, 0);
  }
  function element(tag, text, kind) {
    const made = document.createElement(tag);
    if (text) made.textContent = text;
    if (kind) made.className = kind;
    return made;
  }
  function trouble(text) {
    $("trouble").textContent = text;
    $("trouble").hidden = !text;
  }

  function draw() {
    $("line").textContent = alone ? "" : say(reached ? "reached" : "not_reached");
    $("practice").textContent = (day && day.practice) || say("visits");
    $("until").textContent = day && day.until ? say("until_phone", { time: day.until.replace("T", " ") }) : say("no_visits");
    $("tanks").replaceChildren(...((day && day.visits) || []).map((visit) => {
      const row = element("li", "", visit.soon ? "late" : "");
      const button = element("button", say("visit"), "button");
      button.type = "button";
      button.setAttribute("aria-label", say("visit") + " " + visit.name);
      button.addEventListener("click", () => enter(visit));
      row.append(element("h2", visit.name), element("p", [visit.client, visit.due].filter(Boolean).join(" · ")), button);
      return row;
    }));
    const open = visits.filter((v) => v.state !== "book");
    $("kept-title").hidden = !visits.length;
    $("in-book").hidden = !visits.some((v) => v.state === "book");
    $("kept").replaceChildren(...visits.map((v) => {
      const row = element("li"), state = element("p", say("state_" + v.state) + (v.said ? ": " + v.said : ""), "state " + (v.state === "book" ? "book" : "here"));
      row.append(element("h2", v.tank + ", " + v.day), state);
      if ((v.state === "here" && !v.tried) || v.state === "refused") {
        const back = element("button", say("take_back"));
        back.type = "button";
        back.addEventListener("click", () => takeBack(v));
        row.append(back);
      }
      return row;
    }));
    const text = open.map((v) => lineOf(v, v.taps && JSON.stringify(v.taps))).join("\n");
    $("out").hidden = !open.length;
    $("text").value = text;
    $("send").href = "sms:?&body=" + encodeURIComponent(open.map((v) => lineOf(v)).join("\n")); // taps are too long
    URL.revokeObjectURL($("file").href);
    $("file").href = URL.createObjectURL(new Blob([text + "\n"], { type: "text/plain" }));
  }

  function fill(card, n) {
    const part = $("card").content.cloneNode(true);
    const area = part.querySelector(".area");
    area.dataset.step = card.step;
    area.dataset.odd = card.odd.join(" ");
    const set = (name, text) => { area.querySelector(`[data-x="${name}"]`).textContent = text; };
    set("label", card.label);
    set("plant", card.plant);
    area.querySelector('[data-x="logged"]').hidden = !card.logged;
    const hints = { b: [card.expected, card.range], a: [card.cut, card.cut === null ? say("no_cut") : card.unit] };
    for (const [letter, [value, beside]] of Object.entries(hints)) {
      const text = value === null ? "" : taps.write(value);
      const line = area.querySelector(`[data-line="${letter}"]`);
      line.dataset.hint = value === null ? "" : value;
      line.querySelector("input").placeholder = text;
      set(letter + "-hint", text);
      set(letter + "-beside", beside);
      line.querySelector("input").setAttribute("aria-label", card.label + ", " + line.querySelector("small").textContent + " (" + card.unit + ")");
      line.querySelector("[data-tap=less]").setAttribute("aria-label", card.label + ", " + say("less"));
      line.querySelector("[data-tap=more]").setAttribute("aria-label", card.label + ", " + say("more"));
    }
    for (const field of area.querySelectorAll("input")) field.name = field.name.replace(/0$/, n);
    const sd = element("input"); // the error of a height that a photo told
    Object.assign(sd, { type: "hidden", name: "p" + n });
    area.append(sd);
    area.querySelector('[data-line="b"] input').addEventListener("input", (event) => { if (event.isTrusted) sd.value = ""; });
    for (const tap of area.querySelectorAll('[data-line="b"] [data-tap]')) tap.addEventListener("click", () => { sd.value = ""; });
    area.querySelector("input.note").setAttribute("aria-label", card.label + ", " + say("remark"));
    return part;
  }

  async function enter(visit) {
    const kept = db && (await one("drafts", visit.tank));
    draft = kept || { tank: visit.tank, day: today(), fields: {} };
    $("cards").replaceChildren(...visit.areas.map(fill));
    const form = $("form");
    form.reset();
    for (const [name, value] of Object.entries(draft.fields)) {
      const field = form.elements[name];
      if (field instanceof RadioNodeList) {
        for (const radio of field) if (radio.value === value) { radio.checked = true; radio.dataset.on = "1"; }
      } else if (field) field.value = value;
    }
    const minutes = form.elements.minutes;
    minutes.placeholder = visit.minutes;
    minutes.closest(".line").dataset.hint = visit.minutes;
    form.querySelector('[data-x="minutes"]').textContent = visit.minutes;
    $("by-photo").hidden = !(visit.photo && visit.photo.areas);
    $("no-photo").textContent = (visit.photo && visit.photo.why) || "";
    $("name").textContent = visit.name + ", " + draft.day;
    $("client").textContent = visit.client;
    $("hints").textContent = say("hints", { date: day.day || visit.on });
    $("state").textContent = kept ? say("kept_here") : "";
    show("visit");
  }

  // Every input is kept; it is said only when it is on the phone.
  let writing = 0;
  $("form").addEventListener("input", () => {
    draft.fields = Object.fromEntries([...new FormData($("form"))].filter(([, value]) => value));
    const mine = ++writing;
    $("state").textContent = "…";
    write((store) => store("drafts").put(draft))
      .then(() => { if (mine === writing) $("state").textContent = say("kept_here"); })
      .catch(() => { $("state").textContent = say("not_kept"); });
  });

  // A photo: tapped on here, and kept nowhere; its taps go with the visit, its corners wait for the next one.
  const bytesOf = (file, how) => new Promise((done, failed) => {
    const reader = new FileReader();
    reader.onload = () => done(reader.result);
    reader.onerror = () => failed(reader.error);
    reader[how](file);
  });
  async function pictureOf(file) {
    if (file.size > 50e6) throw new Error("large");
    const told = photo.exif(await bytesOf(file, "readAsArrayBuffer"));
    const picture = new Image();
    picture.src = await bytesOf(file, "readAsDataURL");
    await picture.decode();
    return { picture, focal: photo.focalPx(told, picture.naturalWidth, picture.naturalHeight) };
  }
  $("shot").addEventListener("change", async () => {
    const file = $("shot").files[0], tank = visitOf(draft.tank).photo;
    $("shot").value = "";
    if (!file) return;
    try {
      const { picture, focal } = await pictureOf(file);
      const last = (db && (await one("own", "pane " + draft.tank))) || null;
      show("photo");
      const low = tank.areas.filter((area) => area.low).map((area) => area.label).join(", ");
      $("photo").querySelector('[data-photo="low"]').textContent = low && say("photo_low", { areas: low });
      const session = photo.tapping($("photo"), picture, tank, focal, say, last);
      $("photo").querySelector('[data-photo="take"]').onclick = () => takeOver(session.result());
    } catch {
      $("no-photo").textContent = say("photo_torn");
    }
  });
  function takeOver({ taps: told, heights, last }) {
    const areas = visitOf(draft.tank).areas;
    draft.taps = told;
    write((store) => store("own").put({ id: "pane " + draft.tank, ...last })).catch(() => {});
    for (const { id, height, sd } of heights) {
      const n = areas.findIndex((card) => card.id === id);
      if (!(height > 0)) continue;
      $("form").elements["b" + n].value = taps.write(Math.round(height * 10) / 10);
      $("form").elements["p" + n].value = taps.write(Math.round(sd * 10) / 10);
      taps.told($("form").elements["b" + n]);
    }
    show("visit");
  }

  const visitOf = (tank) => day.visits.find((visit) => visit.tank === tank);

  $("form").addEventListener("submit", (event) => {
    event.preventDefault();
    const { items, rows } = understood(visitOf(draft.tank), draft.fields);
    if (!items.length) { $("state").textContent = say("nothing"); return; }
    $("said-name").textContent = visitOf(draft.tank).name + ", " + draft.day;
    $("rows").replaceChildren(...rows.map(([name, said, odd]) => {
      const row = element("div", "", odd ? "doubt" : "");
      row.append(element("dt", name), element("dd", said));
      if (odd) row.append(element("p", "? " + odd));
      return row;
    }));
    $("keep").disabled = false;
    show("said");
  });

  $("keep").addEventListener("click", async () => {
    $("keep").disabled = true; // a second tap is no second visit
    const visit = { number: seal.random(8), by: $("by").value.replace(/^[=+\-@\s]+/, "").trim(), tank: draft.tank, day: draft.day, items: understood(visitOf(draft.tank), draft.fields).items, fields: draft.fields, taps: draft.taps || null, state: "here", tried: false, said: "", at: Date.now() };
    try {
      await write((store) => { store("visits").put(visit); store("drafts").delete(draft.tank); });
      trouble("");
    } catch {
      trouble(say("not_kept"));
    }
    visits.unshift(visit);
    draw();
    show("list");
    sync();
  });

  $("by").addEventListener("input", () => {
    write((store) => store("own").put({ id: "by", name: $("by").value.trim() })).catch(() => {});
  });
  $("edit").addEventListener("click", () => show("visit"));
  $("back").addEventListener("click", () => { draw(); show("list"); });

  async function takeBack(visit) {
    await write((store) => {
      store("visits").delete(visit.number);
      store("drafts").put({ tank: visit.tank, day: visit.day, fields: visit.fields, taps: visit.taps });
    });
    visits = visits.filter((v) => v.number !== visit.number);
    draw();
  }

  $("copy").addEventListener("click", () => {
    $("text").select();
    document.execCommand("copy");
    $("copy").textContent = say("copied");
  });

  // Hand-over: a stranger at the same address can neither read the hello nor seal a receipt.

  async function ask(what, body) {
    const word = seal.random(16), ended = new AbortController();
    const late = setTimeout(() => ended.abort(), 15000);
    try {
      const message = { id: seal.name(key.k), phone: key.phone, word, text: body, mac: seal.of(key.k, what, key.phone, word, body) };
      const answer = await fetch("/phone/" + what, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(message), signal: ended.signal, cache: "no-store" });
      if (answer.status === 403) throw new Error("key");
      const told = await answer.json();
      if (seal.of(key.k, what + " answer", word, told.text) !== told.mac) throw new Error("stranger");
      return JSON.parse(told.text);
    } finally {
      clearTimeout(late);
    }
  }

  async function sync() {
    if (alone || busy || !key || !db) return;
    busy = true;
    try {
      const told = await ask("hello", "");
      reached = true;
      if (told.visits.length) {
        day = told;
        await write((store) => store("own").put({ id: "day", day }));
      }
      for (const visit of visits.filter((v) => v.state === "here")) {
        visit.tried = true;
        await write((store) => store("visits").put(visit)); // before it leaves: it may arrive
        const { number, tank, items, by, taps: told } = visit;
        const receipt = await ask("visit", JSON.stringify({ number, tank, day: visit.day, items, by: by || "", taps: told ? JSON.stringify(told) : "" }));
        if (receipt.number !== number) throw new Error("stranger");
        visit.state = { new: "book", known: "book", other: "other", refused: "refused" }[receipt.state] || "here";
        visit.said = receipt.said;
        visit.at = Date.now();
        await write((store) => store("visits").put(visit));
      }
      trouble("");
      fetch("/phone/", { cache: "reload" }).catch(() => {}); // so that the page itself stays kept
    } catch (error) {
      reached = false;
      if (error.message === "key" || error.message === "stranger") trouble(say(error.message));
    } finally {
      busy = false;
      if ($("visit").hidden && $("said").hidden) draw();
      else $("line").textContent = say(reached ? "reached" : "not_reached");
    }
  }

  const KEPT_MS = 30 * 86400000;

  async function start() {
    try {
      await open();
      const found = new URLSearchParams(location.hash.slice(1)).get("k");
      key = (await one("own", "key")) || null;
      if (found && /^[0-9a-f]{32}$/.test(found)) {
        if (!key || key.k !== found) key = { id: "key", k: found, phone: (key && key.phone) || seal.random(16) };
        await write((store) => store("own").put(key));
        history.replaceState(null, "", location.pathname);
      }
      $("by").value = ((await one("own", "by")) || { name: "" }).name;
      const known = await one("own", "day");
      if (!alone && known) day = known.day;
      visits = (await all("visits")).filter((v) => v.state !== "book" || Date.now() - v.at < KEPT_MS).sort((a, b) => b.at - a.at);
      if (!alone && !key) trouble(say("no_key"));
    } catch {
      trouble(say("no_store"));
    }
    draw();
    sync();
    setInterval(() => { if (visits.some((v) => v.state === "here") || !reached) sync(); }, 15000);
    window.addEventListener("online", sync);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) sync(); });
  }
  start();
})();
