"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const words = JSON.parse(document.getElementById("words").textContent);
  const colour = ["#1b7837", "#a6dba0", "#c2a5cf", "#9e9e9e"];
  const NS = "http://www.w3.org/2000/svg";
  const byId = (id) => document.getElementById(id);
  const make = (tag, at, text) => { const e = document.createElement(tag); Object.assign(e, at || {}); if (text !== undefined) e.textContent = text; return e; };
  const placed = data.trees.filter((t) => t.x !== null && t.y !== null);
  const xs = placed.map((t) => t.x), ys = placed.map((t) => t.y);
  const lowest = (v, d) => v.reduce((a, b) => Math.min(a, b), d), highest = (v, d) => v.reduce((a, b) => Math.max(a, b), d);
  const x0 = placed.length ? lowest(xs, Infinity) : 0, y1 = placed.length ? highest(ys, -Infinity) : 0;
  const wide = Math.max(10, (placed.length ? highest(xs, -Infinity) : 1) - x0), high = Math.max(10, y1 - (placed.length ? lowest(ys, Infinity) : 0));
  const room = 0.05 * Math.max(wide, high) + 5;
  const svg = byId("map");
  let view = { x: -room, y: -room, w: wide + 2 * room, h: high + 2 * room };
  const whole = { ...view };
  const look = () => {
    svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${view.h}`);
    const box = svg.getBoundingClientRect(), metre = Math.min(box.width / view.w, box.height / view.h);
    const ten = Math.pow(10, Math.floor(Math.log10(Math.max(1e-9, 150 / metre)))), step = [5, 2, 1].map((k) => k * ten).find((v) => v * metre <= 150) || ten;
    byId("bar").style.width = `${step * metre}px`; byId("bar_words").textContent = `${step} m`;
  };
  window.addEventListener("resize", () => look());
  for (const [a, b] of data.wires) {
    const l = document.createElementNS(NS, "line");
    l.setAttribute("x1", a[0] - x0); l.setAttribute("y1", y1 - a[1]); l.setAttribute("x2", b[0] - x0); l.setAttribute("y2", y1 - b[1]);
    svg.append(l);
  }
  byId("legend").append(make("li", {}, words.marks));
  if (data.wires.length) { const li = make("li"), dash = make("i"); li.append(dash, words.wires); byId("legend").append(li); }
  let chosen = null;
  const marks = new Map();
  for (const t of placed) {
    const c = document.createElementNS(NS, "circle");
    c.setAttribute("cx", t.x - x0); c.setAttribute("cy", y1 - t.y); c.setAttribute("r", Math.max(0.006 * whole.w, t.crown || 1));
    c.setAttribute("fill", colour[t.kind] || "#ffffff"); c.setAttribute("fill-opacity", t.state === "planned" ? 0.95 : 0.55);
    if (t.state === "failed" || t.state === "not found") c.setAttribute("stroke-dasharray", "2 2");
    c.setAttribute("tabindex", "0"); c.setAttribute("role", "button"); c.setAttribute("aria-label", `${t.tree} ${t.fit} ${t.state}`);
    c.addEventListener("click", () => choose(t)); c.addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); choose(t); } });
    svg.append(c); marks.set(t, c);
  }
  colour.forEach((c, kind) => {
    const one = data.trees.find((t) => t.kind === kind);
    if (!one) return;
    const li = make("li"), dot = make("span"); dot.style.background = c; li.append(dot, one.fit); byId("legend").append(li);
  });
  const cell = (v) => v === null || v === undefined || v === "" ? "" : v === true ? words.yes : v === false ? words.no : String(v);
  const choose = (t) => {
    if (chosen) { marks.get(chosen)?.classList.remove("chosen"); rows.get(chosen)?.classList.remove("chosen"); }
    chosen = t; marks.get(t)?.classList.add("chosen"); rows.get(t)?.classList.add("chosen");
    const about = byId("about"); about.replaceChildren(make("strong", {}, `${t.tree}${t.inv_id ? " / " + t.inv_id : ""}: ${t.fit || t.state}. `));
    if (t.report) about.append(make("a", { href: t.report }, words.open), " ");
    const told = new Set([t.said, t.doubt, t.why].filter(Boolean).flatMap((v) => v.split(" | ")));
    const list = make("ul"); for (const one of told) list.append(make("li", {}, one)); about.append(list);
  };
  const shown = data.shown.filter((n) => data.trees.some((t) => cell(t[n]) !== ""));
  for (const select of byId("filters").querySelectorAll("select")) {
    const own = { f_launcher: "launcher" }[select.id];
    const some = own ? data.trees.some((t) => typeof t[own] === "boolean") : select.options.length > 2;
    select.closest("label").hidden = !some;
  }
  let order = { by: "tree", up: true };
  const rows = new Map();
  const head = make("tr");
  for (const name of shown) {
    const th = make("th", { scope: "col" }), b = make("button", { type: "button" }, words["column_" + name]);
    b.addEventListener("click", () => { order = { by: name, up: order.by === name ? !order.up : true }; show(); });
    th.append(b); head.append(th);
  }
  byId("table").tHead.append(head);
  for (const t of data.trees) {
    const tr = make("tr");
    for (const name of shown) {
      const td = make("td", { className: name === "said" || name === "doubt" ? "long" : "" });
      if (name === "tree" && t.report) td.append(make("a", { href: t.report }, t.tree)); else td.textContent = cell(t[name]);
      tr.append(td);
    }
    tr.addEventListener("click", () => choose(t)); rows.set(t, tr);
  }
  const value = (id) => byId(id).value;
  const passes = (t) => {
    const words_ = value("f_text").toLowerCase();
    return (!value("f_fit") || t.fit === value("f_fit")) && (!value("f_state") || t.state === value("f_state")) &&
      (!value("f_species") || t.species === value("f_species")) && (!value("f_package") || String(t.package) === value("f_package")) &&
      (!value("f_launcher") || String(t.launcher) === value("f_launcher")) &&
      (!words_ || data.shown.some((n) => cell(t[n]).toLowerCase().includes(words_)));
  };
  const show = () => {
    const held = data.trees.filter(passes);
    const rank = (v) => v === null || v === "" ? null : v;
    held.sort((a, b) => {
      const p = rank(a[order.by]), q = rank(b[order.by]);
      if (p === null || q === null) return (p === null) - (q === null);
      const way = typeof p === "string" ? p.localeCompare(q, "en", { numeric: true }) : p - q;
      return order.up ? way : -way;
    });
    byId("table").tBodies[0].replaceChildren(...held.map((t) => rows.get(t)));
    byId("shown").textContent = `${held.length} / ${data.trees.length}`;
    const seen = new Set(held);
    for (const [t, c] of marks) c.classList.toggle("gone", !seen.has(t));
  };
  byId("filters").addEventListener("input", show);
  byId("filters").addEventListener("reset", () => { view = { ...whole }; look(); setTimeout(show); });
  byId("filters").addEventListener("submit", (e) => e.preventDefault());
  const at = (e) => { const r = svg.getBoundingClientRect(), s = Math.max(view.w / r.width, view.h / r.height); return [view.x + view.w / 2 + (e.clientX - r.left - r.width / 2) * s, view.y + view.h / 2 + (e.clientY - r.top - r.height / 2) * s, s]; };
  svg.addEventListener("wheel", (e) => {
    e.preventDefault(); const [x, y] = at(e), k = e.deltaY > 0 ? 1.25 : 0.8;
    view = { x: x + (view.x - x) * k, y: y + (view.y - y) * k, w: view.w * k, h: view.h * k }; look();
  }, { passive: false });
  let held = null;
  svg.addEventListener("pointerdown", (e) => { held = [e.clientX, e.clientY]; });
  window.addEventListener("pointermove", (e) => { if (!held) return; const s = at(e)[2]; view.x -= (e.clientX - held[0]) * s; view.y -= (e.clientY - held[1]) * s; held = [e.clientX, e.clientY]; look(); });
  window.addEventListener("pointerup", () => { held = null; });
  look(); show();
})();
