/* What both 3-D views stand on, with three.js: the tree, its points, ground and what stands about it; camera, hands, tags. Draws only when
   something changes: all there is when it rests; while it moves as much as the machine keeps up with. Lengths in metres, z up. */
"use strict";
function TreeStage(canvas, data, options) {
  const FOV = 38, REST = 220, FAST = 32, SLOW = 60, LEAST = 0.03, FINE = 2, MOST_PIXELS = 6e6; /* edges are smoothed by more pixels at rest: asked of three.js, it took two thirds of every frame without a graphics card */
  const AROUND = { neighbour: 0x78806c, building: 0x967668, pole: 0x5a5a60, wire: 0x28282c, "ground object": 0x968c7c, unknown: 0x8b9298 };
  let waiting = false, moving = false, rest = 0, called = 0, share = 0.5, frames = 0, paper = 0xffffff, sized = "";
  let renderer;
  try { renderer = new THREE.WebGLRenderer({ canvas, antialias: false, preserveDrawingBuffer: Boolean(options.kept) }); } catch { return null; }
  const scene = new THREE.Scene(), camera = new THREE.PerspectiveCamera(FOV, 1, 0.1, 400), sun = new THREE.DirectionalLight(0xffffff, 1.9);
  camera.up.set(0, 0, 1);
  scene.add(new THREE.AmbientLight(0xffffff, 1.7), sun, sun.target);

  /* ---- reading the packed data */
  const bytes = text => Uint8Array.from(atob(text), c => c.charCodeAt(0)), rgb = colour => new THREE.Color(colour).toArray().map(v => Math.round(255 * v));
  const unpack = p => p && p.data ? Float32Array.from(new Uint16Array(bytes(p.data).buffer), (v, i) => p.low[i % 3] + v * p.step) : new Float32Array(0);
  const ring = new Float32Array(bytes(data.wood.rings).buffer), seen = bytes(data.wood.seen), ringOf = new Int32Array(bytes(data.wood.ringOf).buffer), rings = ring.length / 4;
  const shades = data.legend.map(s => rgb(s.colour));

  /* ---- limbs as tubes, thickest first: one mesh of wood that was seen, one of wood that was not */
  const parts = []; /* what is drawn in part while the view moves */
  function tubes(wanted) {
    const sidesOf = (first, count) => { let thick = 0; for (let i = first; i < first + count; i++) thick = Math.max(thick, ring[4 * i + 3]); return thick > 0.1 ? 12 : thick > 0.03 ? 7 : thick > 0.012 ? 4 : 3; };
    const piece = (r, i, count) => i > 0 && i < count && Boolean(seen[r]) === wanted; /* the one that ends at ring r, the i-th of its limb */
    let vertices = 0, corners = 0, first = 0;
    for (const count of data.wood.counts) {
      const sides = sidesOf(first, count);
      for (let i = 0; i < count; i++) { if (piece(first + i, i, count)) corners += 6 * sides; if (piece(first + i, i, count) || piece(first + i + 1, i + 1, count)) vertices += sides; }
      first += count;
    }
    const at = new Float32Array(3 * vertices), out = new Float32Array(3 * vertices), ringOfVertex = new Int32Array(vertices), index = new Uint32Array(corners);
    const along = new THREE.Vector3(), other = new THREE.Vector3(), across = new THREE.Vector3();
    let v = 0, k = 0; first = 0;
    for (const count of data.wood.counts) {
      const sides = sidesOf(first, count), turn = Array.from({ length: sides }, (_, j) => [Math.cos(2 * Math.PI * j / sides), Math.sin(2 * Math.PI * j / sides)]);
      let begun = false, low = -1;
      for (let i = 0; i < count; i++) {
        const r = first + i, a = 4 * (first + Math.max(i - 1, 0)), b = 4 * (first + Math.min(i + 1, count - 1)), here = piece(r, i, count);
        along.set(ring[b] - ring[a], ring[b + 1] - ring[a + 1], ring[b + 2] - ring[a + 2]).normalize();
        if (!begun) { across.set(0, 0, 0); if (Math.abs(along.z) < 0.8) across.z = 1; else across.x = 1; begun = true; }
        across.addScaledVector(along, -across.dot(along)).normalize();
        if (!here && !piece(r + 1, i + 1, count)) continue;
        other.crossVectors(along, across);
        const start = v, radius = ring[4 * r + 3];
        for (const [c, s] of turn) {
          const x = c * across.x + s * other.x, y = c * across.y + s * other.y, z = c * across.z + s * other.z;
          out[3 * v] = x; out[3 * v + 1] = y; out[3 * v + 2] = z;
          at[3 * v] = ring[4 * r] + radius * x; at[3 * v + 1] = ring[4 * r + 1] + radius * y; at[3 * v + 2] = ring[4 * r + 2] + radius * z;
          ringOfVertex[v++] = r;
        }
        if (here) for (let j = 0; j < sides; j++) { const n = (j + 1) % sides, up = start; for (const c of [low + j, low + n, up + n, low + j, up + n, up + j]) index[k++] = c; }
        low = start;
      }
      first += count;
    }
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(at, 3));
    shape.setAttribute("normal", new THREE.BufferAttribute(out, 3));
    shape.setAttribute("color", new THREE.BufferAttribute(new Uint8Array(3 * vertices), 3, true));
    shape.setIndex(new THREE.BufferAttribute(index, 1));
    parts.push({ shape, count: corners, unit: 3 });
    return { mesh: new THREE.Mesh(shape, new THREE.MeshLambertMaterial({ vertexColors: true, alphaHash: !wanted, opacity: wanted ? 1 : 0.55 })), ringOfVertex, seen: wanted };
  }
  const wood = [tubes(true), tubes(false)], layers = { wood: new THREE.Group(), points: new THREE.Group(), around: new THREE.Group() };
  layers.wood.add(...wood.map(w => w.mesh));
  /* `anchor` colours its way to the ground by use of capacity; colourOf(row of the legend or -1, ring, seen) gives the bytes. */
  function paint(anchor, colourOf) {
    const use = new Float32Array(rings).fill(-1);
    if (anchor) anchor.path.forEach((node, i) => { const r = ringOf[node]; if (r >= 0 && anchor.use[i] !== null) use[r] = Math.max(use[r], anchor.use[i]); });
    for (const w of wood) {
      const colour = w.mesh.geometry.attributes.color;
      w.ringOfVertex.forEach((r, i) => colour.array.set(colourOf(use[r] < 0 ? -1 : rowOf(use[r]), r, w.seen), 3 * i));
      colour.needsUpdate = true;
    }
  }
  function rowOf(use) { let row = 0; while (row < data.limits.length && use > data.limits[row]) row++; return row; }

  /* ---- points and lines */
  function dots(xyz, colour, size, { metres = false, onTop = false } = {}) {
    const shape = new THREE.BufferGeometry(), n = xyz.length / 3, colours = new Uint8Array(3 * n), c = new Map(), of = v => c.get(v) ?? c.set(v, rgb(v)).get(v);
    for (let i = 0; i < n; i++) colours.set(of(typeof colour === "function" ? colour(i) : colour), 3 * i);
    shape.setAttribute("position", new THREE.BufferAttribute(xyz instanceof Uint16Array ? xyz : new Float32Array(xyz), 3));
    shape.setAttribute("color", new THREE.BufferAttribute(colours, 3, true));
    const object = new THREE.Points(shape, new THREE.PointsMaterial({ size, vertexColors: true, sizeAttenuation: metres, depthTest: !onTop }));
    object.renderOrder = onTop ? 1 : 0; /* else what is brought later, as points of the scan are, covers them */
    return object;
  }
  /* Points of the scan as steps; any first part of them is an even pick. */
  function scanned(steps, low, step) {
    const object = dots(steps, i => i % 3 ? 0x809280 : 0x9ca084, 0.03, { metres: true });
    object.scale.setScalar(step); object.position.set(...low);
    parts.push({ shape: object.geometry, count: steps.length / 3, unit: 1 });
    layers.points.add(object); draw();
  }
  const materials = [];
  function line(list, colour, width, dash = 0) { /* list: flat runs of x, y, z */
    const pairs = [];
    for (const run of list) for (let i = 3; i < run.length; i += 3) pairs.push(...run.slice(i - 3, i + 3));
    if (!pairs.length) return new THREE.Group();
    const material = new THREE.LineMaterial({ color: colour, linewidth: width, dashed: dash > 0, dashSize: dash * 0.55, gapSize: dash * 0.45 });
    materials.push(material);
    const object = new THREE.LineSegments2(new THREE.LineSegmentsGeometry().setPositions(pairs), material);
    return dash ? object.computeLineDistances() : object;
  }
  function free(group) { group.traverse(o => { o.geometry?.dispose(); if (o.material) { o.material.dispose(); const k = materials.indexOf(o.material); if (k >= 0) materials.splice(k, 1); } }); scene.remove(group); }
  /* One group that is made anew: what stood in it before goes. */
  function swapped(old, ...objects) { if (old) free(old); const group = new THREE.Group(); if (objects.length) group.add(...objects); scene.add(group); return group; }
  if (data.points?.data) scanned(new Uint16Array(bytes(data.points.data).buffer), data.points.low, data.points.step);
  data.around.forEach(o => layers.around.add(dots(unpack(o.points), AROUND[o.kind] ?? AROUND.unknown, 0.07, { metres: true })));
  scene.add(layers.wood, layers.points, layers.around);
  const g = data.ground, groundRuns = [];
  for (let i = 0; i < g.side; i += 2) for (const across of [false, true]) {
    let run = [];
    for (let j = 0; j <= g.side; j++) {
      const [row, column] = across ? [j, i] : [i, j], z = j < g.side ? g.z[row * g.side + column] : null;
      if (z !== null) run.push(g.x + column * g.step, g.y + row * g.step, z); else { if (run.length > 3) groundRuns.push(run); run = []; }
    }
  }
  const ground = colour => line(groundRuns, colour, 1.1);

  /* ---- camera and hands: mouse and touch by three.js, keys and named views here */
  const base = data.base, tall = Math.max(2, data.top - base[2]), controls = new THREE.OrbitControls(camera, canvas);
  let wide = 2, slab = 0, jumping = false;
  for (let i = 0; i < ring.length; i += 4) wide = Math.max(wide, Math.abs(ring[i] - base[0]), Math.abs(ring[i + 1] - base[1]));
  Object.assign(controls, { minDistance: 0.8, maxDistance: 120, maxPolarAngle: 2.0, zoomToCursor: true, enableZoom: false, screenSpacePanning: true });
  controls.addEventListener("change", () => { if (!jumping) moved(); });
  canvas.addEventListener("focus", () => { controls.enableZoom = true; });
  canvas.addEventListener("blur", () => { controls.enableZoom = false; }); /* the wheel scrolls the page until the view was touched */
  function look(target, distance, turn, tip) {
    controls.target.set(...target);
    camera.position.set(target[0] + distance * Math.cos(tip) * Math.sin(turn), target[1] - distance * Math.cos(tip) * Math.cos(turn), target[2] + distance * Math.sin(tip));
    jumping = true; controls.update(); jumping = false;
    draw();
  }
  function view(name) {
    const t = Math.tan(FOV * Math.PI / 360), aspect = Math.max(0.2, canvas.clientWidth / Math.max(1, canvas.clientHeight));
    const middle = [base[0], base[1], base[2] + tall * 0.46], far = Math.max(tall * 0.58 / t, wide * 1.12 / (t * aspect)) + wide * 0.35, sides = { south: 0, east: Math.PI / 2, north: Math.PI, west: -Math.PI / 2 };
    if (name === "top") look(middle, far, 0, 1.55); else if (name in sides) look(middle, far, sides[name], 0.02); else look(middle, far, -0.6, 0.14);
  }
  function zoomBy(factor) {
    const away = camera.position.clone().sub(controls.target), far = Math.min(120, Math.max(0.8, away.length() * factor));
    camera.position.copy(controls.target).addScaledVector(away.normalize(), far);
    controls.update(); moved();
  }
  function turnBy(across, up, whole = false) {
    const d = camera.position.clone().sub(controls.target), far = d.length();
    look(controls.target.toArray(), far, Math.atan2(d.x, -d.y) + across, Math.max(-0.4, Math.min(1.55, Math.asin(d.z / far) + up)));
    if (!whole) moved();
  }
  function moveBy(right, up) {
    const k = camera.position.distanceTo(controls.target) * 0.05, side = new THREE.Vector3().setFromMatrixColumn(camera.matrix, 0).multiplyScalar(right * k);
    side.z += up * k;
    camera.position.add(side); controls.target.add(side);
    controls.update(); moved();
  }
  canvas.addEventListener("keydown", e => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
    if (step) e.shiftKey ? moveBy(step[0], step[1]) : turnBy(-step[0] * 0.09, step[1] * 0.07);
    else if (e.key === "+" || e.key === "=") zoomBy(0.87);
    else if (e.key === "-") zoomBy(1.15);
    else if (e.key === "0") view("home");
    else return;
    e.preventDefault();
  });
  let down = null;
  canvas.addEventListener("pointerdown", e => { canvas.focus({ preventScroll: true }); down = [e.clientX, e.clientY]; });
  canvas.addEventListener("pointerup", e => {
    if (!down || Math.hypot(e.clientX - down[0], e.clientY - down[1]) > 8) return;
    const box = canvas.getBoundingClientRect();
    options.tap(e.clientX - box.left, e.clientY - box.top);
  });
  function screen(p) { const q = new THREE.Vector3(...p).project(camera); return q.z > 1 || q.z < -1 ? null : [(q.x + 1) / 2 * canvas.clientWidth, (1 - q.y) / 2 * canvas.clientHeight]; }

  /* ---- tags at places, each joined to its own by a thin leader: `first` ones are placed first, then as listed; one that finds no room is not shown.
     Places are shares of the view, so that tags stay at their limbs whatever size the page is printed or shown at. */
  const LINE = "http://www.w3.org/2000/svg", leaders = document.createElementNS(LINE, "svg");
  Object.entries({ class: "leaders", "aria-hidden": "true", viewBox: "0 0 100 100", preserveAspectRatio: "none" }).forEach(([k, v]) => leaders.setAttribute(k, v));
  let tags = [];
  function setTags(holder, list) { /* list: { at, element, first } */
    leaders.replaceChildren();
    for (const t of list) t.leader = leaders.appendChild(document.createElementNS(LINE, "line"));
    tags = list;
    holder.replaceChildren(leaders, ...list.map(t => t.element));
  }
  function placeTags() {
    const W = canvas.clientWidth, H = canvas.clientHeight, taken = [];
    for (const t of tags) t.element.style.display = "";
    for (const t of tags) t.size = [t.element.offsetWidth || 60, t.element.offsetHeight || 24];
    for (const { at, element, leader, size: [w, h] } of tags.slice().sort((s, t) => Boolean(t.first) - Boolean(s.first))) {
      const s = screen(at);
      let spot = null;
      if (s && s[0] >= 0 && s[1] >= 0 && s[0] <= W && s[1] <= H) for (const [dx, dy] of [14, 40, 70].flatMap(d => [[d, 0], [-d - w, 0], [d, -26], [-d - w, -26], [d, 26], [-d - w, 26], [d, -52], [-d - w, -52], [d, 52]])) {
        const x = s[0] + dx, y = s[1] + dy - h / 2;
        if (x >= 0 && x + w <= W && y >= 0 && y + h <= H && !taken.some(t => x < t[0] + t[2] && t[0] < x + w && y < t[1] + t[3] && t[1] < y + h)) { spot = [x, y]; break; }
      }
      element.style.display = spot ? "" : "none"; leader.setAttribute("visibility", spot ? "visible" : "hidden");
      if (!spot) continue;
      taken.push([...spot, w, h]);
      element.style.left = (100 * spot[0] / W).toFixed(2) + "%"; element.style.top = (100 * spot[1] / H).toFixed(2) + "%";
      const end = [Math.max(spot[0], Math.min(s[0], spot[0] + w)), spot[1] + h / 2];
      [["x1", s[0] / W], ["y1", s[1] / H], ["x2", end[0] / W], ["y2", end[1] / H]].forEach(([name, share]) => leader.setAttribute(name, (100 * share).toFixed(2)));
    }
  }

  /* ---- drawing */
  function frame() {
    waiting = false; frames++;
    const late = performance.now() - called;
    if (moving) share = Math.min(1, Math.max(LEAST, share * (late > SLOW ? 0.8 : late < FAST ? 1.12 : 1)));
    for (const p of parts) p.shape.setDrawRange(0, moving ? Math.ceil(p.count * share / p.unit) * p.unit : p.count);
    const w = Math.max(1, canvas.clientWidth), h = Math.max(1, canvas.clientHeight), far = camera.position.distanceTo(controls.target);
    const own = Math.min(window.devicePixelRatio || 1, FINE), fine = Math.max(1, Math.min(FINE, Math.sqrt(MOST_PIXELS / (w * h))));
    const ratio = !moving ? fine : share < 1 ? 1 : own, size = [w, h, ratio].join();
    if (size !== sized) { sized = size; renderer.setPixelRatio(ratio); renderer.setSize(w, h, false); }
    renderer.setClearColor(paper);
    camera.aspect = w / h;
    camera.near = slab ? Math.max(0.1, far - slab / 2) : 0.1; camera.far = slab ? far + slab / 2 : 400;
    camera.updateProjectionMatrix(); camera.updateMatrixWorld();
    sun.position.copy(camera.position).add(new THREE.Vector3(-0.45, -0.35, 0.82).multiplyScalar(20));
    sun.target.position.copy(controls.target);
    materials.forEach(m => m.resolution.set(w, h));
    renderer.render(scene, camera);
    placeTags();
    options.drawn?.({ width: w, height: h, far });
  }
  function draw() { if (!waiting) { waiting = true; called = performance.now(); requestAnimationFrame(frame); } }
  function moved() { moving = true; clearTimeout(rest); rest = setTimeout(() => { moving = false; draw(); }, REST); draw(); }
  new ResizeObserver(draw).observe(canvas);
  return {
    FOV, scene, camera, controls, ring, ringOf, rings, seen, shades, rowOf, layers, rgb, bytes, unpack, paint, dots, scanned, line, ground, free, swapped, look, view, zoomBy, turnBy, moveBy, screen, setTags, frame, draw,
    paper(colour) { paper = colour; draw(); }, section(metres) { slab = metres; draw(); },
    share: () => share, sizes: () => parts.map(p => p.count / p.unit), frames: () => frames, close() { clearTimeout(rest); controls.dispose(); renderer.dispose(); },
  };
}
