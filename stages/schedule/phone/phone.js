"use strict";
(() => {
  const plan = JSON.parse(document.getElementById("plan").textContent);
  const $ = id => document.getElementById(id);
  document.documentElement.classList.add("live");

  const header = ["time", "entered", "event", "session", "band", "block", "arm", "value", "note"];
  const silentS = 0.5; // a clock error that is let pass
  const limitS = Math.max(silentS, plan.settle_ms / 2000); // beyond it the analysis refuses the log
  const edgeTolerance = 2500;
  const leastOwnSlots = 2;
  const day = 86400000;
  const askAfter = 5; // blocks
  const settling = 8000; // ms after which a browser has written localStorage through
  const patience = 3000; // ms in which the stores must answer before the page goes on without them
  const soonest = 3600000; // a dwell is confirmed at most an hour before it begins

  // ---- words

  const iso = ms => new Date(ms).toISOString();
  const clockOf = ms => iso(ms).slice(11, 19) + "Z";
  const dateOf = ms => iso(ms).slice(0, 10);
  // A time of another day than now's has its date.
  const when = (ms, now) => (dateOf(ms) === dateOf(now) ? "" : dateOf(ms) + " ") + clockOf(ms);
  const oneLine = s => s.replace(/[\s\u0000-\u001f\u007f]+/g, " ").trim();
  const plural = (n, one) => n + " " + one + (n === 1 ? "" : "s");
  function togo(ms) {
    const s = Math.max(0, Math.ceil(ms / 1000));
    const two = n => String(n).padStart(2, "0");
    if (s >= 86400) return plural(Math.floor(s / 86400), "day") + " " + Math.floor(s % 86400 / 3600) + " h";
    if (s >= 3600) return Math.floor(s / 3600) + ":" + two(Math.floor(s % 3600 / 60)) + ":" + two(s % 60);
    return Math.floor(s / 60) + ":" + two(s % 60);
  }
  const signed = s => (s < 0 ? "\u2212" : "+") + Number(Math.abs(s).toPrecision(4));
  const offBy = s => Number(Math.abs(s).toPrecision(4)) + (s < 0 ? " s behind UTC" : " s ahead of UTC");
  const blockName = d => "block " + d.block + ", " + d.band;

  // ---- what the log makes of the schedule: the rules of package dwells, in its order

  const upToEdge = ms => ms + ((-ms % plan.slot_ms) + plan.slot_ms) % plan.slot_ms;
  function sends(slot) {
    if (plan.sends !== "even slots" && plan.sends !== "odd slots") return true;
    const number = Math.floor((((slot % day) + day) % day) / plan.slot_ms);
    return (number % 2 === 1) === (plan.sends === "odd slots");
  }
  function ownSlots(d) {
    const out = [];
    for (let at = upToEdge(d.settle_end); at + plan.slot_ms <= d.end; at += plan.slot_ms) if (sends(at)) out.push(at);
    return out;
  }

  function nearestReading(readings, at) {
    let value = 0, least = -1;
    for (const r of readings) {
      const away = Math.abs(r.time - at);
      if (least < 0 || away < least) { value = Number(r.value); least = away; }
    }
    return value;
  }
  // How many ms are added to a time of the phone's clock.
  function correction(readings, at) {
    const v = nearestReading(readings, at);
    return Math.abs(v) > silentS ? -Math.round(v * 1000) : 0;
  }

  function follow(log) {
    const sessions = [], byNumber = new Map();
    for (const p of plan.dwells) {
      const d = { ...p, confirmed: null, again: null, takenBack: false, on: false };
      let s = byNumber.get(d.session);
      if (!s) {
        s = { number: d.session, dwells: [], blocks: new Map(), starts: 0, paused: null, ended: null, readings: [] };
        byNumber.set(d.session, s);
        sessions.push(s);
      }
      const id = d.block + " " + d.band;
      if (!s.blocks.has(id)) s.blocks.set(id, { block: d.block, band: d.band, dwells: [], reason: "", cut: false, late: null });
      d.of = s.blocks.get(id);
      d.of.dwells.push(d);
      s.dwells.push(d);
    }
    const events = log.map(line => ({ ...line, at: line.time, endsTrial: line.event === "end" && !line.session }));
    for (const e of events) if (e.endsTrial) e.session = nearestSession(sessions, events, e.time).number;
    const of = s => events.filter(e => e.session === s.number);
    for (const s of sessions) {
      s.readings = of(s).filter(e => e.event === "clock");
      for (const e of of(s)) e.at = e.time + correction(s.readings, e.time);
    }
    events.sort((a, b) => a.at - b.at);
    for (const s of sessions) shiftStart(s, of(s));
    for (const s of sessions) applyPauses(s, of(s));
    const last = events.find(e => e.endsTrial);
    const trialEnd = last ? last.at : null;
    for (const s of sessions) {
      applyEnd(s, of(s), trialEnd);
      applyDrops(s, of(s));
      applyConnected(s, of(s));
      for (const b of s.blocks.values()) applyLate(b);
    }
    return { sessions, trialEnd };
  }
  // Only the end of the trial names no session: it belongs to the one that is nearest after the starts.
  function nearestSession(sessions, events, at) {
    let best = sessions[0], least = -1;
    for (const s of sessions) {
      const start = events.filter(e => e.event === "start" && e.session === s.number).pop();
      const moved = start ? upToEdge(start.time) - s.dwells[0].start : 0;
      const away = Math.max(0, s.dwells[0].start + moved - at, at - lastEnd(s) - moved);
      if (least < 0 || away < least) { best = s; least = away; }
    }
    return best;
  }

  function shift(s, from, by) {
    for (const d of s.dwells) if (d.start >= from) { d.start += by; d.settle_end += by; d.end += by; }
  }
  function shiftStart(s, mine) {
    const starts = mine.filter(e => e.event === "start");
    s.starts = starts.length;
    if (!starts.length) return;
    const last = starts.reduce((a, b) => b.entered > a.entered || b.entered === a.entered && b.id > a.id ? b : a);
    const back = Math.min(edgeTolerance, Math.max(0, last.at - last.time));
    shift(s, s.dwells[0].start, upToEdge(last.at - back) - s.dwells[0].start);
  }
  const lastEnd = s => s.dwells[s.dwells.length - 1].end;
  const blockStart = b => b.dwells[0].start;
  const blockEnd = b => b.dwells[b.dwells.length - 1].end;
  const underWay = (s, at) => [...s.blocks.values()].filter(b => blockStart(b) < at && at < blockEnd(b));

  function applyPauses(s, mine) {
    let open = null;
    for (const e of mine) {
      if (e.event === "pause" && open === null) open = e.at;
      if (e.event === "resume" && open !== null) {
        const from = s.starts ? Math.max(open, s.dwells[0].start) : open;
        if (e.at >= from) {
          for (const b of underWay(s, from)) b.reason ||= "paused inside";
          shift(s, from, Math.ceil((e.at - from) / plan.period_ms) * plan.period_ms);
        }
        open = null;
      }
    }
    s.paused = open;
    if (open === null) return;
    const end = mine.find(e => e.event === "end" && e.at >= open);
    if (end) end.at = open; else for (const b of underWay(s, open)) b.reason ||= "paused inside";
  }
  function applyEnd(s, mine, trialEnd) {
    const end = mine.find(e => e.event === "end");
    s.ended = end ? end.at : null;
    for (const b of s.blocks.values()) {
      if ((s.ended !== null && blockEnd(b) > s.ended) || (trialEnd !== null && blockEnd(b) > trialEnd)) { b.cut = true; b.reason = "not run: ended before"; }
    }
  }
  function applyDrops(s, mine) {
    for (const e of mine) {
      if (e.event !== "drop") continue;
      for (const b of s.blocks.values()) if (b.block === e.block && (!e.band || e.band === b.band)) b.reason ||= "dropped: " + e.note;
    }
  }
  // The dwell that a line of the event connected speaks of.
  function meant(s, e) {
    let best = null, least = 0;
    for (const d of s.dwells) {
      if (d.arm !== e.arm || d.band !== e.band || d.block !== e.block) continue;
      const away = d.start <= e.at && e.at < d.end ? 0 : Math.abs(e.at - d.start);
      if (best === null || away <= least) { best = d; least = away; }
    }
    return best;
  }
  const takenBackNote = time => "taken back: the line connected of " + iso(time) + " is a mistake";
  function applyConnected(s, mine) {
    const back = new Set(mine.filter(e => e.event === "deviation").map(e => e.note));
    for (const e of mine) {
      if (e.event !== "connected") continue;
      const d = meant(s, e);
      if (!d) continue;
      const stands = !back.has(takenBackNote(e.time));
      if (!d.confirmed) { d.confirmed = e; d.takenBack = !stands; } else if (stands) d.again ||= e;
      d.on ||= stands;
    }
  }
  function applyLate(b) {
    let slots = 0;
    for (const d of b.dwells) if (d.confirmed) slots = Math.max(slots, ownSlots(d).filter(at => at < d.confirmed.at).length);
    if (!slots || b.reason) return;
    const of = Math.min(...b.dwells.map(d => ownSlots(d).length)), left = Math.max(0, of - slots);
    b.late = { slots, of };
    if (2 * left < of || left < leastOwnSlots) b.reason = "late switch: " + left + " of " + of + " slots left";
  }

  // ---- keeping the lines

  const prefix = "fairlobe " + plan.key + " ";
  const lines = []; // by entered, then id
  const known = new Set(); // ids
  const strong = new Set(), simple = new Set(), settled = new Set(); // ids that IndexedDB, localStorage hold; the latter for long enough
  let db = null, failing = false, simpleWorks = false, ready = false;

  function opening(ask) {
    return new Promise((done, fail) => {
      ask.onupgradeneeded = () => ask.result.createObjectStore("lines", { keyPath: ["trial", "id"] });
      ask.onsuccess = () => done(ask.result);
      ask.onerror = ask.onblocked = () => fail(ask.error);
    });
  }
  function readDatabase(opened) {
    return new Promise((done, fail) => {
      const ask = opened.transaction("lines").objectStore("lines").getAll(IDBKeyRange.bound([plan.key, ""], [plan.key, "\uffff"]));
      ask.onsuccess = () => done(ask.result.map(r => r.line));
      ask.onerror = () => fail(ask.error);
    });
  }
  function readSimple() {
    const found = [];
    for (let i = 0; i < localStorage.length; i++) {
      const name = localStorage.key(i);
      if (name.startsWith(prefix + "line ")) take(found, localStorage.getItem(name));
    }
    return found;
  }
  function take(found, text) {
    try { found.push(JSON.parse(text)); } catch { /* no line of ours */ }
  }
  function merge(found) {
    for (const line of found) if (line && line.id && !known.has(line.id)) { known.add(line.id); lines.push(line); }
    lines.sort((a, b) => a.entered - b.entered || (a.id < b.id ? -1 : 1));
  }

  // Writes the lines that a store does not hold yet.
  function keep() {
    const fresh = [];
    for (const line of lines) {
      if (simple.has(line.id)) continue;
      try {
        localStorage.setItem(prefix + "line " + line.id, JSON.stringify(line));
        simple.add(line.id);
        fresh.push(line.id);
        simpleWorks = true;
      } catch { simpleWorks = false; break; }
    }
    if (fresh.length) setTimeout(() => { for (const id of fresh) settled.add(id); render(); }, settling);
    const wanted = lines.filter(line => !strong.has(line.id));
    if (!db || !wanted.length) return;
    try {
      const write = db.transaction("lines", "readwrite", { durability: "strict" });
      for (const line of wanted) write.objectStore("lines").put({ trial: plan.key, id: line.id, line });
      write.oncomplete = () => { for (const line of wanted) strong.add(line.id); failing = false; render(); };
      write.onabort = failed;
    } catch { failed(); }
  }
  // A write that failed is tried again on a new connection.
  function failed() {
    failing = true;
    lost();
  }
  function lost() {
    if (!db) return;
    db.close();
    db = null;
    render();
    setTimeout(connect, 1000);
  }

  async function load() {
    try {
      localStorage.setItem(prefix + "probe", "1");
      localStorage.removeItem(prefix + "probe");
      simpleWorks = true;
      const found = readSimple();
      for (const line of found) { simple.add(line.id); settled.add(line.id); }
      merge(found);
    } catch { simpleWorks = false; }
    await Promise.race([connect(), new Promise(done => setTimeout(done, patience))]);
    ready = true;
    keep();
    changed();
  }
  // Right after a crash the browser may not open its database at once: it is tried again, for as long as it takes.
  async function connect() {
    for (let wait = 100; !db; wait = Math.min(2 * wait, 5000)) {
      let ask;
      try { ask = indexedDB.open("fairlobe", 1); } catch { return; } // refused for good
      try {
        const opened = await opening(ask), found = await readDatabase(opened);
        for (const line of found) strong.add(line.id);
        merge(found);
        opened.onclose = opened.onversionchange = lost;
        db = opened;
      } catch {
        await new Promise(done => setTimeout(done, wait));
      }
    }
    keep();
    if (ready) changed();
  }

  function enter(event, fields) {
    const now = Date.now();
    const entered = Math.max(now, lines.length ? lines[lines.length - 1].entered : 0);
    const id = String(entered).padStart(15, "0") + " " + String(lines.length).padStart(6, "0") + " " + Math.random().toString(36).slice(2, 8);
    const line = { id, time: now, entered, event, session: 0, band: "", block: 0, arm: "", value: "", note: "", ...fields };
    line.note = oneLine(line.note);
    known.add(id);
    lines.push(line);
    keep();
    changed();
    return line;
  }

  const quoted = s => /[",\r\n]/.test(s) ? '"' + s.replaceAll('"', '""') + '"' : s;
  function csv() {
    const rows = lines.map(l => [iso(l.time), iso(l.entered), l.event, l.session || "", l.band, l.block || "", l.arm, l.value, l.note]);
    return [header, ...rows].map(r => r.map(v => quoted(String(v))).join(",")).join("\n") + "\n";
  }

  // ---- what to show

  let trial = follow(lines);
  let chosen = 0, chosenAt = 0; // the session that the operator picked and when, 0 = by the clock
  let phase = null, phaseLines = 0, warned = null, listed = "", exported = null;

  function changed() {
    trial = follow(lines);
    listed = "";
    if ($("text").open) $("log").value = csv();
    render();
  }
  const utcNow = s => Date.now() + correction(s.readings, Date.now());
  const over = s => s.ended !== null || trial.trialEnd !== null;
  function current() {
    const picked = trial.sessions.find(s => s.number === chosen);
    // A look back at a session that is over ends by itself, so that it hides nothing that is due.
    if (picked && (!over(picked) && lastEnd(picked) > utcNow(picked) || Date.now() - chosenAt < 120000)) return picked;
    return trial.sessions.find(s => !over(s) && (s.paused !== null || lastEnd(s) > utcNow(s))) || trial.sessions[trial.sessions.length - 1];
  }

  const uncutEnd = s => Math.max(...s.dwells.filter(d => !d.of.cut).map(d => d.end));
  // The session that a session was pushed into, which the analysis refuses.
  function runsInto(s) {
    return trial.sessions.find(o => o !== s && o.dwells.some(d => !d.of.cut) && o.dwells[0].start >= s.dwells[0].start && o.dwells[0].start < uncutEnd(s)) || null;
  }

  // What is to be done in a session: state is one of ended, paused, over, on, wanted, ready.
  function situation(s) {
    const now = utcNow(s);
    const running = s.dwells.find(d => d.start <= now && now < d.end) || null;
    const next = s.dwells.find(d => d.start > now) || null;
    if (over(s)) return { state: "ended", now };
    if (s.paused !== null) return { state: "paused", now, running: null, next };
    if (!running && !next) return { state: "over", now };
    const d = running || next;
    const i = s.dwells.indexOf(d);
    const before = i > 0 ? s.dwells[i - 1] : null;
    const stays = !!before && before.on && before.arm === d.arm && before.band === d.band;
    // A line that is written now must mean this dwell, and not be a try-out days before.
    const early = !running && (d.start - now > soonest || meant(s, { at: now, arm: d.arm, band: d.band, block: d.block }) !== d);
    return { state: d.on ? (running ? "on" : "ready") : "wanted", now, running, next, d, before, stays, early, after: running ? next : s.dwells[i + 1] || null };
  }

  const put = (id, text) => { const e = $(id); if (e.textContent !== text) e.textContent = text; };
  const show = (id, yes) => { if ($(id).hidden === yes) $(id).hidden = !yes; };
  function button(id, text) { show(id, text !== ""); if (text) put(id, text); }

  function render() {
    const s = current(), it = situation(s), now = it.now;
    put("clock", dateOf(now) + " " + clockOf(now));
    put("phoneclock", clockOf(Date.now()));
    const blocks = Math.max(...[...s.blocks.values()].map(b => b.block));
    put("session", "Session " + s.number + (trial.sessions.length > 1 ? " of " + trial.sessions.length : "") + ": " + when(s.dwells[0].start, now) + " to " + when(lastEnd(s), now) + ", " + plural(blocks, "block"));
    showNow(s, it, blocks);
    showButtons(s, it);
    showForms(s, it);
    showKept();
    showExport(s, now);
    announce(s, it);
    showList(s, it);
    for (const b of document.querySelectorAll("button")) if (b.disabled === ready) b.disabled = !ready;
  }

  function showNow(s, it, blocks) {
    const say = (heading, arm, band, until, timer, next) => {
      put("heading", ready ? heading : "Reading the log");
      put("arm", arm); put("band", band); put("until", until); put("timer", timer); put("next", next);
    };
    const place = d => d.band + ", block " + d.block + " of " + blocks;
    const then = d => d ? "Next: " + d.arm + ", " + d.band + ", at " + when(d.start, it.now) : "Next: nothing, this is the last dwell of the session.";
    const d = it.d;
    $("now").classList.toggle("wanted", it.state === "wanted");
    switch (it.state) {
      case "ended": say("Ended", "", "", "Nothing more is to be connected" + (trial.trialEnd === null ? " in this session." : "."), "", ""); break;
      case "over": say("The session is over", "", "", "Compare the clock once more, note the battery, and save the log.", "", ""); break;
      case "paused": say("Paused since " + when(s.paused, it.now), "", "", "What follows shifts when you go on.", togo(it.now - s.paused), it.next ? "Next: " + it.next.arm + ", " + it.next.band : ""); break;
      case "on": say("Connected now: stay on", d.arm, place(d), "On the air until " + when(d.end, it.now) + ", to go:", togo(d.end - it.now), then(it.after)); break;
      case "ready": say("Connected: wait", d.arm, place(d), "On the air at " + when(d.start, it.now) + ", in:", togo(d.start - it.now), then(it.after)); break;
      default:
        if (it.running) say(it.stays ? "Stays connected" : "Connect now", d.arm, place(d), "Its dwell began at " + when(d.start, it.now) + " and ends in:", togo(d.end - it.now), then(it.after));
        else say(it.stays ? "Stays connected" : it.before ? "Change to" : "Connect first", d.arm, place(d), "On the air at " + when(d.start, it.now) + ", in:", togo(d.start - it.now), then(it.after));
    }
    const about = [];
    if (d) {
      if (d.of.reason) about.push("This block does not count (" + d.of.reason + "). Stay with the schedule: the next block does.");
      else if (d.of.late) about.push("Late: " + plural(d.of.late.slots, "slot") + " of " + d.of.late.of + " are taken from each dwell of this block.");
      if (d.takenBack) about.push("You took back the first line for this dwell, and the analysis still counts it." + (d.again && d.again.at <= d.start || !it.running ? "" : " If " + d.arm + " came on after " + clockOf(d.start) + ", drop the block."));
    }
    if (it.state === "wanted" && it.early) about.push(it.d.start - it.now > soonest ? "Can be confirmed from an hour before." : "Can be confirmed once its dwell has begun.");
    const into = runsInto(s);
    if (into) about.push("By the log this session lasts until " + when(uncutEnd(s), it.now) + ", and session " + into.number + " begins at " + when(into.dwells[0].start, it.now) + ". A log in which they overlap is refused: end this session before, or start the other one late.");
    const missed = s.dwells.filter(x => x.end <= it.now && !x.on && !x.of.reason && !x.of.cut).length;
    if (missed && it.state !== "ended") about.push(plural(missed, "dwell") + " of this session not confirmed: they count as planned, and are flagged. See Sessions and schedule.");
    if (!s.readings.length && s.dwells.some(x => x.confirmed)) about.push("The phone's clock has not been compared in this session.");
    show("about", about.length > 0);
    put("about", about.join(" "));
  }

  const noneOn = s => !s.dwells.some(d => d.confirmed);
  // A start shifts all dwells: it must come before any but the first was confirmed.
  const mayStart = (s, it) => it.state !== "ended" && it.state !== "paused" && !s.dwells.slice(1).some(d => d.confirmed) && it.now > s.dwells[0].start;
  const lastOn = s => s.dwells.filter(d => d.on).pop() || null;
  const standing = d => d.takenBack ? d.again : d.confirmed;

  function showButtons(s, it) {
    const d = it.d, wanted = it.state === "wanted" && !it.early;
    button("confirm", !wanted ? "" : it.stays ? d.arm + " is still connected" : d.arm + " is connected");
    button("earlier", wanted && it.running && !it.stays && it.now - d.start > 1000 ? d.arm + " was on before " + clockOf(d.start) + ": I tap late" : "");
    button("start", noneOn(s) && mayStart(s, it) ? "We are late: start the session now" : "");
    button("resume", it.state === "paused" ? "Go on" : "");
    const unsure = s.dwells.filter(x => x.takenBack && !x.of.reason && (x.again ? x.again.at > x.start : it.now > x.start)).pop();
    button("doubt", unsure && it.state !== "ended" ? "Drop " + blockName(unsure) + ": not known when " + unsure.arm + " came on" : "");
    const last = lastOn(s);
    button("undo", last && (it.state === "on" || it.state === "ready") && last === d ? "Take back: " + last.arm + " is not connected" : "");
  }

  function options(id, list) {
    const want = JSON.stringify(list);
    const e = $(id);
    if (e.dataset.list === want) return;
    const had = e.value;
    e.dataset.list = want;
    e.replaceChildren(...list.map(([value, text]) => new Option(text, value)));
    if (list.some(([value]) => value === had)) e.value = had;
  }
  function showForms(s, it) {
    const ended = it.state === "ended";
    const begun = [...s.blocks.values()].filter(b => blockStart(b) <= it.now || b.dwells.some(d => d.confirmed)).reverse().sort((a, b) => b.block - a.block);
    const list = [];
    for (const n of new Set(begun.map(b => b.block))) {
      const bands = begun.filter(b => b.block === n);
      for (const b of bands) list.push([n + " " + b.band, "block " + n + ", " + b.band + (b.reason ? " (does not count already)" : "")]);
      if ([...s.blocks.values()].filter(b => b.block === n).length > 1) list.push([n + " ", "block " + n + ", all bands"]);
    }
    if (!$("drop").open) $("drop").dataset.now = it.d ? it.d.block + " " + it.d.band : "";
    options("dropblock", list.length ? list : [["", "no block has begun"]]);
    options("droparm", [...new Set(plan.dwells.map(d => d.arm))].map(a => [a, a]).concat([["", "not known"]]));
    show("drop", !ended);
    show("pausing", !ended && it.state !== "paused" && it.state !== "over");
    const hit = underWay(s, it.now).filter(b => !b.reason);
    put("pausesays", "What follows shifts by the length of the pause. " + (hit.length ? "A pause now drops what is under way: " + hit.map(blockName).join("; ") + ". If you can, pause after it." : "No block is under way: nothing is lost."));
    show("late", mayStart(s, it));
    put("latesays", "The session's first slot is then the next one, at " + clockOf(upToEdge(it.now)) + ", and all dwells shift by " + togo(upToEdge(it.now) - s.dwells[0].start) + ". The line can't be taken out; a later start takes its place.");
    show("ending", !ended);
  }

  function showKept() {
    const n = lines.length;
    const works = db && !failing, refused = ready && !works && !simpleWorks;
    // Where there are two stores, a line is called saved when both have it for good.
    const inStrong = lines.filter(l => strong.has(l.id)).length, inSimple = lines.filter(l => settled.has(l.id)).length;
    const saved = lines.filter(l => strong.has(l.id) && (settled.has(l.id) || !simpleWorks)).length;
    show("refused", refused);
    if (refused) put("refused", "This browser refuses to keep the log. Leave this page open, don't load it again, and copy or save the log after each change. To have it kept: leave the private mode, allow storage, or make room on the phone, then open the page again.");
    let text = "No line yet.";
    if (n && refused) text = plural(n, "line") + ", not saved on this phone.";
    else if (n && works && saved === n) text = "All " + n + " lines are saved on this phone.";
    else if (n && works) text = "Saving: " + saved + " of " + n + " lines are saved" + (inStrong === n ? ", the rest within ten seconds." : ".");
    else if (n && inSimple === n) text = "All " + n + " lines are kept by this browser, in one place only.";
    else if (n) text = plural(n, "line") + ": this browser writes late. Wait ten seconds before you switch the phone off.";
    put("kept", n === 1 ? text.replace("1 lines are", "1 line is").replace("All 1 line", "The 1 line") : text);
    put("count", plural(n, "line") + ". Put the file where the experiment's [log] names it, in place of the older one: it holds all lines of this page.");
  }

  // Blocks that are over, counted on all bands together.
  function blocksOver() {
    let n = 0;
    for (const s of trial.sessions) {
      const now = utcNow(s), last = new Map();
      for (const b of s.blocks.values()) last.set(b.block, Math.max(last.get(b.block) || 0, blockEnd(b)));
      if (s.dwells.some(d => d.confirmed)) n += [...last.values()].filter(end => end <= now).length;
    }
    return n;
  }
  function showExport() {
    if (exported === null) {
      try { exported = Number(localStorage.getItem(prefix + "exported")) || 0; } catch { exported = 0; }
    }
    const due = ready && lines.length > 0 && blocksOver() - exported >= askAfter;
    show("ask", due);
    if (due) put("ask", plural(blocksOver() - exported, "block") + " since the log was last saved or copied: do it now, and send it away from this phone if you can.");
  }
  function wasExported() {
    exported = blocksOver();
    try { localStorage.setItem(prefix + "exported", String(exported)); } catch { /* it is asked for again */ }
    render();
  }

  // Tells of what the clock brings; what the operator's own line brings is said with the line.
  function announce(s, it) {
    const key = [s.number, it.state, it.d ? s.dwells.indexOf(it.d) : -1, !!it.running].join(" ");
    const byClock = phase !== null && ready && lines.length === phaseLines;
    if (key !== phase) {
      let text = "";
      if (it.state === "wanted") text = (it.stays ? "Stays connected: " : it.running ? "Connect now: " : "Change to ") + it.d.arm + ", " + it.d.band + ".";
      if (it.state === "over") text = "The session is over.";
      if (it.state === "on") text = "On the air: " + it.d.arm + ", " + it.d.band + ".";
      put("change", byClock ? text : "");
      if (byClock && text) signal();
      phase = key;
    }
    phaseLines = lines.length;
    if (ready && it.state === "wanted" && !it.running && it.d.start - it.now <= 60000 && warned !== it.d.start) {
      warned = it.d.start;
      put("change", "One minute: " + it.d.arm + ", " + it.d.band + ", is not confirmed.");
      signal();
    }
  }

  function stateOf(d, now) {
    const line = standing(d);
    const parts = [];
    if (d.of.reason) parts.push(d.of.reason);
    if (d.on) parts.push("connected " + clockOf(line.at));
    else if (d.end <= now) parts.push("not confirmed");
    else if (d.start <= now) parts.push("due now");
    else parts.push("to come");
    if (d.takenBack) parts.push("first line taken back");
    if (d.of.late && !d.of.reason) parts.push(plural(d.of.late.slots, "slot") + " taken away");
    return parts.join("; ");
  }
  function showList(s, it) {
    if (!$("list").open) { listed = ""; return; }
    const version = s.number + " " + lines.length + " " + s.dwells.findIndex(d => d.end > it.now) + " " + it.state;
    if (version === listed) return;
    listed = version;
    const now = it.now;
    $("sessions").replaceChildren(...trial.sessions.map(one => {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = "Session " + one.number + ": " + dateOf(one.dwells[0].start) + " " + clockOf(one.dwells[0].start) + " to " + when(lastEnd(one), one.dwells[0].start) + ", " + one.dwells.filter(d => d.on).length + " of " + one.dwells.length + " dwells confirmed";
      b.setAttribute("aria-pressed", String(one === s));
      b.onclick = () => { chosen = one.number; chosenAt = Date.now(); phase = null; listed = ""; render(); };
      return b;
    }));
    const ul = document.createElement("ul");
    for (const d of s.dwells) {
      const li = document.createElement("li");
      const what = document.createElement("b");
      what.textContent = d.arm + ", " + d.band;
      li.append(when(d.start, now) + " ", what, ", block " + d.block + ": " + stateOf(d, now));
      if (d === it.d) { li.className = "at"; li.setAttribute("aria-current", "step"); }
      if (d.end <= now && !d.on && !d.takenBack && !d.of.reason && !d.of.cut && it.state !== "ended") {
        const b = document.createElement("button");
        b.type = "button";
        b.textContent = d.arm + " was on before " + clockOf(d.start);
        b.onclick = () => inTime(s, d);
        li.append(b);
      }
      ul.append(li);
    }
    $("dwells").replaceChildren(ul);
  }

  // ---- sound, vibration, screen

  let sound = null, lock = null;
  function signal() {
    navigator.vibrate?.([300, 150, 300]);
    if (!sound) return;
    for (const k of [0, 1, 2]) {
      const tone = sound.createOscillator(), level = sound.createGain(), at = sound.currentTime + k * 0.3;
      tone.frequency.value = 880;
      level.gain.value = 0.4;
      tone.connect(level).connect(sound.destination);
      tone.start(at);
      tone.stop(at + 0.2);
    }
  }
  async function stayAwake() {
    if (!navigator.wakeLock || document.visibilityState !== "visible" || lock && !lock.released) return;
    try { lock = await navigator.wakeLock.request("screen"); } catch { lock = null; }
    put("awake", lock ? "" : "The phone does not let this page keep its screen on: set the screen to stay on.");
  }
  let touched = false;
  function firstTouch() {
    stayAwake();
    if (touched) return;
    touched = true;
    navigator.storage?.persist?.().catch(() => {});
    if (!navigator.wakeLock) put("awake", "This page can't keep the screen on: set the phone's screen to stay on.");
  }

  // ---- what the operator does

  const of = d => ({ session: d.session, band: d.band, block: d.block, arm: d.arm });
  // What the phone's clock shows at a moment in UTC: the log holds times of that clock.
  const phoneTime = (s, utc) => utc - correction(s.readings, utc);
  const said = text => put("said", text);
  function inTime(s, d) {
    enter("connected", { ...of(d), time: phoneTime(s, d.start), note: "entered late" });
    said("Written down: " + d.arm + " was on before " + clockOf(d.start) + ".");
  }
  const number = text => {
    const v = text.trim().replace("\u2212", "-").replace(",", ".");
    return /^[+-]?\d+(\.\d+)?$/.test(v) && Math.abs(Number(v)) <= 1e6 ? Number(v) : null;
  };
  const here = (s, it) => it.running ? of(it.running) : { session: s.number };

  $("confirm").onclick = () => {
    const s = current(), it = situation(s), d = it.d;
    if (it.state !== "wanted" || it.early) return;
    const stays = it.stays && it.running;
    enter("connected", { ...of(d), ...(stays ? { time: phoneTime(s, d.start), note: "stayed connected" } : {}) });
    const b = trial.sessions.find(x => x.number === s.number).dwells.find(x => x.start === d.start).of;
    said("Written down: " + d.arm + " is connected." + (b.reason.startsWith("late switch") ? " So late that the block is lost (" + b.reason + ")." : b.late ? " Late: " + plural(b.late.slots, "slot") + " of " + b.late.of + " are taken from each dwell of the block." : ""));
  };
  $("earlier").onclick = () => {
    const s = current(), it = situation(s);
    if (it.state === "wanted" && it.running) inTime(s, it.d);
  };
  $("undo").onclick = () => {
    const s = current(), d = lastOn(s);
    if (!d) return;
    enter("deviation", { ...of(d), note: takenBackNote(standing(d).time) });
    said("Written down that it is a mistake. The line itself stays in the log.");
  };
  $("doubt").onclick = () => {
    const s = current(), now = utcNow(s);
    const d = s.dwells.filter(x => x.takenBack && !x.of.reason && (x.again ? x.again.at > x.start : now > x.start)).pop();
    if (!d) return;
    enter("drop", { ...of(d), note: "not known when the arm was connected" });
    said("Dropped: " + blockName(d) + ".");
  };
  function startNow() {
    const s = current(), it = situation(s);
    if (!mayStart(s, it)) return;
    enter("start", { session: s.number });
    const first = trial.sessions.find(x => x.number === s.number).dwells[0].start;
    said("Started: the first slot is at " + clockOf(first) + ", all that follows has shifted.");
  }
  $("start").onclick = startNow;
  $("resume").onclick = () => {
    const s = current();
    if (s.paused === null) return;
    enter("resume", { session: s.number });
    said("Going on.");
  };
  const onSubmit = (id, act) => $(id).addEventListener("submit", e => { e.preventDefault(); act(e.submitter ? e.submitter.value : ""); });
  onSubmit("noteform", kind => {
    const s = current(), it = situation(s), note = oneLine($("notetext").value);
    if (!note) return said("Write first what happened.");
    enter(kind === "deviation" ? "deviation" : "remark", { ...here(s, it), note });
    $("notetext").value = "";
    said("Written down.");
  });
  onSubmit("pauseform", () => {
    const s = current();
    if (s.paused !== null || over(s)) return;
    enter("pause", { session: s.number });
    $("pausing").open = false;
    said("Paused.");
  });
  onSubmit("lateform", () => { startNow(); $("late").open = false; });

  // The same words as package dwells looks for.
  const signalWords = /\b(\d*db|snr|weak\w*|strong\w*|signals?|reports?|reported|spots?|spotted|decod\w*|fad(e|es|ed|ing))\b/i;
  const strongWeather = /\bstrong(er)? (wind|winds|gust|gusts|rain|storm|gale|sun)\b/ig;
  $("drop").addEventListener("toggle", () => {
    if (!$("drop").open) return;
    const s = current(), d = situation(s).d, at = d || s.dwells[s.dwells.length - 1];
    for (const o of $("dropblock").options) if (o.value === at.block + " " + at.band) $("dropblock").value = o.value;
    $("droparm").value = at.arm;
  });
  onSubmit("dropform", () => {
    const s = current(), picked = document.querySelector('input[name="why"]:checked');
    const note = picked ? picked.value || oneLine($("droptext").value) : "";
    const [block, band] = [$("dropblock").value.split(" ", 1)[0], $("dropblock").value.replace(/^\d+ /, "")];
    if (!block) return said("No block has begun.");
    if (!note) return said("Choose why the block is dropped.");
    if (signalWords.test(note.replace(strongWeather, ""))) return said("Not dropped: this reason seems to look at signals. A block is dropped only for what happened at the station. If it is meant otherwise, say it in other words.");
    enter("drop", { session: s.number, block: Number(block), band, arm: $("droparm").value, note });
    if (picked) picked.checked = false;
    $("droptext").value = "";
    $("drop").open = false;
    said("Dropped: block " + block + (band ? ", " + band : ", all bands") + " (" + note + ").");
  });
  onSubmit("readform", () => {
    const s = current(), it = situation(s), v = number($("readvalue").value);
    if (v === null) return said("Write a plain number, for example 13.2.");
    const what = document.querySelector('input[name="what"]:checked').value;
    enter(what, { ...here(s, it), value: String(v) });
    $("readvalue").value = "";
    said("Written down: " + what.replace("_", " ") + " " + v + "." + (what === "radio_clock" && Math.abs(v) > silentS ? " Set the clock of the radio, or of what keeps its slots, within 0.5 s." : ""));
  });
  const follows = v => Math.abs(v) <= silentS ? "Good: within half a second, nothing is corrected."
    : Math.abs(v) <= limitS ? "The phone is " + offBy(v) + ": the times near this reading are corrected by " + signed(-v) + " s, here and in the analysis. Set the clock before the next session, and compare again if you set it now."
      : "The phone is " + offBy(v) + ", more than half the settling time (" + limitS + " s). A log with that is refused, so it goes into the log as a deviation, and nothing is corrected. Set the phone's clock now and compare again. Times entered so far are off: add " + signed(-v) + " s to them before the analysis.";
  $("minute").onclick = () => {
    const past = ((Date.now() % 60000) + 60000) % 60000;
    $("offset").value = ((past > 30000 ? past - 60000 : past) / 1000).toFixed(1);
    put("follows", follows(Number($("offset").value)));
  };
  $("offset").addEventListener("input", () => {
    const v = number($("offset").value);
    put("follows", v === null ? "" : follows(v));
  });
  onSubmit("clockform", () => {
    const s = current(), v = number($("offset").value);
    if (v === null) return put("follows", "Write seconds as a plain number, for example -0.8.");
    if (Math.abs(v) > limitS) enter("deviation", { session: s.number, note: "the phone's clock was " + offBy(v) + ", too far for a clock reading; times before this are not corrected" });
    else enter("clock", { session: s.number, value: String(v), note: "compared by hand" });
    $("offset").value = "";
    put("follows", "");
    said("Written down. " + follows(v));
  });
  onSubmit("endform", what => {
    const s = current();
    enter("end", what === "trial" ? {} : { session: s.number });
    $("ending").open = false;
    said(what === "trial" ? "The trial is ended." : "The session is ended.");
  });

  $("save").onclick = () => {
    const a = document.createElement("a");
    const url = URL.createObjectURL(new Blob([csv()], { type: "text/csv" }));
    a.href = url;
    a.download = "switches.csv";
    document.body.append(a);
    a.click();
    a.remove();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
    said("switches.csv was handed to the browser: look for it among the downloads.");
    wasExported();
  };
  $("copy").onclick = async () => {
    const box = $("log");
    box.value = csv();
    let ok = false;
    try { await navigator.clipboard.writeText(box.value); ok = true; } catch { ok = false; }
    if (!ok) {
      $("text").open = true;
      box.focus();
      box.select();
      try { ok = document.execCommand("copy"); } catch { ok = false; }
    }
    said(ok ? "The log is copied: paste it into a message or a note." : "This browser does not copy: the text is marked below, copy it by hand.");
    if (ok) wasExported();
  };
  $("text").addEventListener("toggle", () => { $("log").value = csv(); });
  $("list").addEventListener("toggle", () => render());
  $("sound").onclick = () => {
    if (sound) { sound.close(); sound = null; } else {
      const Audio = window.AudioContext || window.webkitAudioContext;
      if (!Audio) return said("This browser has no sound for pages.");
      sound = new Audio();
      signal();
    }
    $("sound").setAttribute("aria-pressed", String(!!sound));
    put("sound", sound ? "Sound is on at each change" : "Sound on at each change");
  };

  document.addEventListener("pointerdown", firstTouch);
  document.addEventListener("visibilitychange", () => { render(); if (touched) stayAwake(); });
  addEventListener("storage", e => {
    if (!e.key || !e.key.startsWith(prefix + "line ") || !e.newValue) return;
    const found = [];
    take(found, e.newValue);
    merge(found);
    keep();
    changed();
  });
  addEventListener("beforeunload", e => { if (lines.some(l => !strong.has(l.id) && !simple.has(l.id))) e.preventDefault(); });
  setInterval(render, 250);
  render();
  load();
})();
