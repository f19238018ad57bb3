(function () {
  "use strict";
  const block = document.getElementById("walks");
  if (!block) return;
  const data = JSON.parse(block.textContent);
  const { words, calls, trees } = data;
  const END = -1;
  const ASK_AGAIN = -2;
  const STOPPED = -3;
  const STORE = "round " + data.id;
  let isKept = true;
  let kept = {};
  try {
    kept = JSON.parse(localStorage.getItem(STORE)) || {};
  } catch {
    isKept = false;
  }
  const stateOf = (number) => kept[number] || (kept[number] = { keys: [], outcome: "", cause: "", minutes: "", on: "", isMended: false });

  const made = (name, cls, text) => {
    const element = document.createElement(name);
    if (cls) element.className = cls;
    if (text !== undefined) element.textContent = text;
    return element;
  };
  const button = (cls, text, act) => {
    const element = made("button", cls, text);
    element.type = "button";
    element.addEventListener("click", act);
    return element;
  };
  const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name]);

  function keep() {
    try {
      localStorage.setItem(STORE, JSON.stringify(kept));
      isKept = true;
    } catch {
      isKept = false;
    }
  }

  // ---- where a visit stands: the keys tapped so far, followed from the first point of its tree; a key below zero is
  // a danger that was met, which stops it
  function standing(number) {
    const tree = trees[calls[number].tree];
    const passed = [];
    let at = 0;
    for (const key of stateOf(number).keys) {
      if (key < 0) {
        const [text, label, heed] = tree.dangers[-key - 1];
        passed.push({ step: { told: words.danger_met, parts: [] }, label, does: "heard", text, heed });
        at = STOPPED;
        break;
      }
      const [place, , , , leads] = tree.points[at];
      const step = tree.steps[place];
      const [label, does, text, cause] = step.keys[key];
      passed.push({ step, label, does, text, cause });
      at = leads[key];
      if (at < 0) break;
    }
    return { tree, passed, at };
  }

  // what was seen burnt and not put right, or measured unsafe and not again (no cause mends that, only the test):
  // with it no visit ends as fixed, as in the tool
  function notFixedYet(number) {
    const { tree, passed } = standing(number);
    const done = new Set(passed.filter(({ does }) => does === "tried" || does === "cured").map(({ cause }) => cause));
    const seen = Array.from(findingsOf(number), ([finding, value]) => tree.burnt[`${finding}=${value}`]);
    for (const { does, label } of passed) if (does === "heard") seen.push([label, []]);
    const left = seen.filter((one) => one && !(one[1] || []).some((cause) => done.has(cause)));
    const tests = left.filter(([, causes]) => causes === null);
    if (tests.length) return { left: tests, isTest: true };
    return { left: stateOf(number).isMended ? [] : left, isTest: false };
  }

  function findingsOf(number, again) {
    const findings = new Map(calls[number].findings);
    const { tree, passed } = standing(number);
    let isRepaired = false;
    for (const { does, text } of passed) {
      const cut = text.indexOf("=");
      const [finding, value] = [text.slice(0, cut), text.slice(cut + 1)];
      const before = tree.burnt[`${finding}=${findings.get(finding)}`];
      isRepaired = isRepaired || does === "tried" || does === "cured";
      // in the record a test repeated after the repair belongs to the work, the first reading to the fault
      if (does === "seen" && again && isRepaired && before && before[1] === null) again.push(`${finding} again: ${value}`);
      else if (does === "seen") findings.set(finding, value);
    }
    return findings;
  }

  function warn(number, { left, isTest }) {
    const card = document.querySelector(`[data-walk="${number}"] .card`);
    for (const old of card.querySelectorAll(".still-burnt")) old.remove();
    const part = made("div", "still-burnt");
    part.setAttribute("role", "alert");
    const what = left.map(([name]) => name).join(", ");
    part.append(made("p", "warn", filled(isTest ? words.test_again : words.still_burnt, { what })));
    if (!isTest) part.append(button("key is-quiet", words.mended, () => {
      stateOf(number).isMended = true;
      end(number, "fixed");
    }));
    card.prepend(part);
    part.scrollIntoView({ block: "start" });
  }

  function press(number, key) {
    stateOf(number).keys.push(key);
    const { at } = standing(number);
    const open = at === END ? notFixedYet(number) : null;
    if (open && open.left.length) {
      stateOf(number).keys.pop();
      warn(number, open);
    } else if (at === END) {
      end(number, "fixed");
    } else changed(number);
  }

  function undo(number) {
    const state = stateOf(number);
    const { at } = standing(number);
    const wasEnded = state.outcome !== "";
    Object.assign(state, { outcome: "", cause: "", on: "", isMended: false });
    if (!wasEnded || at === END) state.keys.pop();
    changed(number);
  }

  function end(number, outcome) {
    const open = outcome === "fixed" ? notFixedYet(number) : null;
    if (open && open.left.length) {
      warn(number, open);
      return;
    }
    const now = new Date();
    const pad = (value) => String(value).padStart(2, "0");
    const on = `${now.getFullYear()}-${pad(now.getMonth() + 1)}-${pad(now.getDate())}`;
    Object.assign(stateOf(number), { outcome, on });
    changed(number);
  }

  function changed(number) {
    keep();
    show(number);
    showTaken();
    const heading = document.querySelector(`[data-walk="${number}"] h3`);
    if (heading) {
      heading.focus({ preventScroll: true });
      const box = heading.getBoundingClientRect();
      if (box.top < 0 || box.top > window.innerHeight / 2) heading.scrollIntoView({ block: "start" });
    }
  }

  // ---- the record of a visit, in the columns that the tool loads
  function record(number) {
    const state = stateOf(number);
    const line = { ...calls[number].record };
    const again = [];
    const findings = findingsOf(number, again);
    const complaints = line.complaint ? [line.complaint] : [];
    const work = [];
    const looked = [];
    const parts = [];
    for (const { step, does, text } of standing(number).passed) {
      if (does === "said") complaints.push(text);
      if (does === "heard") looked.push(`told: ${text}`);
      if (does === "looks good") looked.push(text);
      if (does === "tried" || does === "cured") {
        work.push(text);
        parts.push(...step.parts);
      }
    }
    line.visit_date = state.on;
    line.complaint = complaints.join(", ");
    line.findings = Array.from(findings, ([finding, value]) => `${finding}=${value}`).join("; ");
    line.cause = state.cause;
    line.work_done = [...work, ...again, ...looked].join("; ");
    line.parts = parts.join("; ");
    line.outcome = state.outcome;
    line.minutes = state.minutes;
    return line;
  }

  const finished = () => calls.map((_, number) => number).filter((number) => kept[number] && kept[number].outcome);
  const begun = () => calls.map((_, n) => n).filter((n) => kept[n] && kept[n].keys.length && !kept[n].outcome);
  const cell = (value) => {
    const text = String(value ?? "").replace(/[\u0000-\u001f\u007f]+/g, " ");
    return /[",;]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  function asCsv() {
    const lines = finished().map((number) => record(number));
    const rows = lines.map((line) => data.fields.map((name) => cell(line[name])).join(","));
    return [data.fields.join(","), ...rows].join("\n") + "\n";
  }

  // ---- what is shown
  function show(number) {
    const place = document.querySelector(`[data-walk="${number}"]`);
    const state = stateOf(number);
    const { tree, passed, at } = standing(number);
    const card = made("div", "card");
    card.dataset.at = at;
    if (passed.length) {
      const trail = made("ol", "trail");
      for (const { step, label } of passed) {
        const row = made("li");
        row.append(made("span", "", step.told), made("b", "", label));
        trail.append(row);
      }
      card.append(trail);
    }
    const isOver = state.outcome || at < 0;
    card.append(...(isOver ? [] : stepShown(number, tree, at)));
    if (at === ASK_AGAIN && !state.outcome) card.append(...askAgainShown(number, tree, passed));
    if (at === STOPPED) card.append(...stopShown(passed[passed.length - 1].heed));
    if (isOver || tree.steps[tree.points[at][0]].do === "hand over") card.append(...endingShown(number, tree));
    const foot = made("p", "foot");
    const back = made("a", "", words.all_calls);
    back.href = "#calls";
    foot.append(back);
    if (state.keys.length || state.outcome) foot.append(button("quiet", words.undo, () => undo(number)));
    if (!isOver && tree.steps[tree.points[at][0]].do !== "hand over") {
      const other = button("quiet", words.end_now, () => {
        other.remove();
        card.insertBefore(ending(number, tree), foot);
      });
      foot.append(other);
    }
    if (!isOver) {
      const met = button("quiet is-danger", words.danger_met, () => {
        met.remove();
        const which = dangersShown(number, tree);
        card.insertBefore(which, foot);
        which.scrollIntoView({ block: "nearest" });
      });
      foot.append(met);
    }
    if (!isKept) card.append(made("p", "warn", words.not_kept));
    card.append(foot);
    place.replaceChildren(card);
    const mark = document.querySelector(`[data-state="${number}"]`);
    mark.textContent = state.outcome ? outcomeShown(state.outcome) : state.keys.length ? words.begun : "";
  }

  // where the tree ends: the odds as they stood, what may be looked at meanwhile (without power, and only where nothing
  // burnt or measured unsafe was met), and the question to be asked again, in words
  function askAgainShown(number, tree, passed) {
    const shown = [heading(words.ask_again), made("p", "", words.ask_again_how)];
    const line = record(number);
    if (line.age) line.age = filled(words.age_told, { age: line.age });
    const known = ["appliance_kind", "make", "model", "age", "complaint", "fault_code", "findings", "work_done"];
    const facts = known.map((name) => line[name]).filter((text) => text);
    const blank = passed.filter(({ does }) => does === "").map(({ step, label }) => `${step.told}: ${label}`);
    facts.push(...blank);
    shown.push(made("p", "say", filled(words.say_this, { facts: facts.join("; ") })));
    const odds = oddsBefore(number);
    if (odds.length) shown.push(made("p", "small", words.odds_before), oddsShown(tree, odds));
    const done = new Set(passed.map(({ step }) => step.told));
    const look = passed[passed.length - 1].does === "" && !notFixedYet(number).left.length
      && tree.looks.find(([name]) => !done.has(name));
    if (look) shown.push(made("p", "", filled(words.look_meanwhile, { look: look[0] })), care(look[1], tree.cautions));
    return shown;
  }

  function oddsBefore(number) {
    const tree = trees[calls[number].tree];
    let at = 0;
    for (const key of stateOf(number).keys.slice(0, -1)) at = tree.points[at][4][key];
    return tree.points[at][3];
  }

  function oddsShown(tree, odds) {
    const list = made("ul", "may-be");
    for (let k = 0; k < odds.length; k += 2) {
      const row = made("li");
      const bar = made("meter");
      bar.max = 100;
      bar.value = odds[k + 1];
      row.append(made("span", "", tree.causes[odds[k]][1]), made("b", "", filled(words.percent, { n: odds[k + 1] })), bar);
      list.append(row);
    }
    return list;
  }

  function dangersShown(number, tree) {
    const part = made("div", "ending dangers");
    part.append(made("h4", "", words.danger_which));
    const keys = made("div", "keys");
    tree.dangers.forEach(([, label], n) => keys.append(button("key", label, () => press(number, -n - 1))));
    part.append(keys);
    return part;
  }

  function stopShown(heed) {
    return [heading(words.danger_stops), care(heed, data.danger_texts)];
  }

  function care(names, texts) {
    const list = made("dl", "care");
    for (const name of names) {
      const row = made("div");
      row.append(made("dt", "", name), made("dd", "", texts[name]));
      list.append(row);
    }
    return list;
  }

  function heading(text) {
    const element = made("h3", "next", text);
    element.tabIndex = -1;
    return element;
  }

  function stepShown(number, tree, at) {
    const [place, minutes, money, odds, leads] = tree.points[at];
    const step = tree.steps[place];
    const shown = [];
    shown.push(heading(step.told));
    if (step.cost) shown.push(made("p", "cost", step.cost));
    for (const text of step.vain) shown.push(made("p", "vain", text));
    if (step.heed.length) shown.push(care(step.heed, tree.cautions));
    if (step.keys.length) {
      const keys = made("div", "keys");
      step.keys.forEach(([label, does], key) => {
        const cls = leads[key] === ASK_AGAIN ? "key is-rare" : does === "" ? "key is-quiet" : "key";
        keys.append(button(cls, label, () => press(number, key)));
      });
      shown.push(keys);
    }
    if (odds.length) shown.push(oddsShown(tree, odds));
    if (minutes !== null) shown.push(made("p", "ahead", filled(words.ahead, { minutes, money })));
    return shown;
  }

  const outcomeShown = (outcome) => (data.outcomes.find(([name]) => name === outcome) || [outcome, outcome])[1];

  function ending(number, tree) {
    const state = stateOf(number);
    const part = made("div", "ending");
    part.append(made("h4", "", words.how_ended));
    const keys = made("div", "keys");
    for (const [outcome, label] of data.outcomes) {
      const key = button("key", label, () => end(number, outcome));
      key.setAttribute("aria-pressed", String(state.outcome === outcome));
      keys.append(key);
    }
    part.append(keys);
    if (!state.outcome) return part;
    const cause = made("select");
    const last = standing(number).passed.findLast(({ does }) => does === "tried" || does === "cured");
    const cured = last && last.does === "cured" ? [tree.causes[last.cause]] : [];
    const names = [["", words.not_known], ...cured, ...tree.causes.filter((one) => !cured.includes(one))];
    if (state.cause && !names.some(([name]) => name === state.cause)) names.push([state.cause, state.cause]);
    for (const [name, label] of names) cause.append(new Option(label, name, false, name === state.cause));
    const said = made("input");
    said.value = "";
    said.placeholder = words.in_own_words;
    said.maxLength = 200;
    const minutes = made("input");
    minutes.inputMode = "numeric";
    minutes.maxLength = 3;
    minutes.value = state.minutes;
    cause.addEventListener("change", () => { state.cause = cause.value; changed(number); });
    said.addEventListener("change", () => { state.cause = said.value.trim(); changed(number); });
    minutes.addEventListener("change", () => {
      state.minutes = /^\d+$/.test(minutes.value) ? minutes.value : "";
      changed(number);
    });
    for (const [label, input] of [[words.really_was, cause], [words.or_else, said], [words.minutes, minutes]]) {
      const row = made("label", "", label);
      row.append(input);
      part.append(row);
    }
    return part;
  }

  const endingShown = (number, tree) => {
    const { at } = standing(number);
    const parts = [ending(number, tree)];
    if (at >= 0 && !stateOf(number).outcome) parts.unshift(...stepShown(number, tree, at));
    return parts;
  };

  // ---- taking it home
  function showTaken() {
    const place = document.getElementById("take");
    const body = place.querySelector(".body");
    const done = finished();
    const open = begun();
    const told = made("p", "note", filled(words.finished, { done: done.length, calls: calls.length }));
    const parts = [told];
    if (open.length) {
      const which = open.map((number) => number + 1).join(", ");
      parts.push(made("p", "note", filled(words.unfinished, { which })));
    }
    parts.push(made("p", "note", isKept ? words.kept : words.not_kept));
    if (done.length) {
      const text = made("textarea");
      text.readOnly = true;
      text.rows = 4;
      text.value = asCsv();
      text.setAttribute("aria-label", words.text);
      text.addEventListener("focus", () => text.select());
      const file = made("a", "key", words.save);
      file.download = `${data.name}.csv`;
      file.href = URL.createObjectURL(new Blob([text.value], { type: "text/csv" }));
      const copy = button("key", words.copy, () => {
        text.focus();
        text.select();
        if (navigator.clipboard) navigator.clipboard.writeText(text.value).catch(() => document.execCommand("copy"));
        else document.execCommand("copy");
        copy.textContent = words.copied;
      });
      const keys = made("div", "keys");
      keys.append(file, copy);
      parts.push(keys, text);
    }
    body.replaceChildren(...parts);
  }

  document.documentElement.classList.add("can-tap");
  calls.forEach((_, number) => show(number));
  for (const place of document.querySelectorAll("[data-walk]")) place.hidden = false;
  for (const whole of document.querySelectorAll("[data-whole]")) {
    whole.addEventListener("click", () => {
      const isWhole = whole.closest(".sheet").classList.toggle("is-whole");
      whole.setAttribute("aria-expanded", String(isWhole));
    });
  }
  document.getElementById("take").hidden = false;
  showTaken();
})();
