/* The planner's 3-D view: unions by verdict, the chosen candidate, what is drawn, and what a tap meets. */
"use strict";
function PlannerView(canvas, holder, data, on) {
  const TONES = { light: { paper: 0xf3efe6, wood: 0xb9ab90, ink: 0x16120c, ground: 0xcec7b8, throw: 0xb04e0c, fall: 0xa1123a, drawn: 0x6a3fa0 }, dark: { paper: 0x14171a, wood: 0x9c917c, ink: 0xf2efe8, ground: 0x3d4146, throw: 0xff9a52, fall: 0xff6f8f, drawn: 0xb99bea } };
  const VERDICT = { candidate: 0x1d5c8f, "inspect first": 0xdd7a1f, "not ranked": 0x7a3b2a, "not assessable": 0x8b9298, none: 0xb7ad9a }, MARK = 0xd0104c, UNSEEN = 0x8b9298, PAINTED = 0x2f8f5b;
  const stage = TreeStage(canvas, data, { tap: (x, y) => on.tap({ union: () => unionAt(x, y), wood: () => woodAt(x, y), ground: () => groundAt(x, y) }), drawn: told });
  if (!stage) return null;
  const { scene, camera, dots, line, ring, rings, ringOf, screen, rgb, shades, draw } = stage;
  let tone = TONES.light;

  const limbOfRing = new Int32Array(rings).fill(-1);
  ringOf.forEach((r, node) => { if (r >= 0) limbOfRing[r] = data.limbOf[node]; });
  { let first = 0; for (const n of data.wood.counts) { let last = -1; for (let i = n - 1; i >= 0; i--) { if (limbOfRing[first + i] < 0) limbOfRing[first + i] = last; else last = limbOfRing[first + i]; } first += n; } }
  const marked = new Set();
  function colourWood() {
    const plain = rgb(tone.wood), grey = rgb(UNSEEN), lit = rgb(PAINTED);
    stage.paint(chosen, (row, r, seen) => marked.has(limbOfRing[r]) ? lit : row >= 0 ? shades[row] : seen ? plain : grey);
  }
  const g = data.ground, heightAt = (x, y) => { const j = Math.round((x - g.x) / g.step), i = Math.round((y - g.y) / g.step); return i < 0 || j < 0 || i >= g.side || j >= g.side ? null : g.z[i * g.side + j]; };

  /* ---- what changes: unions by verdict, the chosen candidate, what is drawn */
  let chosen = null, flights = [], own = null, spots = null, drawn = null, earth = null, verdicts = {}, mark = null, shape = null;
  function rebuild() {
    const parts = [];
    if (flights.length) parts.push(line(flights, tone.throw, 2.2, 0.5));
    if (chosen) {
      if (chosen.rope.length) parts.push(line([chosen.rope], tone.ink, 3.4));
      if (chosen.throw) parts.push(line([chosen.throw], tone.throw, 2.6), dots(chosen.stand, tone.throw, 12, { onTop: true }));
      if (chosen.swing.length) parts.push(line([chosen.swing], tone.ink, 2.4, 0.6));
      for (const f of chosen.falls || []) parts.push(line([[...f.from, ...f.to]], tone.fall, 2.4, 0.4), dots(f.to, tone.fall, 10, { onTop: true }));
    }
    if (mark) parts.push(dots(mark, MARK, 14, { onTop: true }));
    own = stage.swapped(own, ...parts);
  }
  /* of: verdict by union; tint: another colour by union; tags: [rank or "", union], the chosen one marked as `first` */
  function setSpots(of, tint = {}, tags = [], first = null) {
    verdicts = of;
    const big = data.unions.filter(u => of[u.label]), small = data.unions.filter(u => !of[u.label]), at = new Map(data.unions.map(u => [u.label, u.at]));
    spots = stage.swapped(spots, dots(small.flatMap(u => u.at), VERDICT.none, 3.5, { onTop: true }), dots(big.flatMap(u => u.at), i => tint[big[i].label] ?? VERDICT[of[big[i].label]] ?? VERDICT.none, 9, { onTop: true }));
    stage.setTags(holder, tags.filter(([, label]) => at.has(label)).map(([rank, label]) => {
      const element = document.createElement("span"), b = document.createElement("b");
      element.className = label === first ? "tag on" : "tag"; b.textContent = rank; element.append(b, ` ${label}`);
      return { at: at.get(label), element, first: label === first };
    }));
    draw();
  }
  function setDrawn(list, open) {
    const now = JSON.stringify([list, open]);
    if (now === shape) return;
    shape = now;
    const lift = p => [p[0], p[1], p[2] ?? ((heightAt(p[0], p[1]) ?? data.foot[2]) + 0.05)], parts = [];
    for (const d of list) {
      const run = d.places.map(lift);
      if (d.places[0].length === 2) run.push(run[0]);
      parts.push(run.length > 1 ? line([run.flat()], d.what === "conductor" ? tone.fall : tone.drawn, 3) : dots(run.flat(), tone.drawn, 12, { onTop: true }));
    }
    if (open.length) parts.push(dots(open.map(lift).flat(), MARK, 12, { onTop: true }));
    if (open.length > 1) parts.push(line([open.map(lift).flat()], MARK, 3));
    drawn = stage.swapped(drawn, ...parts);
    draw();
  }

  /* ---- picking */
  function unionAt(x, y) {
    let best = null, least = 24;
    for (const u of data.unions) { const s = screen(u.at); if (!s) continue; const d = Math.hypot(s[0] - x, s[1] - y) - (verdicts[u.label] ? 4 : 0); if (d < least) { least = d; best = u; } }
    return best;
  }
  /* The limb whose bark is met first; where none is met, the one that passes nearest. */
  function woodAt(x, y) {
    const NEAR = 16, spot = new THREE.Vector3(), eye = camera.position, perMetre = canvas.clientHeight / (2 * Math.tan(stage.FOV * Math.PI / 360));
    const flat = new Float32Array(3 * rings);
    for (let r = 0; r < rings; r++) {
      spot.set(ring[4 * r], ring[4 * r + 1], ring[4 * r + 2]);
      flat[3 * r + 2] = spot.distanceTo(eye);
      spot.project(camera);
      flat[3 * r] = Math.abs(spot.z) <= 1 ? (spot.x + 1) / 2 * canvas.clientWidth : NaN; flat[3 * r + 1] = (1 - spot.y) / 2 * canvas.clientHeight;
    }
    let best = null, first = 0;
    for (const n of data.wood.counts) {
      for (let b = first + 1; b < first + n; b++) {
        const a = b - 1, dx = flat[3 * b] - flat[3 * a], dy = flat[3 * b + 1] - flat[3 * a + 1], long = dx * dx + dy * dy;
        const t = long ? Math.min(1, Math.max(0, ((x - flat[3 * a]) * dx + (y - flat[3 * a + 1]) * dy) / long)) : 0, mix = k => flat[3 * a + k] + t * (flat[3 * b + k] - flat[3 * a + k]);
        const far = mix(2), radius = ring[4 * a + 3] + t * (ring[4 * b + 3] - ring[4 * a + 3]), off = Math.max(0, Math.hypot(mix(0) - x, mix(1) - y) - Math.max(2, radius * perMetre / far));
        if (!(off < NEAR) || (best && (off > best.off || (off === best.off && far >= best.far)))) continue;
        best = { off, far, limb: limbOfRing[b], at: [0, 1, 2].map(k => ring[4 * a + k] + t * (ring[4 * b + k] - ring[4 * a + k])) };
      }
      first += n;
    }
    return best && { limb: best.limb, at: best.at };
  }
  function groundAt(x, y) {
    const way = new THREE.Vector3(2 * x / canvas.clientWidth - 1, 1 - 2 * y / canvas.clientHeight, 0.5).unproject(camera).sub(camera.position).normalize(), p = camera.position.clone();
    for (let i = 0; i < 4000; i++) { p.addScaledVector(way, 0.05); const z = heightAt(p.x, p.y); if (z !== null && p.z <= z) return [p.x, p.y, z]; }
    return null;
  }

  function told(n) {
    const { controls } = stage, d = controls.target.clone().sub(camera.position), up = new THREE.Vector3().setFromMatrixColumn(camera.matrix, 1), ahead = Math.hypot(d.x, d.y) > 0.05 * n.far ? d : up;
    on.drawn({ north: -Math.atan2(ahead.x, ahead.y), pixelsPerMetre: n.height / (2 * n.far * Math.tan(stage.FOV * Math.PI / 360)) });
  }
  function theme(name) { tone = TONES[name] || TONES.light; stage.paper(tone.paper); earth = stage.swapped(earth, stage.ground(tone.ground)); shape = null; rebuild(); colourWood(); draw(); }
  theme("light"); setSpots({}); stage.view("home");
  return {
    view: stage.view, zoomBy: stage.zoomBy, section: stage.section, frames: stage.frames, share: stage.share, close: stage.close, setSpots, setDrawn, theme, screen,
    scanned: steps => stage.scanned(steps, data.points.low, data.points.step),
    setFlights(list) { flights = list.slice(0, 3); rebuild(); draw(); },
    choose(next) { chosen = next; rebuild(); colourWood(); draw(); },
    mark(place) { mark = place; rebuild(); draw(); },
    limbs(list) { marked.clear(); list.forEach(k => marked.add(k)); colourWood(); draw(); },
    layer(name, shown) { stage.layers[name].visible = shown; draw(); },
    sizes: stage.sizes,
    spin(n, whole = false) { const start = performance.now(); return new Promise(done => { let k = 0; const go = () => { stage.turnBy(0.02, 0, whole); if (++k < n) requestAnimationFrame(go); else done(1000 * n / (performance.now() - start)); }; requestAnimationFrame(go); }); },
  };
}
