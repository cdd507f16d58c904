/* The planner's page: asks the server of this machine, shows what it says. All words come from the server. */
"use strict";
(() => {
  const $ = id => document.getElementById(id);
  const send = async (path, body, method = "POST") => {
    const r = await fetch(path, { method, headers: { "x-treescan": "1", "content-type": "application/json" }, body: JSON.stringify(body) });
    const kind = r.headers.get("content-type") || "", out = kind.startsWith("application/json") ? await r.json() : { fault: await r.text() };
    if (!r.ok) throw new Error(out.fault || String(r.status));
    return out;
  };
  if (document.body.dataset.door === "yes") {
    $("door").addEventListener("submit", async e => {
      e.preventDefault();
      try {
        const r = await fetch("/enter", { method: "POST", body: JSON.stringify({ password: e.target.password.value }) });
        if (!r.ok) throw new Error((await r.json()).fault);
        location.replace("/");
      } catch (err) { $("fault").textContent = err.message; }
    });
    return;
  }
  const W = JSON.parse($("words").textContent), w = code => W["served_" + code] ?? code;
  const get = async path => { const r = await fetch(path), out = await r.json(); if (!r.ok) throw new Error(out.fault); return out; };
  const fault = text => { $("fault").textContent = text || ""; };
  const trying = f => async (...a) => { try { fault(); return await f(...a); } catch (err) { fault(err.message || w("gone")); } };
  function el(tag, props = {}, ...inside) {
    const e = document.createElement(tag);
    for (const [k, v] of Object.entries(props)) { if (k.startsWith("on")) e.addEventListener(k.slice(2), v); else if (k in e && k !== "list") e[k] = v; else e.setAttribute(k, v); }
    e.append(...inside.filter(x => x !== null && x !== undefined));
    return e;
  }
  const slug = text => text.toLowerCase().replace(/[^a-z0-9]+/g, "-").slice(0, 60);
  const button = (label, onclick, props = {}) => el("button", { type: "button", onclick, id: "do-" + slug(props.ariaLabel ?? label), ...props }, label);
  const list = items => el("ul", { className: "rows" }, ...items.map(t => el("li", {}, t)));
  const field = (label, input) => { if (!input.id) input.id = "in-" + slug(label); return el("div", { className: "field" }, el("label", { htmlFor: input.id }, label), input); };
  const group = (name, ...inside) => el("fieldset", {}, el("legend", {}, name), ...inside);
  const choice = (options, value, onchange, props = {}) => { const s = el("select", { onchange, ...props }, ...options.map(([v, t]) => el("option", { value: v }, t))); s.value = value; return s; };
  const number = (value, step, onchange) => el("input", { type: "number", step, value, inputMode: "decimal", onchange, className: onchange ? "" : "keep" });

  let key = null, state = null, view = null, scene = null, tab = "candidates", tool = "look", union = null, card = null, place = null, limb = null;
  let colourBy = "verdict", open = [], tape = [], compareOf = null, alive = 0, asked = 0;
  const marks = { posted: [] };
  window.treescanPage = { state: () => state, view: () => view, scene: () => scene, answers: marks.posted };

  /* ---- theme, kept in this browser */
  const themed = name => { document.documentElement.dataset.theme = name; try { localStorage.setItem("theme", name); } catch { /* private window */ } if (view) { view.theme(name); redraw(); } };
  let first = "light";
  try { first = localStorage.getItem("theme") || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light"); } catch { /* private window */ }
  themed(first);

  /* ---- what is asked of the tree */
  const wish = trying(async body => {
    const start = performance.now(), mine = ++asked;
    state = await send(`/tree/${key}/wish`, { ...body, chosen: union });
    marks.posted.push({ wish: body, mine, start, said: performance.now() - start, first: null, answered: null });
    show();
  });
  const change = (kind, values) => wish({ wish: "change", kind, values });
  const setting = (name, value) => change("setting", { name, value });
  async function follow(mine) {
    while (mine === alive) {
      try {
        const next = await get(`/tree/${key}/state?since=${state ? state.version : 0}`);
        if (mine !== alive) return;
        if (!state || next.version >= state.version) { state = next; show(); }
      } catch { if (mine !== alive) return; $("working").textContent = w("gone"); await new Promise(r => setTimeout(r, 1500)); }
    }
  }

  /* ---- the list of trees */
  async function trees() {
    alive++; view?.close(); view = null; key = null; state = null; union = card = null;
    $("look").hidden = $("side").hidden = true; $("list").hidden = false; document.querySelector("main").classList.remove("open");
    $("title").textContent = w("title"); $("working").textContent = ""; top();
    const { trees } = await get("/trees");
    if (trees.length === 1 && trees[0].ready && !trees.visited) { trees.visited = true; if (!window.treescanBack) return openTree(trees[0]); }
    const box = $("list");
    box.replaceChildren(el("h2", {}, w("trees")), map(trees.filter(t => t.at)), el("ul", { className: "rows" }, ...trees.map(t => el("li", { className: "row" },
      button(t.name, trying(() => t.ready ? openTree(t) : traced(t)), { className: "main" }), el("span", { className: "soft" }, t.ready ? "" : w("not_traced")), el("span", { id: "trace-" + t.key, role: "status" })))), bring());
  }
  function map(placed) {
    if (placed.length < 2) return null;
    const ns = "http://www.w3.org/2000/svg", xs = placed.map(t => t.at[0]), ys = placed.map(t => t.at[1]), x0 = Math.min(...xs), y0 = Math.min(...ys), size = Math.max(Math.max(...xs) - x0, Math.max(...ys) - y0, 1);
    const svg = document.createElementNS(ns, "svg");
    svg.setAttribute("class", "map"); svg.setAttribute("viewBox", "0 0 640 320"); svg.setAttribute("role", "img"); svg.setAttribute("aria-label", w("map"));
    for (const t of placed) {
      const x = 40 + 440 * (t.at[0] - x0) / size, y = 290 - 260 * (t.at[1] - y0) / size;
      const c = document.createElementNS(ns, "circle"), label = document.createElementNS(ns, "text");
      Object.entries({ cx: x, cy: y, r: 8 }).forEach(([k, v]) => c.setAttribute(k, v));
      Object.entries({ x: x + 11, y: y + 4 }).forEach(([k, v]) => label.setAttribute(k, v));
      label.textContent = t.name; c.addEventListener("click", trying(() => openTree(t))); svg.append(c, label);
    }
    return svg;
  }
  const bring = () => field(w("bring"), el("input", { type: "file", onchange: trying(async e => {
    const f = e.target.files[0], r = await fetch("/upload/" + encodeURIComponent(f.name), { method: "PUT", headers: { "x-treescan": "1" }, body: f });
    const kind = r.headers.get("content-type") || "", said = kind.startsWith("application/json") ? await r.json() : { fault: await r.text() };
    if (!r.ok) throw new Error(said.fault);
    window.treescanBack = true; await trees();
  }) }));
  async function traced(t) {
    const spot = $("trace-" + t.key);
    let p = await send("/trace/" + t.key, { wish: "start" });
    const stop = button(w("stop"), trying(() => send("/trace/" + t.key, { wish: "stop" }))), bar = el("progress", { max: 1, value: 0 }), text = el("span", {});
    spot.replaceChildren(bar, text, stop);
    while (!p.done && !p.fault) { bar.value = p.share; text.textContent = p.stage; await new Promise(r => setTimeout(r, 400)); p = await get("/trace/" + t.key); if (!spot.isConnected) return; }
    if (p.fault) { spot.replaceChildren(p.fault); return; }
    await openTree(t);
  }
  async function openTree(t) {
    key = t.key; const mine = ++alive;
    $("list").hidden = true; $("look").hidden = $("side").hidden = false; document.querySelector("main").classList.add("open");
    $("title").textContent = t.name; $("working").textContent = w("opening"); top();
    scene = await get(`/tree/${key}/scene`);
    const canvas = $("view").cloneNode(); $("view").replaceWith(canvas);
    view = PlannerView(canvas, $("tags"), scene, { tap, drawn: n => {
      $("north").style.transform = `rotate(${n.north}rad)`;
      const steps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50], m = steps.find(s => s * n.pixelsPerMetre > 50) ?? 50;
      $("scale").firstElementChild.style.width = m * n.pixelsPerMetre + "px"; $("scale").lastElementChild.textContent = metres(m);
    } });
    if (view) view.theme(document.documentElement.dataset.theme);
    performance.mark("tree-shown");
    bars(); follow(mine);
    if (!view || !scene.points) return;
    const brought = await fetch(`/tree/${key}/points`), packed = brought.ok ? await brought.arrayBuffer() : null;
    if (packed && mine === alive) { view.scanned(new Uint16Array(packed)); performance.mark("points-shown"); }
  }
  const imperial = () => state?.inputs.settings["reader.units"] === "imperial";
  const metres = m => imperial() ? `${(m / 0.3048).toFixed(1)} ft (${m.toFixed(2)} m)` : `${m.toFixed(m < 1 ? 2 : 1)} m (${(m / 0.3048).toFixed(1)} ft)`;

  /* ---- taps on the view */
  const tap = trying(async at => {
    if (tool === "look") { const u = at.union(); if (u) return pick(u.label); const wood = at.wood(); if (wood) { limb = wood.limb; place = wood.at; view.limbs([limb]); view.mark(place); tab = tab === "candidates" ? "chosen" : tab; show(); } return; }
    if (tool === "measure") {
      const p = at.wood()?.at ?? at.ground(); if (!p) return;
      tape = tape.length >= 2 ? [p] : [...tape, p]; view.mark(tape.flat());
      $("tape").textContent = tape.length === 2 ? metres(Math.hypot(...tape[0].map((v, i) => v - tape[1][i]))) : w("second_point"); return;
    }
    const g = at.ground(); if (!g) return;
    if (tool === "stand") { view.mark(g); if (union) await change("stand", { place: g.slice(0, 2), union }); else fault(w("pick_first")); return; }
    if (tool === "draw") { open.push(drawKind === "conductor" || drawKind === "anchor" || drawKind === "base" ? [g[0], g[1], g[2] + drawHigh] : g.slice(0, 2)); redraw(); show(); }
  });
  const redraw = () => view?.setDrawn(state ? state.inputs.drawn : [], open);
  const pick = trying(async label => {
    if (label !== union) view?.setFlights([]);
    union = label; tab = "chosen"; card = null; spotted(); show();
    const mine = label;
    const found = await get(`/tree/${key}/union/${encodeURIComponent(label)}`);
    if (mine !== union) return;
    card = found;
    const best = found.candidates.find(c => c.rank) ?? found.candidates[0];
    view?.mark(scene.unions.find(u => u.label === label).at);
    view?.choose(best ? await get(`/tree/${key}/lines/${best.id}`) : null);
    show();
  });

  /* ---- bars */
  function top() {
    const s = state?.inputs.settings;
    $("top").replaceChildren(
      button(w("trees"), () => { window.treescanBack = true; trees(); }),
      button(w("theme"), () => themed(document.documentElement.dataset.theme === "dark" ? "light" : "dark")),
      ...(s ? [
        button(imperial() ? w("metric") : w("imperial"), () => setting("reader.units", imperial() ? "metric" : "imperial")),
        button(s["reader.words"] === "US" ? w("uk") : w("us"), () => setting("reader.words", s["reader.words"] === "US" ? "UK" : "US")),
        button(w("undo"), () => wish({ wish: "move", to: state.at - 1 }), { disabled: state.at === 0, accessKey: "z" }),
        button(w("redo"), () => wish({ wish: "move", to: state.at + 1 }), { disabled: state.at >= state.lines.length }),
        button(w("write"), () => wish({ wish: "write" })),
      ] : []));
  }
  function bars() {
    $("views").replaceChildren(...["home", "north", "east", "south", "west", "top"].map(n => button(w("view_" + n), () => view?.view(n))),
      button("+", () => view?.zoomBy(0.8), { ariaLabel: w("nearer") }), button("\u2212", () => view?.zoomBy(1.25), { ariaLabel: w("farther") }),
      choice([["0", w("section_none")], ["1", metres(1)], ["3", metres(3)], ["6", metres(6)]], "0", e => view?.section(Number(e.target.value)), { ariaLabel: w("section") }),
      choice([["verdict", w("by_verdict")], ["use", w("by_use")]], colourBy, e => { colourBy = e.target.value; lastPlan = ""; show(); }, { ariaLabel: w("colour_by"), id: "colour-by" }),
      ...["points", "around"].map(n => el("label", { className: "tick" }, el("input", { type: "checkbox", checked: true, onchange: e => view?.layer(n, e.target.checked) }), w("layer_" + n))));
    const tools = ["look", "stand", "measure", "draw"];
    const rebar = () => $("tools").replaceChildren(...tools.map(n => button(w("tool_" + n), () => { tool = n; tape = []; $("tape").textContent = ""; rebar(); if (n === "draw") { tab = "change"; show(); } }, { ariaPressed: String(tool === n) })));
    rebar();
    const colours = { candidate: "#1d5c8f", "inspect first": "#dd7a1f", "not ranked": "#7a3b2a", "not assessable": "#8b9298", none: "#b7ad9a" };
    $("legend").replaceChildren(...Object.entries(colours).map(([v, c]) => { const i = el("i"); i.style.background = c; return el("li", {}, i, w("verdict_" + v.replace(" ", "_"))); }),
      ...scene.legend.map(s => { const i = el("i"); i.style.background = s.colour; i.style.borderRadius = "2px"; return el("li", {}, i, s.words); }));
  }

  /* ---- showing the state */
  const TAGS = 9;
  function spotted() {
    const rows = state?.plan?.rows ?? [], of = {}, order = ["not assessable", "not ranked", "inspect first", "candidate"], tint = {}, tags = new Map();
    for (const r of rows) if (!of[r.label] || order.indexOf(r.verdict) > order.indexOf(of[r.label])) of[r.label] = r.verdict;
    const shade = use => { let row = 0; while (row < scene.limits.length && use > scene.limits[row]) row++; return scene.legend[row].colour; };
    if (colourBy === "use") for (const r of rows) tint[r.label] ??= r.use === null ? undefined : shade(r.use);
    for (const r of rows) if (r.rank && tags.size < TAGS && !tags.has(r.label)) tags.set(r.label, r.rank);
    if (union && !tags.has(union)) tags.set(union, "");
    view?.setSpots(of, tint, [...tags].map(([label, rank]) => [rank, label]), union);
  }
  let lastPlan = "", lastThrown = "";
  function show() {
    if (!state) return;
    top();
    const work = state.work;
    $("working").textContent = work ? `${w("working")} ${work.stage} ${Math.round(100 * work.share)} %` : state.fault || (state.took !== null ? `${w("took")} ${state.took.toFixed(1)} s` : "");
    const plan = state.plan, now = JSON.stringify([state.at, state.lines.length, state.inputs, plan?.rows.length]);
    if (plan && now !== lastPlan) {
      lastPlan = now;
      spotted();
      for (const p of marks.posted) if (p.answered === null) p.answered = performance.now() - p.start;
      if (union) pickAgain();
    }
    if (state.first || (plan && !work)) for (const p of marks.posted) p.first ??= performance.now() - p.start;
    const thrown = JSON.stringify(state.thrown);
    if (thrown !== lastThrown) { lastThrown = thrown; if (!state.thrown) view?.setFlights([]); else { for (const p of marks.posted) if (p.wish.kind === "stand") p.answered = performance.now() - p.start; get(`/tree/${key}/flights`).then(f => view?.setFlights(f.flights), () => {}); } }
    redraw();
    $("tabs").replaceChildren(...["candidates", "chosen", "change", "history"].map(n => button(w("tab_" + n), () => { tab = n; show(); }, { role: "tab", id: "tab-" + n, ariaSelected: String(tab === n) })));
    $("panel").setAttribute("aria-labelledby", "tab-" + tab);
    const busy = document.activeElement && $("panel").contains(document.activeElement) && /INPUT|SELECT|TEXTAREA/.test(document.activeElement.tagName);
    const sign = JSON.stringify([tab, { ...state, version: 0, work: work && tab === "candidates" && !plan ? work : null }, union, card, limb, place, open, compareOf]);
    if (sign === panelSign || (busy && panelTab === tab && document.activeElement.type !== "checkbox" && document.activeElement.tagName !== "SELECT" && !settled)) return;
    settled = false; panelSign = sign; panelTab = tab;
    const focused = document.activeElement?.id, scroll = $("side").scrollTop;
    const kept = new Map([...$("panel").querySelectorAll(".keep")].map(e => [e.id, e.type === "checkbox" ? e.checked : e.value]));
    $("panel").replaceChildren(...panels[tab]().filter(x => x));
    for (const e of $("panel").querySelectorAll(".keep")) if (kept.has(e.id)) e[e.type === "checkbox" ? "checked" : "value"] = kept.get(e.id);
    if (focused && $(focused)) $(focused).focus({ preventScroll: true });
    $("side").scrollTop = scroll;
  }
  let panelSign = "", panelTab = "", settled = false;
  document.addEventListener("change", e => { if ($("panel")?.contains(e.target)) settled = true; }, true);
  async function pickAgain() { const was = union; try { const found = await get(`/tree/${key}/union/${encodeURIComponent(was)}`); if (was !== union) return; card = found; const best = found.candidates.find(c => c.rank) ?? found.candidates[0]; view?.choose(best ? await get(`/tree/${key}/lines/${best.id}`) : null); show(); } catch { /* the plan is on its way */ } }

  function firsts() {
    const f = state.first;
    return f ? [el("h2", {}, w("first_answers")), el("p", { role: "status" }, f.says), el("ul", { className: "rows", id: "first" }, ...f.rows.map(r => el("li", {}, el("b", {}, `${r.label} ${r.system}`), r.throw ? ` \u2014 ${r.throw}` : ` \u2014 ${r.verdictSays}. ${w("low")} ${r.low}${r.was ? ` (${w("was")} ${r.was})` : ""}`)))] : [];
  }
  const verdictRow = r => button("", () => pick(r.label), { className: "pick", id: "row-" + r.id });
  const panels = {
    candidates() {
      const plan = state.plan, lacks = state.lacks ? el("p", { className: "lacks", role: "alert" }, el("b", {}, state.lacks)) : null;
      if (!plan) return [lacks, ...firsts(), state.first ? null : list(state.tree), state.first ? null : el("p", {}, w("planning")), state.work ? button(w("stop"), () => wish({ wish: "stop" })) : null];
      const rows = plan.rows.slice(0, 60).map(r => { const b = verdictRow(r); b.append(el("b", {}, (r.rank ? r.rank + ". " : "") + r.label + " " + r.system), ` \u2014 ${r.verdictSays}. `, `${w("low")} ${r.low}; ${w("share")} ${r.share}${r.chance ? "; " + w("chance") + " " + r.chance : ""}. `, el("span", { className: "soft" }, r.why)); return el("li", {}, b); });
      return [
        lacks, state.changed.length ? el("h2", {}, w("changed")) : null, state.changed.length ? list(state.changed) : null,
        state.written.length ? el("h2", {}, w("written")) : null, state.written.length ? el("ul", { className: "rows" }, ...state.written.map(n => el("li", {}, el("a", { href: `/tree/${key}/file/${n}` }, n)))) : null,
        el("h2", {}, w("tab_candidates")), el("ol", { className: "rows" }, ...rows),
        plan.stages.length ? el("h2", {}, w("stages")) : null, ...plan.stages.flatMap((s, k) => [el("h3", {}, `${k + 1}. ${s.title}`), list(s.says)]),
        el("h2", {}, w("whole")), list([...plan.says, ...plan.warnings, ...plan.statements]),
      ];
    },
    chosen() {
      const pickers = field(w("union"), choice([["", w("none")], ...scene.unions.map(u => [u.label, `${u.label}, ${metres(u.height)}`])], union ?? "", e => e.target.value && pick(e.target.value), { id: "union" }));
      const spot = place ? el("p", {}, `${w("limb")} ${limb}`) : null;
      if (!union) return [pickers, spot, el("p", { className: "soft" }, w("pick_first"))];
      if (!state.plan && state.first) return [pickers, spot, ...firsts()];
      if (!card) return [pickers, spot, el("p", {}, state.plan ? w("opening") : w("planning"))];
      if (!card.candidates.length) return [pickers, spot, el("h2", {}, card.place), list(card.why), card.helps.length ? el("h3", {}, w("helps")) : null, list(card.helps)];
      return [pickers, spot, ...card.candidates.flatMap(c => [
        el("h2", {}, `${c.rank ? c.rank + ". " : ""}${c.title}`), el("p", {}, el("b", {}, c.verdictSays), ". ", c.place), list(c.why),
        c.helps.length ? el("h3", {}, w("helps")) : null, c.helps.length ? list(c.helps) : null,
        button(w("show_lines"), trying(async () => view?.choose(await get(`/tree/${key}/lines/${c.id}`)))),
        el("details", {}, el("summary", {}, w("more")), ...c.answers.flatMap(a => [el("h3", {}, a.question), el("table", {}, ...a.rows.map(r => el("tr", {}, el("th", { scope: "row" }, r[0]), el("td", {}, r[1])))), a.steps.length ? list(a.steps) : null]), list(c.cautions)),
      ])];
    },
    change() {
      const s = state.inputs.settings, i = state.inputs, num = (name, step, scale = 1, label = w(name)) => field(label, number(+(s[name] / scale).toFixed(6), step, e => e.target.value !== "" && setting(name, Number(e.target.value) * scale)));
      const sel = (name, options) => field(w(name), choice(options.map(o => [o, w("is_" + o.replaceAll(" ", "_"))]), s[name], e => setting(name, e.target.value)));
      const hard = name => field(w(name), choice(["rope on bark", "sleeve", "ring", "pulley"].map(o => [o, w("is_" + o.replaceAll(" ", "_"))]), s[name][0], e => setting(name, [e.target.value])));
      const tick = (label, checked, onchange, disabled = false) => el("label", { className: "tick" }, el("input", { type: "checkbox", checked, onchange, disabled }), label);
      const toggled = (all, names, n) => all.filter(x => x === n ? !names.includes(n) : names.includes(x));
      const degrees = Math.PI / 180;
      const species = el("input", { type: "text", value: i.species ?? "", id: "species", onchange: e => change("species", { name: e.target.value.trim() || null }) });
      const foot = scene.foot, east = number(2, 0.5), north = number(-6, 0.5);
      const ask = button(w("ask_throws"), () => union ? change("stand", { place: [foot[0] + Number(east.value), foot[1] + Number(north.value)], union }) : fault(w("pick_first")));
      return [
        el("p", { className: "soft" }, w("change_says")),
        group(w("g_tree"), field(w("species"), species), sel("loads.leaves", ["as scanned", "on", "off"]), sel("loads.history.exposure", ["enclosed", "sheltered", "suburban", "open"]), num("loads.history.years", 1)),
        group(w("g_people"), num("loads.climber_mass", 1), num("loads.rescue_mass", 1), num("loads.test_people", 0.5)),
        group(w("g_rope"), ...["MRS", "SRS canopy", "SRS basal"].map(n => tick(w("is_" + n.replaceAll(" ", "_")), i.systems.includes(n), () => { const names = toggled(["MRS", "SRS canopy", "SRS basal"], i.systems, n); names.length ? change("systems", { names }) : fault(w("one_left")); })),
          hard("planning.mrs_hardware"), hard("planning.canopy_hardware"), hard("planning.basal_hardware"), num("planning.rope_angle_limit_deg", 1)),
        group(w("g_throw"), ...["hand", "two_hand", "launcher"].map(n => tick(w("is_" + n), s["throw.methods"].includes(n), () => { const names = toggled(["hand", "two_hand", "launcher"], s["throw.methods"], n); names.length ? setting("throw.methods", names) : fault(w("one_left")); })),
          field(w("own_throws"), el("input", { type: "file", accept: ".csv,text/csv", id: "own-throws", onchange: trying(async e => {
            const r = await fetch(`/tree/${key}/throws`, { method: "PUT", headers: { "x-treescan": "1" }, body: e.target.files[0] }), said = await r.json();
            if (!r.ok) throw new Error(said.fault);
            state = said; show();
          }) })),
          num("throw.hand.side_sd", 0.1, degrees), num("throw.hand.elevation_sd", 0.1, degrees)),
        group(w("g_stand"), el("p", { className: "soft" }, w("stand_says")), field(w("east"), east), field(w("north"), north), ask, state.thrown ? list(state.thrown.says) : null),
        work(), cuts(), drawing(), finding(),
      ];
    },
    history() {
      const name = el("input", { type: "text", maxLength: 60, id: "name", className: "keep" }), states = [["\u2022base", w("base")], ...state.named.map(n => [n, n]), ["", w("now")]];
      const one = choice(states, "\u2022base", null, { id: "one", className: "keep" }), other = choice(states, "", null, { id: "other", className: "keep" });
      const lines = state.lines.map((l, k) => el("li", { className: "row" }, el("span", { className: k >= state.at ? "undone" : "" }, `${l.line}. ${l.says}`), button(w("to_here"), () => wish({ wish: "move", to: k + 1 }), { disabled: state.at === k + 1, ariaLabel: `${w("to_here")}: ${l.says}` }),
        ["drawn", "finding", "stand"].includes(l.kind) && k < state.at ? button(w("withdraw"), () => change("withdrawn", { line: l.line }), { ariaLabel: `${w("withdraw")}: ${l.says}` }) : null));
      return [
        el("h2", {}, w("tab_history")), state.lines.length ? el("ol", { className: "rows" }, el("li", {}, button(w("to_start"), () => wish({ wish: "move", to: 0 }), { disabled: state.at === 0 })), ...lines) : el("p", { className: "soft" }, w("no_change")),
        field(w("name_this"), name), button(w("keep"), () => wish({ wish: "name", name: name.value })),
        el("p", {}, el("a", { href: `/tree/${key}/file/session.json` }, w("session_file"))),
        el("h2", {}, w("compare")), field(w("one"), one), field(w("other"), other),
        button(w("compare"), trying(async () => { $("working").textContent = w("working"); compareOf = { names: [one.selectedOptions[0].text, other.selectedOptions[0].text], ...await get(`/tree/${key}/compare?one=${encodeURIComponent(one.value)}&other=${encodeURIComponent(other.value)}`) }; show(); }), { className: "main" }),
        compareOf ? side(compareOf) : null,
      ];
    },
  };
  function side(c) {
    const rows = Math.min(12, Math.max(...c.plans.map(p => p.rows.length))), cellOf = (p, k) => { const r = p.rows[k]; return r ? `${r.rank ? r.rank + ". " : ""}${r.label} ${r.system}: ${r.verdictSays}, ${w("low")} ${r.low}, ${w("share")} ${r.share}` : ""; };
    return el("div", { className: "wide" }, list(c.changed), el("table", { id: "compared" }, el("tr", {}, ...c.names.map(n => el("th", { scope: "col" }, n))), ...Array.from({ length: rows }, (_, k) => el("tr", {}, ...c.plans.map(p => el("td", {}, cellOf(p, k))))), el("tr", {}, ...c.plans.map(p => el("td", {}, list(p.says))))));
  }

  /* ---- work, cuts, site, findings */
  function work() {
    const now = state.inputs.work ?? { words: [], points: [] };
    const put = (words, points) => change("work", { words, points });
    return group(w("g_work"), list([...now.words, ...now.points.map(p => p.name)].length ? [...now.words, ...now.points.map(p => p.name)] : [w("whole_crown")]), el("div", { className: "row" },
      button(w("whole_crown"), () => put([], [])), button(w("deadwood"), () => put([...new Set([...now.words, "deadwood"])], now.points)),
      button(w("add_limb"), () => limb > 0 ? put([...new Set([...now.words, `limb:${limb}`])], now.points) : fault(w("pick_limb"))),
      button(w("add_point"), () => place ? put(now.words, [...now.points, { name: `W${now.points.length + 1}`, kind: "prune", xyz: place }]) : fault(w("pick_limb")))),
      limbField());
  }
  const limbField = () => field(w("limb"), el("input", { type: "number", min: 0, step: 1, value: limb ?? "", onchange: e => { limb = e.target.value === "" ? null : Number(e.target.value); view?.limbs(limb === null ? [] : [limb]); } }));
  function cuts() {
    const rows = state.inputs.cuts, put = next => change("cuts", { rows: next }), at = number("", 0.1), stem = number("", 0.5);
    return group(w("g_cuts"), el("ol", { className: "rows" }, ...rows.map((r, k) => el("li", { className: "row" }, `${k + 1}. ${r.stem_height_m !== undefined ? `${w("stem_at")} ${metres(r.stem_height_m)}` : `${w("limb")} ${r.limb}`}`,
      button(w("earlier"), () => put(rows.map((x, j) => j === k - 1 ? rows[k] : j === k ? rows[k - 1] : x)), { disabled: k === 0 }), button(w("take_out"), () => put(rows.filter((_, j) => j !== k)))))),
      field(w("cut_out"), at), button(w("cut_limb"), () => limb > 0 ? put([...rows, { limb, ...(at.value ? { at_m: Number(at.value) } : {}) }]) : fault(w("pick_limb"))),
      field(w("stem_at"), stem), button(w("cut_stem"), () => stem.value && put([...rows, { stem_height_m: Number(stem.value) }])));
  }
  let drawKind = "no-stand", drawHigh = 6;
  function drawing() {
    const name = el("input", { type: "text", maxLength: 60, className: "keep" }), volts = el("input", { type: "number", min: 0, step: 0.01, className: "keep" });
    const high = number(drawHigh, 0.5, e => { drawHigh = Number(e.target.value); }), foot = scene.foot;
    const text = el("textarea", { rows: 3, value: open.map(p => `${(p[0] - foot[0]).toFixed(2)}, ${(p[1] - foot[1]).toFixed(2)}`).join("\n"), onchange: e => {
      const flat = ["no-stand", "building", "road", "water", "wires-seen"].includes(drawKind);
      open = e.target.value.split(/[\n;]+/).map(l => l.split(",").map(Number)).filter(p => p.length >= 2 && p.every(Number.isFinite)).map(p => flat ? [foot[0] + p[0], foot[1] + p[1]] : [foot[0] + p[0], foot[1] + p[1], foot[2] + drawHigh]); redraw();
    } });
    const wires = choice([["", w("wires_live")], ["0", w("wires_none")], ["230", "230 V"], ["20000", "20 kV"]], state.inputs.wires === null ? "" : String(state.inputs.wires), e => change("wires", { volts: e.target.value === "" ? null : Number(e.target.value) }));
    return group(w("g_site"), el("p", { className: "soft" }, w("draw_says")), field(w("what"), choice(["no-stand", "building", "road", "water", "conductor", "wires-seen", "anchor", "base"].map(k => [k, w("draw_" + k.replace("-", "_"))]), drawKind, e => { drawKind = e.target.value; open = []; redraw(); show(); })),
      field(w("name"), name), field(w("kilovolts"), volts), field(w("above_ground"), high), field(w("places"), text),
      el("div", { className: "row" }, button(w("draw_done"), async () => {
        const wired = ["conductor", "wires-seen"].includes(drawKind), places = open;
        const volt = !wired ? null : volts.value === "" ? null : Number(volts.value) * 1000;
        const before = asked; await change("drawn", { what: drawKind, name: name.value, places, volts: drawKind === "wires-seen" ? volt ?? 0 : volt });
        if (asked > before && !$("fault").textContent) { open = []; redraw(); show(); }
      }, { className: "main" }), button(w("draw_clear"), () => { open = []; redraw(); panelSign = ""; show(); })),
      field(w("wires_seen"), wires));
  }
  function finding() {
    const kinds = ["refused", "dead", "defect", "load test passed", "load test failed", "note"], what = choice(kinds.map(k => [k, w("finding_" + k.replaceAll(" ", "_"))]), "refused", null, { id: "finding", className: "keep" });
    const on = choice([["union", `${w("union")} ${union ?? ""}`], ["limb", `${w("limb")} ${limb ?? ""}`], ["above", w("above_foot")]], union ? "union" : "limb", null, { id: "on", className: "keep" });
    const texts = ["who", "when", "why"].map(n => el("input", { type: "text", id: "say-" + n, maxLength: 300, className: "keep" })), above = number("", 0.5), share = number("", 0.05), people = number("", 0.5), bounce = number("", 0.1);
    const inspected = el("input", { type: "checkbox", id: "inspected", className: "keep" });
    return group(w("g_finding"), el("p", { className: "soft" }, w("finding_says")), field(w("what"), what), field(w("on"), on), field(w("above_foot"), above), ...["who", "when", "why"].map((n, k) => field(w(n), texts[k])),
      field(w("share_left"), share), field(w("people"), people), field(w("bounce"), bounce), el("label", { className: "tick" }, inspected, w("inspected")),
      button(w("state_it"), () => {
        const row = { kind: what.value, who: texts[0].value, when: texts[1].value, why: texts[2].value };
        if (on.value === "union" && union) row.union = union; if (on.value === "limb" && limb !== null) row.limb = limb; if (on.value === "above" && above.value) row.above = Number(above.value);
        if (what.value === "defect" && share.value) row.value = Number(share.value);
        if (what.value === "load test passed") { if (people.value) row.people = Number(people.value); if (bounce.value) row.bounce = Number(bounce.value); if (inspected.checked) row.inspected = true; }
        return change("finding", { row });
      }, { className: "main" }));
  }
  trying(trees)();
})();
