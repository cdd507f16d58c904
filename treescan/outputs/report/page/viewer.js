/* The report's 3-D view, on three.js. Draws only when something changes. Lengths in metres, z up. */
"use strict";
function TreeView(canvas, tags, data, onPick, others, onOther) {
  const PAPER = 0xf3efe6, FOV = 38, TAGS = 9;
  const INK = 0x16120c, THROW = 0xb04e0c, SWING = 0x141414, GROUND = 0xcec7b8, WIRE = 0x1e1e1e;
  const AROUND = { neighbour: 0x78806c, building: 0x967668, pole: 0x5a5a60, wire: 0x28282c, "ground object": 0x968c7c, unknown: 0x8b9298 };
  let renderer;
  try { renderer = new THREE.WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: true }); } catch { return null; }
  renderer.setClearColor(PAPER);
  const scene = new THREE.Scene(), camera = new THREE.PerspectiveCamera(FOV, 1, 0.1, 400);
  camera.up.set(0, 0, 1);
  scene.add(new THREE.AmbientLight(0xffffff, 1.7));
  const sun = new THREE.DirectionalLight(0xffffff, 1.9);
  scene.add(sun, sun.target);

  /* ---- reading the packed data */
  const bytes = text => Uint8Array.from(atob(text), c => c.charCodeAt(0));
  const unpack = packed => {
    if (!packed || !packed.data) return new Float32Array(0);
    const steps = new Uint16Array(bytes(packed.data).buffer), out = new Float32Array(steps.length);
    for (let i = 0; i < steps.length; i++) out[i] = packed.low[i % 3] + steps[i] * packed.step;
    return out;
  };
  const ring = new Float32Array(bytes(data.wood.rings).buffer), seen = bytes(data.wood.seen), ringOf = new Int32Array(bytes(data.wood.ringOf).buffer);

  /* ---- limbs as tubes: one mesh of seen wood, one of wood that was not seen */
  function tubes(wanted) {
    const at = [], out = [], ringOfVertex = [], index = [], v = () => new THREE.Vector3();
    let first = 0;
    for (const count of data.wood.counts) {
      const place = i => new THREE.Vector3(ring[4 * (first + i)], ring[4 * (first + i) + 1], ring[4 * (first + i) + 2]);
      let thick = 0;
      for (let i = 0; i < count; i++) thick = Math.max(thick, ring[4 * (first + i) + 3]);
      const sides = thick > 0.1 ? 12 : thick > 0.03 ? 7 : 4;
      let across = null;
      for (let i = 0; i < count; i++) {
        const along = place(Math.min(i + 1, count - 1)).sub(place(Math.max(i - 1, 0))).normalize();
        if (!across) across = Math.abs(along.z) < 0.8 ? new THREE.Vector3(0, 0, 1) : new THREE.Vector3(1, 0, 0);
        across.addScaledVector(along, -across.dot(along)).normalize();
        const other = v().crossVectors(along, across), middle = place(i), radius = ring[4 * (first + i) + 3], low = at.length / 3 - sides;
        for (let j = 0; j < sides; j++) {
          const turn = 2 * Math.PI * j / sides, n = v().addScaledVector(across, Math.cos(turn)).addScaledVector(other, Math.sin(turn));
          at.push(middle.x + radius * n.x, middle.y + radius * n.y, middle.z + radius * n.z);
          out.push(n.x, n.y, n.z);
          ringOfVertex.push(first + i);
        }
        if (i && Boolean(seen[first + i]) === wanted) for (let j = 0; j < sides; j++) {
          const k = (j + 1) % sides, up = low + sides;
          index.push(low + j, low + k, up + k, low + j, up + k, up + j);
        }
      }
      first += count;
    }
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(new Float32Array(at), 3));
    shape.setAttribute("normal", new THREE.BufferAttribute(new Float32Array(out), 3));
    shape.setAttribute("color", new THREE.BufferAttribute(new Uint8Array(3 * ringOfVertex.length), 3, true));
    shape.setIndex(index);
    const mesh = new THREE.Mesh(shape, new THREE.MeshLambertMaterial({ vertexColors: true, alphaHash: !wanted, opacity: wanted ? 1 : 0.55 }));
    return { mesh, ringOfVertex };
  }
  const rgb = hex => [1, 3, 5].map(i => parseInt(hex.slice(i, i + 2), 16));
  const linear = c => Math.round(255 * Math.pow(c / 255, 2.2));
  const shades = data.legend.map(s => rgb(s.colour).map(linear)), UNLOADED = data.limits.length + 1, UNSEEN = UNLOADED + 1;
  const wood = [tubes(true), tubes(false)], woodGroup = new THREE.Group();
  woodGroup.add(wood[0].mesh, wood[1].mesh);
  scene.add(woodGroup);
  function colourWood(anchor) {
    const use = new Float32Array(ring.length / 4).fill(-1);
    if (anchor) anchor.path.forEach((node, i) => { const r = ringOf[node]; if (r >= 0 && anchor.use[i] !== null) use[r] = Math.max(use[r], anchor.use[i]); });
    wood.forEach(({ mesh, ringOfVertex }, hidden) => {
      const colour = mesh.geometry.attributes.color;
      ringOfVertex.forEach((r, i) => {
        let row = UNLOADED;
        if (use[r] >= 0) { row = 0; while (row < data.limits.length && use[r] > data.limits[row]) row++; }
        colour.array.set(shades[hidden ? UNSEEN : row], 3 * i);
      });
      colour.needsUpdate = true;
    });
  }

  /* ---- points and lines */
  function dots(xyz, colour, size, options = {}) {
    const shape = new THREE.BufferGeometry(), n = xyz.length / 3, colours = new Float32Array(3 * n), c = new THREE.Color();
    for (let i = 0; i < n; i++) c.set(typeof colour === "function" ? colour(i) : colour).toArray(colours, 3 * i);
    shape.setAttribute("position", new THREE.BufferAttribute(new Float32Array(xyz), 3));
    shape.setAttribute("color", new THREE.BufferAttribute(colours, 3));
    return new THREE.Points(shape, new THREE.PointsMaterial({ size, vertexColors: true, sizeAttenuation: Boolean(options.metres), depthTest: !options.onTop }));
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
  const free = group => { group.traverse(o => { if (o.geometry) o.geometry.dispose(); if (o.material) { o.material.dispose(); const k = materials.indexOf(o.material); if (k >= 0) materials.splice(k, 1); } }); scene.remove(group); };
  const layers = { wood: woodGroup, points: dots(unpack(data.points), i => i % 3 ? 0x809280 : 0x9ca084, 0.03, { metres: true }), around: new THREE.Group() };
  data.around.forEach(o => layers.around.add(dots(unpack(o.points), AROUND[o.kind] ?? AROUND.unknown, 0.07, { metres: true })));
  scene.add(layers.points, layers.around);
  const ground = data.ground, runs = [], at = (i, j) => [ground.x + j * ground.step, ground.y + i * ground.step, ground.z[i * ground.side + j]];
  for (let i = 0; i < ground.side; i += 2) for (const across of [false, true]) {
    let run = [];
    for (let j = 0; j <= ground.side; j++) {
      const p = j < ground.side ? (across ? at(j, i) : at(i, j)) : [0, 0, null];
      if (p[2] !== null) run.push(...p); else { if (run.length > 3) runs.push(run); run = []; }
    }
  }
  scene.add(line(runs, GROUND, 1.1), line(data.wires, WIRE, 2.6));

  /* ---- what belongs to the chosen candidate */
  const on = { rope: true, throw: true, swing: true, work: true }, places = unpack(data.places);
  let chosen = null, own = new THREE.Group();
  function rebuild() {
    free(own);
    own = new THREE.Group();
    scene.add(own);
    if (!chosen) return;
    if (on.rope && chosen.rope.length) own.add(line([chosen.rope], INK, 3.4));
    if (on.throw && chosen.throw) own.add(line([chosen.throw], THROW, 2.6), line([[...chosen.stand, chosen.stand[0], chosen.stand[1], chosen.stand[2] + 1.7]], THROW, 6));
    if (on.swing && chosen.swing.length) own.add(line([chosen.swing], SWING, 2.4, 0.6), line([[...chosen.rest, ...chosen.swing.slice(0, 3)]], SWING, 1.4, 0.3));
    if (on.throw && chosen.chance) {
      const c = bytes(chosen.chance), top = Math.max(1, ...c), far = new THREE.Color(0xdad3c6), near = new THREE.Color(0x1d5c8f);
      own.add(dots(places, i => far.clone().lerp(near, Math.sqrt(c[i] / top)), 6));
    }
    if (on.work) own.add(dots(data.work.flatMap(w => w.at), i => chosen.served[i] ? 0x1d5c8f : 0x544c40, data.work.length > 80 ? 4 : 6));
  }
  function choose(id) { chosen = data.anchors[id] || null; colourWood(chosen); rebuild(); draw(); }
  function setLayer(name, shown) {
    if (layers[name]) layers[name].visible = shown; else { on[name] = shown; rebuild(); }
    draw();
  }

  /* ---- markers and their tags: one a union, the best-ranked first; a thin leader joins each tag to its union */
  const spots = [...new Map(data.anchors.slice().reverse().map(a => [a.union, a])).values()].sort((a, b) => a.id - b.id);
  scene.add(dots(spots.flatMap(a => a.at), i => spots[i].usable ? 0x10324d : 0x787062, 8, { onTop: true }));
  if (others.length) scene.add(dots(others.flatMap(o => o.at), 0xb7ad9a, 3.5, { onTop: true }));
  const leaders = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  leaders.setAttribute("class", "leaders");
  leaders.setAttribute("aria-hidden", "true");
  leaders.setAttribute("viewBox", "0 0 100 100");
  leaders.setAttribute("preserveAspectRatio", "none");
  tags.append(leaders);
  const labels = spots.filter((a, i) => a.usable && i < TAGS).map(anchor => {
    const button = document.createElement("button"), leader = document.createElementNS(leaders.namespaceURI, "line"), rank = document.createElement("b");
    button.type = "button";
    button.className = "tag";
    button.dataset.id = anchor.id;
    rank.textContent = anchor.rank;
    button.append(rank, " " + anchor.label);
    button.setAttribute("aria-label", anchor.says);
    button.addEventListener("click", e => { e.stopPropagation(); onPick(anchor.id); });
    tags.append(button);
    leaders.append(leader);
    return { anchor, button, leader };
  });
  function screen(p) {
    const q = new THREE.Vector3(...p).project(camera);
    return q.z > 1 ? null : [(q.x + 1) / 2 * canvas.clientWidth, (1 - q.y) / 2 * canvas.clientHeight];
  }
  /* Places are shares of the view, so that tags stay at their limbs whatever size the page is printed or shown at. */
  function placeTags() {
    const W = canvas.clientWidth, H = canvas.clientHeight, taken = [];
    tags.parentElement.style.setProperty("--shape", (W / Math.max(H, 1)).toFixed(4));
    const chosenFirst = (s, t) => (t.anchor.union === chosen?.union) - (s.anchor.union === chosen?.union) || s.anchor.rank - t.anchor.rank;
    for (const { anchor, button, leader } of labels.slice().sort(chosenFirst)) {
      const mine = anchor.union === chosen?.union, s = screen(anchor.at);
      button.classList.toggle("on", mine);
      button.setAttribute("aria-pressed", String(mine));
      const inside = s && s[0] >= 0 && s[1] >= 0 && s[0] <= W && s[1] <= H;
      button.style.display = "";
      const w = button.offsetWidth || 60, h = button.offsetHeight || 24;
      let spot = null;
      if (inside) for (const [dx, dy] of [14, 40, 70].flatMap(d => [[d, 0], [-d - w, 0], [d, -26], [-d - w, -26], [d, 26], [-d - w, 26], [d, -52], [-d - w, -52], [d, 52]])) {
        const x = s[0] + dx, y = s[1] + dy - h / 2;
        const clear = !taken.some(t => x < t[0] + t[2] && t[0] < x + w && y < t[1] + t[3] && t[1] < y + h);
        if (x >= 0 && x + w <= W && y >= 0 && y + h <= H && clear) { spot = [x, y]; break; }
      }
      if (!spot) { button.style.display = "none"; leader.setAttribute("visibility", "hidden"); continue; }
      taken.push([...spot, w, h]);
      button.style.left = (100 * spot[0] / W).toFixed(2) + "%";
      button.style.top = (100 * spot[1] / H).toFixed(2) + "%";
      const end = [Math.max(spot[0], Math.min(s[0], spot[0] + w)), spot[1] + h / 2];
      [["x1", s[0] / W], ["y1", s[1] / H], ["x2", end[0] / W], ["y2", end[1] / H]].forEach(([name, share]) => leader.setAttribute(name, (100 * share).toFixed(2)));
      leader.setAttribute("visibility", "visible");
    }
  }

  /* ---- camera and hands: mouse and touch by three.js, keys and named views here */
  const base = data.base, tall = Math.max(2, data.top - base[2]);
  let wide = 2;
  for (let i = 0; i < ring.length; i += 4) wide = Math.max(wide, Math.abs(ring[i] - base[0]), Math.abs(ring[i + 1] - base[1]));
  const controls = new THREE.OrbitControls(camera, canvas);
  Object.assign(controls, { minDistance: 0.8, maxDistance: 120, maxPolarAngle: 2.0, zoomToCursor: true, enableZoom: false, screenSpacePanning: true });
  controls.addEventListener("change", () => draw());
  canvas.addEventListener("pointerdown", () => { canvas.focus({ preventScroll: true }); });
  canvas.addEventListener("focus", () => { controls.enableZoom = true; });
  canvas.addEventListener("blur", () => { controls.enableZoom = false; }); /* the wheel scrolls the page until the view was touched */
  function look(target, distance, turn, tip) {
    controls.target.set(...target);
    camera.position.set(target[0] + distance * Math.cos(tip) * Math.sin(turn), target[1] - distance * Math.cos(tip) * Math.cos(turn), target[2] + distance * Math.sin(tip));
    controls.update();
    draw();
  }
  function view(name) {
    const t = Math.tan(FOV * Math.PI / 360), aspect = Math.max(0.2, canvas.clientWidth / Math.max(1, canvas.clientHeight));
    const middle = [base[0], base[1], base[2] + tall * 0.46], far = Math.max(tall * 0.58 / t, wide * 1.12 / (t * aspect)) + wide * 0.35;
    const sides = { south: 0, east: Math.PI / 2, north: Math.PI, west: -Math.PI / 2 };
    if (name === "top") look(middle, far, 0, 1.55);
    else if (name === "close" && chosen) look(chosen.at, 4.5, -0.6, 0.25);
    else if (name === "stand" && chosen?.stand) { /* from the thrower's eyes */
      const s = chosen.stand, d = chosen.at.map((v, i) => v - s[i] - (i === 2 ? 1.6 : 0)), away = Math.hypot(...d);
      look(chosen.at, away, Math.atan2(-d[0], d[1]), Math.asin(Math.max(-1, Math.min(1, -d[2] / away))));
    } else if (name in sides) look(middle, far, sides[name], 0.02);
    else look(middle, far, -0.6, 0.14);
  }
  function zoomBy(factor) {
    const away = camera.position.clone().sub(controls.target), far = Math.min(120, Math.max(0.8, away.length() * factor));
    camera.position.copy(controls.target).addScaledVector(away.normalize(), far);
    controls.update();
    draw();
  }
  function turnBy(across, up) {
    const d = camera.position.clone().sub(controls.target), far = d.length();
    look(controls.target.toArray(), far, Math.atan2(d.x, -d.y) + across, Math.max(-0.4, Math.min(1.55, Math.asin(d.z / far) + up)));
  }
  function moveBy(right, up) {
    const k = camera.position.distanceTo(controls.target) * 0.05, side = new THREE.Vector3().setFromMatrixColumn(camera.matrix, 0).multiplyScalar(right * k);
    side.z += up * k;
    camera.position.add(side);
    controls.target.add(side);
    controls.update();
    draw();
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
  canvas.addEventListener("pointerdown", e => { down = [e.clientX, e.clientY]; });
  canvas.addEventListener("pointerup", e => {
    if (!down || Math.hypot(e.clientX - down[0], e.clientY - down[1]) > 6) return;
    const box = canvas.getBoundingClientRect(), x = e.clientX - box.left, y = e.clientY - box.top, away = a => { const s = screen(a.at); return s ? Math.hypot(s[0] - x, s[1] - y) : 1e9; };
    const nearest = spots.reduce((best, a) => away(a) < away(best) ? a : best, spots[0]);
    if (nearest && away(nearest) < 22) return onPick(nearest.id);
    const i = others.reduce((best, o, k) => best < 0 || away(o) < away(others[best]) ? k : best, -1);
    if (i >= 0 && away(others[i]) < 22) onOther(i);
  });

  /* ---- drawing */
  let waiting = false;
  function frame() {
    waiting = false;
    const w = Math.max(1, canvas.clientWidth), h = Math.max(1, canvas.clientHeight);
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    renderer.setSize(w, h, false);
    camera.aspect = w / h;
    camera.updateProjectionMatrix();
    camera.updateMatrixWorld();
    sun.position.copy(camera.position).add(new THREE.Vector3(-0.45, -0.35, 0.82).multiplyScalar(20));
    sun.target.position.copy(controls.target);
    materials.forEach(m => m.resolution.set(w, h));
    renderer.render(scene, camera);
    placeTags();
  }
  function draw() { if (!waiting) { waiting = true; requestAnimationFrame(frame); } }
  new ResizeObserver(draw).observe(canvas);
  colourWood(null);
  view("home");
  return { choose, setLayer, view, zoomBy, screenOf: id => { frame(); return screen(data.anchors[id].at); }, draw };
}
