/* The report's 3-D view: its candidates, and what belongs to the chosen one. */
"use strict";
function TreeView(canvas, tags, data, onPick, others, onOther) {
  const TAGS = 9, INK = 0x16120c, THROW = 0xb04e0c, SWING = 0x141414, UNLOADED = data.limits.length + 1, UNSEEN = UNLOADED + 1;
  const stage = TreeStage(canvas, data, { kept: true, tap, drawn: n => tags.parentElement.style.setProperty("--shape", (n.width / n.height).toFixed(4)) });
  if (!stage) return null;
  const { scene, dots, line, screen, shades, bytes } = stage;
  stage.paper(0xf3efe6);
  scene.add(stage.ground(0xcec7b8), line(data.wires, 0x1e1e1e, 2.6));

  /* ---- what belongs to the chosen candidate */
  const on = { rope: true, throw: true, swing: true, work: true }, places = stage.unpack(data.places);
  let chosen = null, own = null;
  function rebuild() {
    const parts = [];
    if (chosen) {
      if (on.rope && chosen.rope.length) parts.push(line([chosen.rope], INK, 3.4));
      if (on.throw && chosen.throw) parts.push(line([chosen.throw], THROW, 2.6), line([[...chosen.stand, chosen.stand[0], chosen.stand[1], chosen.stand[2] + 1.7]], THROW, 6));
      if (on.swing && chosen.swing.length) parts.push(line([chosen.swing], SWING, 2.4, 0.6), line([[...chosen.rest, ...chosen.swing.slice(0, 3)]], SWING, 1.4, 0.3));
      if (on.throw && chosen.chance) {
        const c = bytes(chosen.chance), top = Math.max(1, ...c), far = new THREE.Color(0xdad3c6), near = new THREE.Color(0x1d5c8f);
        parts.push(dots(places, i => far.clone().lerp(near, Math.sqrt(c[i] / top)).getHex(), 6));
      }
      if (on.work) parts.push(dots(data.work.flatMap(w => w.at), i => chosen.served[i] ? 0x1d5c8f : 0x544c40, data.work.length > 80 ? 4 : 6));
    }
    own = stage.swapped(own, ...parts);
  }
  function choose(id) {
    chosen = data.anchors[id] || null;
    stage.paint(chosen, (row, _, seen) => shades[!seen ? UNSEEN : row < 0 ? UNLOADED : row]);
    for (const t of labels) { t.first = t.anchor.union === chosen?.union; t.element.classList.toggle("on", t.first); t.element.setAttribute("aria-pressed", String(t.first)); }
    rebuild(); stage.draw();
  }
  function setLayer(name, shown) {
    if (stage.layers[name]) stage.layers[name].visible = shown; else { on[name] = shown; rebuild(); }
    stage.draw();
  }

  /* ---- markers and their tags: one a union, the best-ranked first */
  const spots = [...new Map(data.anchors.slice().reverse().map(a => [a.union, a])).values()].sort((a, b) => a.id - b.id);
  scene.add(dots(spots.flatMap(a => a.at), i => spots[i].usable ? 0x10324d : 0x787062, 8, { onTop: true }));
  if (others.length) scene.add(dots(others.flatMap(o => o.at), 0xb7ad9a, 3.5, { onTop: true }));
  const labels = spots.filter((a, i) => a.usable && i < TAGS).map(anchor => {
    const element = document.createElement("button"), rank = document.createElement("b");
    element.type = "button"; element.className = "tag"; element.dataset.id = anchor.id;
    rank.textContent = anchor.rank;
    element.append(rank, " " + anchor.label);
    element.setAttribute("aria-label", anchor.says);
    element.addEventListener("click", e => { e.stopPropagation(); onPick(anchor.id); });
    return { anchor, at: anchor.at, element };
  });
  stage.setTags(tags, labels);

  function tap(x, y) {
    const away = a => { const s = screen(a.at); return s ? Math.hypot(s[0] - x, s[1] - y) : 1e9; };
    const nearest = spots.reduce((best, a) => away(a) < away(best) ? a : best, spots[0]);
    if (nearest && away(nearest) < 22) return onPick(nearest.id);
    const i = others.reduce((best, o, k) => best < 0 || away(o) < away(others[best]) ? k : best, -1);
    if (i >= 0 && away(others[i]) < 22) onOther(i);
  }
  function view(name) {
    const at = chosen?.at, s = chosen?.stand;
    if (name === "close" && at) return stage.look(at, 4.5, -0.6, 0.25);
    if (name !== "stand" || !s) return stage.view(name);
    const d = at.map((v, i) => v - s[i] - (i === 2 ? 1.6 : 0)), away = Math.hypot(...d); /* from the thrower's eyes */
    stage.look(at, away, Math.atan2(-d[0], d[1]), Math.asin(Math.max(-1, Math.min(1, -d[2] / away))));
  }
  choose(-1);
  view("home");
  return { choose, setLayer, view, zoomBy: stage.zoomBy, screenOf: id => { stage.frame(); return screen(data.anchors[id].at); }, draw: stage.draw };
}
