/* The planner's 3-D view on three.js: draws only when something changes. Lengths in metres, z up, local frame. */
"use strict";
function PlannerView(canvas, data, on) {
  const FOV = 38, TONES = { light: { paper: 0xf3efe6, wood: 0xb9ab90, ink: 0x16120c, ground: 0xcec7b8 }, dark: { paper: 0x14171a, wood: 0x9c917c, ink: 0xf2efe8, ground: 0x3d4146 } };
  const VERDICT = { candidate: 0x1d5c8f, "inspect first": 0xdd7a1f, "not ranked": 0x7a3b2a, "not assessable": 0x8b9298, none: 0xb7ad9a };
  let tone = TONES.light, renderer;
  try { renderer = new THREE.WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: true }); } catch { return null; }
  const scene = new THREE.Scene(), camera = new THREE.PerspectiveCamera(FOV, 1, 0.1, 400);
  camera.up.set(0, 0, 1);
  const sun = new THREE.DirectionalLight(0xffffff, 1.9);
  scene.add(new THREE.AmbientLight(0xffffff, 1.7), sun, sun.target);
  const bytes = t => Uint8Array.from(atob(t), c => c.charCodeAt(0));
  const unpack = p => { if (!p || !p.data) return new Float32Array(0); const s = new Uint16Array(bytes(p.data).buffer); return Float32Array.from(s, (v, i) => p.low[i % 3] + v * p.step); };
  const ring = new Float32Array(bytes(data.wood.rings).buffer), ringOf = new Int32Array(bytes(data.wood.ringOf).buffer), seen = bytes(data.wood.seen), rings = ring.length / 4;

  /* ---- wood */
  const limbOfRing = new Int32Array(rings).fill(-1);
  ringOf.forEach((r, node) => { if (r >= 0) limbOfRing[r] = data.limbOf[node]; });
  { let first = 0; for (const n of data.wood.counts) { let last = -1; for (let i = n - 1; i >= 0; i--) { if (limbOfRing[first + i] < 0) limbOfRing[first + i] = last; else last = limbOfRing[first + i]; } first += n; } }
  const at = [], normal = [], ringOfVertex = [], index = [];
  { let first = 0;
    for (const count of data.wood.counts) {
      let thick = 0, across = null;
      for (let i = 0; i < count; i++) thick = Math.max(thick, ring[4 * (first + i) + 3]);
      const sides = thick > 0.1 ? 12 : thick > 0.03 ? 7 : 4, place = i => new THREE.Vector3(ring[4 * (first + i)], ring[4 * (first + i) + 1], ring[4 * (first + i) + 2]);
      for (let i = 0; i < count; i++) {
        const along = place(Math.min(i + 1, count - 1)).sub(place(Math.max(i - 1, 0))).normalize();
        if (!across) across = Math.abs(along.z) < 0.8 ? new THREE.Vector3(0, 0, 1) : new THREE.Vector3(1, 0, 0);
        across.addScaledVector(along, -across.dot(along)).normalize();
        const other = new THREE.Vector3().crossVectors(along, across), m = place(i), r = ring[4 * (first + i) + 3], low = at.length / 3 - sides;
        for (let j = 0; j < sides; j++) {
          const t = 2 * Math.PI * j / sides, n = new THREE.Vector3().addScaledVector(across, Math.cos(t)).addScaledVector(other, Math.sin(t));
          at.push(m.x + r * n.x, m.y + r * n.y, m.z + r * n.z); normal.push(n.x, n.y, n.z); ringOfVertex.push(first + i);
        }
        if (i) for (let j = 0; j < sides; j++) { const k = (j + 1) % sides, up = low + sides; index.push(low + j, low + k, up + k, low + j, up + k, up + j); }
      }
      first += count;
    } }
  const shape = new THREE.BufferGeometry();
  shape.setAttribute("position", new THREE.BufferAttribute(new Float32Array(at), 3));
  shape.setAttribute("normal", new THREE.BufferAttribute(new Float32Array(normal), 3));
  shape.setAttribute("color", new THREE.BufferAttribute(new Uint8Array(3 * ringOfVertex.length), 3, true));
  shape.setIndex(index);
  scene.add(new THREE.Mesh(shape, new THREE.MeshLambertMaterial({ vertexColors: true })));
  const rgb = hex => new THREE.Color(hex).toArray().map(v => Math.round(255 * v)), shades = data.legend.map(s => rgb(s.colour));
  const marked = new Set();
  function colourWood() {
    const use = new Float32Array(rings).fill(-1), plain = rgb(tone.wood), grey = rgb(0x8b9298), lit = rgb(0x2f8f5b);
    if (chosen) chosen.path.forEach((node, i) => { const r = ringOf[node]; if (r >= 0 && chosen.use[i] !== null) use[r] = Math.max(use[r], chosen.use[i]); });
    const colour = shape.attributes.color;
    ringOfVertex.forEach((r, i) => {
      let c = seen[r] ? plain : grey;
      if (use[r] >= 0) { let row = 0; while (row < data.limits.length && use[r] > data.limits[row]) row++; c = shades[row]; }
      if (marked.has(limbOfRing[r])) c = lit;
      colour.array.set(c, 3 * i);
    });
    colour.needsUpdate = true;
  }

  /* ---- points and lines */
  function dots(xyz, colour, size, options = {}) {
    const s = new THREE.BufferGeometry(), n = xyz.length / 3, colours = new Float32Array(3 * n), c = new THREE.Color();
    for (let i = 0; i < n; i++) c.set(typeof colour === "function" ? colour(i) : colour).toArray(colours, 3 * i);
    s.setAttribute("position", new THREE.BufferAttribute(new Float32Array(xyz), 3));
    s.setAttribute("color", new THREE.BufferAttribute(colours, 3));
    return new THREE.Points(s, new THREE.PointsMaterial({ size, vertexColors: true, sizeAttenuation: Boolean(options.metres), depthTest: !options.onTop }));
  }
  const materials = [];
  function line(list, colour, width, dash = 0) {
    const pairs = [];
    for (const run of list) for (let i = 3; i < run.length; i += 3) pairs.push(...run.slice(i - 3, i + 3));
    if (!pairs.length) return new THREE.Group();
    const material = new THREE.LineMaterial({ color: colour, linewidth: width, dashed: dash > 0, dashSize: dash * 0.55, gapSize: dash * 0.45 });
    materials.push(material);
    const object = new THREE.LineSegments2(new THREE.LineSegmentsGeometry().setPositions(pairs), material);
    return dash ? object.computeLineDistances() : object;
  }
  const free = g => { g.traverse(o => { o.geometry?.dispose(); if (o.material) { o.material.dispose(); const k = materials.indexOf(o.material); if (k >= 0) materials.splice(k, 1); } }); scene.remove(g); };
  const layers = { points: dots(unpack(data.points), i => i % 3 ? 0x809280 : 0x9ca084, 0.03, { metres: true }), around: new THREE.Group() };
  data.around.forEach(o => layers.around.add(dots(unpack(o.points), o.kind === "wire" ? 0x28282c : 0x8b8f84, 0.07, { metres: true })));
  scene.add(layers.points, layers.around);
  const g = data.ground, cell = (i, j) => g.z[i * g.side + j];
  let groundLines = new THREE.Group();
  function drawGround() {
    free(groundLines);
    const runs = [], p = (i, j) => [g.x + j * g.step, g.y + i * g.step, cell(i, j)];
    for (let i = 0; i < g.side; i += 2) for (const turned of [false, true]) {
      let run = [];
      for (let j = 0; j <= g.side; j++) { const q = j < g.side ? (turned ? p(j, i) : p(i, j)) : [0, 0, null]; if (q[2] !== null) run.push(...q); else { if (run.length > 3) runs.push(run); run = []; } }
    }
    groundLines = new THREE.Group(); groundLines.add(line(runs, tone.ground, 1.1)); scene.add(groundLines);
  }
  const heightAt = (x, y) => { const j = Math.round((x - g.x) / g.step), i = Math.round((y - g.y) / g.step); return i < 0 || j < 0 || i >= g.side || j >= g.side ? null : cell(i, j); };

  /* ---- what changes: unions by verdict, the chosen candidate, what is drawn */
  let chosen = null, flights = [], own = new THREE.Group(), spots = new THREE.Group(), drawn = new THREE.Group(), verdicts = {}, mark = null;
  function rebuild() {
    free(own); own = new THREE.Group(); scene.add(own);
    if (flights.length) own.add(line(flights, 0xb04e0c, 2.2, 0.5));
    if (mark) own.add(dots(mark, 0xd0104c, 14, { onTop: true }));
    if (!chosen) return;
    if (chosen.rope.length) own.add(line([chosen.rope], tone.ink, 3.4));
    if (chosen.throw) own.add(line([chosen.throw], 0xb04e0c, 2.6), dots(chosen.stand, 0xb04e0c, 12, { onTop: true }));
    if (chosen.swing.length) own.add(line([chosen.swing], tone.ink, 2.4, 0.6));
    for (const f of chosen.falls || []) own.add(line([[...f.from, ...f.to]], 0xa1123a, 2.4, 0.4), dots(f.to, 0xa1123a, 10, { onTop: true }));
  }
  function setSpots(of, tint = {}) {
    verdicts = of; free(spots); spots = new THREE.Group(); scene.add(spots);
    const big = data.unions.filter(u => of[u.label]), small = data.unions.filter(u => !of[u.label]);
    spots.add(dots(small.flatMap(u => u.at), VERDICT.none, 3.5, { onTop: true }), dots(big.flatMap(u => u.at), i => tint[big[i].label] ?? VERDICT[of[big[i].label]] ?? VERDICT.none, 9, { onTop: true }));
    draw();
  }
  function setDrawn(list, open) {
    free(drawn); drawn = new THREE.Group(); scene.add(drawn);
    const lift = p => [p[0], p[1], p[2] ?? ((heightAt(p[0], p[1]) ?? data.foot[2]) + 0.05)];
    for (const d of list) {
      const run = d.places.map(lift);
      if (d.places[0].length === 2) run.push(run[0]);
      if (run.length > 1) drawn.add(line([run.flat()], d.what === "conductor" ? 0xa1123a : 0x6a3fa0, 3)); else drawn.add(dots(run.flat(), 0x6a3fa0, 12, { onTop: true }));
    }
    if (open.length) drawn.add(dots(open.map(lift).flat(), 0xd0104c, 12, { onTop: true }));
    if (open.length > 1) drawn.add(line([open.map(lift).flat()], 0xd0104c, 3));
    draw();
  }
  function setFlights(list) { flights = list.slice(0, 3); rebuild(); draw(); }

  /* ---- picking */
  function screen(p) { const q = new THREE.Vector3(...p).project(camera); return q.z > 1 || q.z < -1 ? null : [(q.x + 1) / 2 * canvas.clientWidth, (1 - q.y) / 2 * canvas.clientHeight]; }
  function unionAt(x, y) {
    let best = null, least = 24;
    for (const u of data.unions) { const s = screen(u.at); if (!s) continue; const d = Math.hypot(s[0] - x, s[1] - y) - (verdicts[u.label] ? 4 : 0); if (d < least) { least = d; best = u; } }
    return best;
  }
  function woodAt(x, y) {
    let best = -1, near = 1e9;
    for (let r = 0; r < rings; r++) { const p = [ring[4 * r], ring[4 * r + 1], ring[4 * r + 2]], s = screen(p); if (!s || Math.hypot(s[0] - x, s[1] - y) > 16) continue; const d = camera.position.distanceTo(new THREE.Vector3(...p)); if (d < near) { near = d; best = r; } }
    return best < 0 ? null : { limb: limbOfRing[best], at: [ring[4 * best], ring[4 * best + 1], ring[4 * best + 2]] };
  }
  function groundAt(x, y) {
    const way = new THREE.Vector3(2 * x / canvas.clientWidth - 1, 1 - 2 * y / canvas.clientHeight, 0.5).unproject(camera).sub(camera.position).normalize(), p = camera.position.clone();
    for (let i = 0; i < 4000; i++) { p.addScaledVector(way, 0.05); const z = heightAt(p.x, p.y); if (z !== null && p.z <= z) return [p.x, p.y, z]; }
    return null;
  }

  /* ---- camera */
  const base = data.base, tall = Math.max(2, data.top - base[2]);
  let wide = 2, slab = 0;
  for (let r = 0; r < rings; r++) wide = Math.max(wide, Math.abs(ring[4 * r] - base[0]), Math.abs(ring[4 * r + 1] - base[1]));
  const controls = new THREE.OrbitControls(camera, canvas);
  Object.assign(controls, { minDistance: 0.8, maxDistance: 120, maxPolarAngle: 2.0, zoomToCursor: true, enableZoom: false, screenSpacePanning: true });
  controls.addEventListener("change", () => draw());
  canvas.addEventListener("pointerdown", () => canvas.focus({ preventScroll: true }));
  canvas.addEventListener("focus", () => { controls.enableZoom = true; });
  canvas.addEventListener("blur", () => { controls.enableZoom = false; });
  function look(target, distance, turn, tip) {
    controls.target.set(...target);
    camera.position.set(target[0] + distance * Math.cos(tip) * Math.sin(turn), target[1] - distance * Math.cos(tip) * Math.cos(turn), target[2] + distance * Math.sin(tip));
    controls.update(); draw();
  }
  function view(name) {
    const t = Math.tan(FOV * Math.PI / 360), aspect = Math.max(0.2, canvas.clientWidth / Math.max(1, canvas.clientHeight));
    const middle = [base[0], base[1], base[2] + tall * 0.46], far = Math.max(tall * 0.58 / t, wide * 1.12 / (t * aspect)) + wide * 0.35, sides = { south: 0, east: Math.PI / 2, north: Math.PI, west: -Math.PI / 2 };
    if (name === "top") look(middle, far, 0, 1.55); else if (name in sides) look(middle, far, sides[name], 0.02); else look(middle, far, -0.6, 0.14);
  }
  function zoomBy(f) { const a = camera.position.clone().sub(controls.target); camera.position.copy(controls.target).addScaledVector(a.normalize(), Math.min(120, Math.max(0.8, camera.position.distanceTo(controls.target) * f))); controls.update(); draw(); }
  function turnBy(across, up) { const d = camera.position.clone().sub(controls.target), far = d.length(); look(controls.target.toArray(), far, Math.atan2(d.x, -d.y) + across, Math.max(-0.4, Math.min(1.55, Math.asin(d.z / far) + up))); }
  canvas.addEventListener("keydown", e => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
    if (step) turnBy(-step[0] * 0.09, step[1] * 0.07); else if (e.key === "+" || e.key === "=") zoomBy(0.87); else if (e.key === "-") zoomBy(1.15); else if (e.key === "0") view("home"); else return;
    e.preventDefault();
  });
  let down = null;
  canvas.addEventListener("pointerdown", e => { down = [e.clientX, e.clientY]; });
  canvas.addEventListener("pointerup", e => {
    if (!down || Math.hypot(e.clientX - down[0], e.clientY - down[1]) > 8) return;
    const box = canvas.getBoundingClientRect(), x = e.clientX - box.left, y = e.clientY - box.top;
    on.tap({ union: () => unionAt(x, y), wood: () => woodAt(x, y), ground: () => groundAt(x, y) });
  });

  /* ---- drawing */
  let waiting = false, frames = 0;
  function frame() {
    waiting = false; frames++;
    const w = Math.max(1, canvas.clientWidth), h = Math.max(1, canvas.clientHeight), far = camera.position.distanceTo(controls.target);
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    renderer.setSize(w, h, false);
    renderer.setClearColor(tone.paper);
    camera.aspect = w / h;
    camera.near = slab ? Math.max(0.1, far - slab / 2) : 0.1; camera.far = slab ? far + slab / 2 : 400;
    camera.updateProjectionMatrix(); camera.updateMatrixWorld();
    sun.position.copy(camera.position).add(new THREE.Vector3(-0.45, -0.35, 0.82).multiplyScalar(20));
    sun.target.position.copy(controls.target);
    materials.forEach(m => m.resolution.set(w, h));
    renderer.render(scene, camera);
    const d = controls.target.clone().sub(camera.position), up = new THREE.Vector3().setFromMatrixColumn(camera.matrix, 1);
    const ahead = Math.hypot(d.x, d.y) > 0.05 * far ? d : up;
    on.drawn({ north: -Math.atan2(ahead.x, ahead.y), pixelsPerMetre: h / (2 * far * Math.tan(FOV * Math.PI / 360)) });
  }
  function draw() { if (!waiting) { waiting = true; requestAnimationFrame(frame); } }
  new ResizeObserver(draw).observe(canvas);
  function theme(name) { tone = TONES[name] || TONES.light; drawGround(); rebuild(); colourWood(); draw(); }
  theme("light"); setSpots({}); view("home");
  return {
    view, zoomBy, setSpots, setDrawn, setFlights, theme, screen,
    choose(next) { chosen = next; rebuild(); colourWood(); draw(); },
    mark(place) { mark = place; rebuild(); draw(); },
    limbs(list) { marked.clear(); list.forEach(k => marked.add(k)); colourWood(); draw(); },
    layer(name, shown) { layers[name].visible = shown; draw(); },
    section(metres) { slab = metres; draw(); },
    spin(n) { const start = performance.now(); return new Promise(done => { let k = 0; const go = () => { turnBy(0.02, 0); if (++k < n) requestAnimationFrame(go); else done(1000 * n / (performance.now() - start)); }; requestAnimationFrame(go); }); },
    close() { controls.dispose(); renderer.dispose(); }, frames: () => frames,
  };
}
