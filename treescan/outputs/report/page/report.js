/* The report's own behaviour: choosing a candidate, sorting and filtering, two side by side. Everything is readable without it. */
"use strict";
(function () {
  const $ = id => document.getElementById(id), json = id => JSON.parse($(id).textContent);
  const data = json("tree-data"), cards = new Map(json("compare-data").map(c => [c.id, c])), against = json("against-data"), ask = json("ask-data"), phrases = json("phrases");
  const say = (code, values = {}) => phrases[code].replace(/\{(\w+)\}/g, (_, name) => values[name]), word = id => phrases.words[id] || id;
  document.querySelectorAll("form.filters").forEach(f => f.addEventListener("submit", e => e.preventDefault()));
  let view = null;
  try { view = TreeView($("view"), $("tags"), data, pick, ask.others, other); } catch (error) { console.warn("no 3-D view: " + error.message); }
  if (!view) { $("noview").hidden = false; $("view").hidden = true; document.querySelector(".tools").hidden = true; }

  function text(tag, words, css) { const e = document.createElement(tag); e.textContent = words; if (css) e.className = css; return e; }
  const THROWN = ["card_stand", "card_throw", "card_chance", "card_line"], WANTED = ["card_margin", "card_force", "card_section", "card_stand", "card_throw", "card_chance", "card_line", "card_served", "card_swing", "card_bring", "card_path_seen"];
  const name = a => a.label + ", " + word(a.system);
  function told(title, lines) {
    if (!lines.length) return [];
    const list = document.createElement("ul"); list.className = "notes"; lines.forEach(l => list.append(text("li", l)));
    return [text("h4", title), list];
  }
  function summary(id) {
    const box = $("summary"), c = cards.get(id), a = data.anchors[id], q = ask.judged[id]; if (!box) return;
    box.replaceChildren(text("h3", a.usable ? a.rank + ". " + name(a) : say("page_not_ranked_name", { name: name(a) })), text("span", word(a.verdict), "standing " + a.verdict.replaceAll(" ", "-")), text("p", q.place));
    box.append(...told(say(a.usable ? "page_look_first" : "page_why_not_ranked"), q.why), ...told(say("page_would_help"), q.helps));
    if (!c) return;
    const list = document.createElement("dl"), borrowed = c.rows.some(r => r[2] === "card_over");
    if (borrowed) list.append(text("dt", c.rows.find(r => r[2] === "card_over")[3]), text("dd", say("page_no_own_throw")));
    WANTED.filter(w => !(borrowed && THROWN.includes(w))).forEach(w => { const row = c.rows.find(r => r[2] === w); if (row) list.append(text("dt", row[3]), text("dd", row[4])); });
    c.rows.filter(r => r[0] === "ask_fail").slice(0, 1).forEach(r => list.append(text("dt", say("page_if_it_fails", { what: r[3] })), text("dd", r[4])));
    const link = text("a", say("page_whole_card")); link.href = "#c" + id; const p = document.createElement("p"); p.append(link);
    box.append(list, p);
  }
  function other(i) { const o = ask.others[i], box = $("summary"); if (box) box.replaceChildren(text("h3", o.label), text("p", o.place), ...told(say("page_why_not_ranked"), o.why), ...told(say("page_would_help"), o.helps)); document.documentElement.dataset.chosen = o.label; }
  function pick(id) {
    const same = data.anchors.filter(a => a.union === data.anchors[id].union);
    if (view) view.choose(id);
    if ($("choose")) $("choose").value = id;
    summary(id);
    document.querySelectorAll("#table tbody tr").forEach(r => r.classList.toggle("on", Number(r.dataset.id) === id));
    if (same.length > 1 && $("summary")) {
      const p = text("p", say("page_other_ways", { label: data.anchors[id].label }) + " ");
      same.filter(a => a.id !== id).slice(0, 8).forEach(a => { const b = text("button", (a.usable ? a.rank + ". " : "") + word(a.system) + ", " + word(a.hardware)); b.type = "button"; b.addEventListener("click", () => pick(a.id)); p.append(b, " "); });
      $("summary").append(p);
    }
    document.documentElement.dataset.chosen = id;
  }
  window.treescanPick = pick; window.treescanView = view;
  if ($("choose")) { $("choose").addEventListener("change", e => pick(Number(e.target.value))); pick(0); }
  document.querySelectorAll("[data-layer]").forEach(box => box.addEventListener("change", () => view && view.setLayer(box.dataset.layer, box.checked)));
  document.querySelectorAll("[data-view]").forEach(b => b.addEventListener("click", () => view && view.view(b.dataset.view)));
  document.querySelectorAll("[data-zoom]").forEach(b => b.addEventListener("click", () => view && view.zoomBy(Number(b.dataset.zoom))));
  document.querySelectorAll("[data-show]").forEach(b => b.addEventListener("click", () => { pick(Number(b.dataset.show)); $("turn").open = true; $("viewer").scrollIntoView(); $("view").focus({ preventScroll: true }); }));
  const folds = [...document.querySelectorAll("details.fold")];
  const openTarget = () => {
    const t = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1))); if (!t) return;
    for (let d = t; d; d = d.parentElement) if (d.tagName === "DETAILS") d.open = true;
    t.scrollIntoView();
  };
  window.addEventListener("hashchange", openTarget); openTarget();
  document.addEventListener("click", e => { const l = e.target.closest("a[href^='#']"); if (l && l.hash === location.hash) openTarget(); });
  const turn = $("turn");
  turn.addEventListener("toggle", () => { if (turn.open && view && !turn.dataset.seen) { turn.dataset.seen = "1"; requestAnimationFrame(() => view.view("home")); } });
  const unfold = $("unfold"), words = () => { unfold.textContent = say(folds.some(d => d.open) ? "page_fold" : "page_unfold"); };
  unfold.addEventListener("click", () => { const open = !folds.some(d => d.open); folds.forEach(d => { d.open = open; }); words(); });
  folds.forEach(d => d.addEventListener("toggle", words));
  window.addEventListener("beforeprint", () => {
    folds.forEach(d => { d.removeAttribute("name"); d.open = true; });
    document.querySelectorAll("details.part, details.plate").forEach(d => { d.removeAttribute("name"); d.open = !d.closest("#background"); });
    document.querySelectorAll("details.card").forEach((d, i) => { d.removeAttribute("name"); d.open = i < 3; });
  });

  const table = $("table");
  if (table) {
    const body = table.tBodies[0], rows = [...body.rows];
    table.querySelectorAll("thead button").forEach((button, column) => button.addEventListener("click", () => {
      const head = button.parentElement, up = head.getAttribute("aria-sort") !== "ascending";
      table.querySelectorAll("thead th").forEach(h => h.hasAttribute("aria-sort") && h.setAttribute("aria-sort", "none")); head.setAttribute("aria-sort", up ? "ascending" : "descending");
      const value = r => { const v = r.cells[column].dataset.v; return button.dataset.kind === "number" ? Number(v) : v; };
      rows.sort((r, s) => { const x = value(r), y = value(s); return (x < y ? -1 : x > y ? 1 : Number(r.dataset.id) - Number(s.dataset.id)) * (up ? 1 : -1); });
      body.append(...rows);
    }));
    const filter = () => {
      const words = $("find").value.trim().toLowerCase(), system = $("bysystem").value, only = $("rankedonly").checked; let n = 0;
      rows.forEach(r => { const show = (!words || r.textContent.toLowerCase().includes(words)) && (!system || r.dataset.system === system) && (!only || r.dataset.usable === "1"); r.hidden = !show; n += show; });
      $("count").textContent = say("page_count_shown", { shown: n, all: rows.length });
    };
    ["find", "bysystem", "rankedonly"].forEach(id => $(id).addEventListener("input", filter)); filter();
    body.addEventListener("click", e => { const r = e.target.closest("tr"); if (r && !e.target.closest("a")) pick(Number(r.dataset.id)); });
  }

  const left = $("left"), right = $("right");
  if (left && cards.size) {
    for (const s of [left, right]) cards.forEach(c => { const o = text("option", c.title); o.value = c.id; s.append(o); });
    right.selectedIndex = Math.min(1, cards.size - 1);
    const show = () => {
      const l = cards.get(Number(left.value)), r = cards.get(Number(right.value)), t = $("pair");
      const labels = [], at = new Map();
      for (const c of [l, r]) c.rows.forEach(row => { const k = row[0] + "|" + row[3]; if (!at.has(k)) { at.set(k, true); labels.push(row); } });
      const order = [...new Set(labels.map(q => q[0]))]; labels.sort((x, y) => order.indexOf(x[0]) - order.indexOf(y[0]));
      const find = (c, q) => (c.rows.find(row => row[0] === q[0] && row[3] === q[3]) || ["", "", "", "", "–"])[4];
      const head = document.createElement("tr"); head.append(text("td", ""), text("th", l.title), text("th", r.title)); head.querySelectorAll("th").forEach(h => h.scope = "col");
      const out = [head]; let last = "";
      const held = against[l.id + " " + r.id] || against[r.id + " " + l.id];
      if (held) { const tr = document.createElement("tr"), h = text("th", say("page_held_against")), d = text("td", held); h.scope = "row"; d.colSpan = 2; tr.append(h, d); out.push(tr); }
      labels.forEach(q => {
        if (q[0] !== last) { last = q[0]; const g = document.createElement("tr"), h = text("th", q[1]); g.className = "group"; h.colSpan = 3; h.scope = "colgroup"; g.append(h); out.push(g); }
        const tr = document.createElement("tr"), h = text("th", q[3]), x = find(l, q), y = find(r, q); h.scope = "row";
        tr.append(h, text("td", x, x === y ? "" : "differs"), text("td", y, x === y ? "" : "differs")); out.push(tr);
      });
      t.replaceChildren(...out);
    };
    left.addEventListener("change", show); right.addEventListener("change", show); show();
  }
})();
