/* The report's own small 3-D view: WebGL2, no library. Draws only when something changes. */
"use strict";
function TreeView(canvas, labels, data, onPick) {
  const gl = canvas.getContext("webgl2", { antialias: true, alpha: false, preserveDrawingBuffer: true });
  if (!gl) return null;
  const PAPER = [0.953, 0.937, 0.902], INK = [0.1, 0.16, 0.2];
  const bytes = s => Uint8Array.from(atob(s), c => c.charCodeAt(0));
  const floats = s => new Float32Array(bytes(s).buffer);
  const rgb = h => [1, 3, 5].map(i => parseInt(h.slice(i, i + 2), 16));
  const unpack = p => { if (!p || !p.data) return new Float32Array(0);
    const q = new Uint16Array(bytes(p.data).buffer), o = new Float32Array(q.length);
    for (let i = 0; i < q.length; i++) o[i] = p.low[i % 3] + q[i] * p.step; return o; };

  /* ---- small vector and matrix helpers (column major) */
  const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const norm = a => { const l = Math.hypot(a[0], a[1], a[2]) || 1; return [a[0] / l, a[1] / l, a[2] / l]; };
  const mul = (a, b) => { const o = new Float32Array(16);
    for (let c = 0; c < 4; c++) for (let r = 0; r < 4; r++) { let s = 0; for (let k = 0; k < 4; k++) s += a[k * 4 + r] * b[c * 4 + k]; o[c * 4 + r] = s; } return o; };
  const look = (eye, at, up) => { const f = norm(sub(eye, at)), s = norm(cross(up, f)), u = cross(f, s);
    return new Float32Array([s[0], u[0], f[0], 0, s[1], u[1], f[1], 0, s[2], u[2], f[2], 0, -dot(s, eye), -dot(u, eye), -dot(f, eye), 1]); };
  const lens = (fov, aspect, near, far) => { const t = 1 / Math.tan(fov / 2);
    return new Float32Array([t / aspect, 0, 0, 0, 0, t, 0, 0, 0, 0, (far + near) / (near - far), -1, 0, 0, 2 * far * near / (near - far), 0]); };

  /* ---- programs */
  function program(vs, fs) {
    const p = gl.createProgram();
    for (const [kind, src] of [[gl.VERTEX_SHADER, vs], [gl.FRAGMENT_SHADER, fs]]) {
      const s = gl.createShader(kind); gl.shaderSource(s, "#version 300 es\nprecision highp float;\n" + src); gl.compileShader(s);
      if (!gl.getShaderParameter(s, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(s)); gl.attachShader(p, s);
    }
    gl.linkProgram(p); return p;
  }
  const solid = program(`layout(location=0) in vec3 p; layout(location=1) in vec3 n; layout(location=2) in vec4 c;
    uniform mat4 m; uniform vec3 eye; out vec3 vn; out vec3 ve; out vec4 vc; void main(){ vn=n; ve=eye-p; vc=c; gl_Position=m*vec4(p,1.); }`,
    `in vec3 vn; in vec3 ve; in vec4 vc; out vec4 o; void main(){
      if (vc.a < .5 && mod(floor(gl_FragCoord.x/3.)+floor(gl_FragCoord.y/3.), 2.) > .5) discard;
      vec3 n=normalize(vn), e=normalize(ve); float d=.62+.38*max(dot(n,normalize(vec3(-.45,-.35,.82))),0.);
      float rim=smoothstep(.0,.42,abs(dot(n,e))); o=vec4(vc.rgb*d*mix(.42,1.,rim),1.); }`);
  const dots = program(`layout(location=0) in vec3 p; layout(location=2) in vec4 c; uniform mat4 m; uniform float size; uniform float far; uniform vec3 eye; uniform float lift; out vec4 vc;
    void main(){ gl_Position=m*vec4(p+normalize(eye-p)*lift,1.); gl_PointSize=far>0.?clamp(size*far/gl_Position.w,1.,size*3.):size; vc=c; }`,
    `in vec4 vc; out vec4 o; void main(){ vec2 d=gl_PointCoord-.5; if(dot(d,d)>.25) discard; o=vec4(vc.rgb,1.); }`);
  const thick = program(`layout(location=0) in vec3 a; layout(location=1) in vec3 b; layout(location=2) in vec4 c; layout(location=3) in vec4 k;
    uniform mat4 m; uniform vec2 px; out vec4 vc; out float s; out float dash;
    void main(){ vec4 A=m*vec4(a,1.), B=m*vec4(b,1.); float e=float(gl_VertexID&1), side=float(gl_VertexID>>1)*2.-1.;
      float near=.05; if(A.w<near&&B.w>near) A=mix(A,B,(near-A.w)/(B.w-A.w)); if(B.w<near&&A.w>near) B=mix(B,A,(near-B.w)/(A.w-B.w));
      vec2 d=(B.xy/B.w-A.xy/A.w)*px; float l=length(d); vec2 n=l>0.?vec2(-d.y,d.x)/l:vec2(0.); vec4 P=mix(A,B,e);
      P.xy+=n*side*k.z/px*P.w; P.z-=.0004*P.w; gl_Position=(A.w<near&&B.w<near)?vec4(2.,2.,2.,1.):P; vc=c; s=mix(k.x,k.y,e); dash=k.w; }`,
    `in vec4 vc; in float s; in float dash; out vec4 o; void main(){ if(dash>0.&&fract(s/dash)>.55) discard; o=vec4(vc.rgb,1.); }`);
  const where = (p, n) => gl.getUniformLocation(p, n);

  /* ---- geometry: limbs as tubes */
  const ring = floats(data.wood.rings), counts = data.wood.counts, seen = bytes(data.wood.seen), ringOf = new Int32Array(bytes(data.wood.ringOf).buffer);
  const pos = [], nor = [], ringOfVertex = [], index = [];
  (function build() {
    let r0 = 0;
    for (const count of counts) {
      const P = i => [ring[4 * (r0 + i)], ring[4 * (r0 + i) + 1], ring[4 * (r0 + i) + 2]];
      let big = 0; for (let i = 0; i < count; i++) big = Math.max(big, ring[4 * (r0 + i) + 3]);
      const sides = big > 0.1 ? 12 : big > 0.03 ? 7 : 4;
      let across = null;
      for (let i = 0; i < count; i++) {
        const d = norm(sub(P(Math.min(i + 1, count - 1)), P(Math.max(i - 1, 0))));
        if (!across) across = Math.abs(d[2]) < 0.8 ? [0, 0, 1] : [1, 0, 0];
        const t = dot(across, d); across = norm([across[0] - t * d[0], across[1] - t * d[1], across[2] - t * d[2]]);
        const other = cross(d, across), r = ring[4 * (r0 + i) + 3], c = P(i), v0 = pos.length / 3;
        for (let j = 0; j < sides; j++) {
          const w = 2 * Math.PI * j / sides, x = Math.cos(w), y = Math.sin(w), n = [0, 1, 2].map(q => x * across[q] + y * other[q]);
          pos.push(c[0] + r * n[0], c[1] + r * n[1], c[2] + r * n[2]); nor.push(...n); ringOfVertex.push(r0 + i);
          if (i) { const k = (j + 1) % sides, u = v0 - sides; index.push(u + j, u + k, v0 + k, u + j, v0 + k, v0 + j); }
        }
      }
      r0 += count;
    }
  })();
  const buffer = (target, array, use) => { const b = gl.createBuffer(); gl.bindBuffer(target, b); gl.bufferData(target, array, use || gl.STATIC_DRAW); return b; };
  const attrib = (loc, size, type, normalised, stride, offset, each) => { gl.enableVertexAttribArray(loc); gl.vertexAttribPointer(loc, size, type, normalised, stride, offset); gl.vertexAttribDivisor(loc, each || 0); };
  const woodArray = gl.createVertexArray(); gl.bindVertexArray(woodArray);
  buffer(gl.ARRAY_BUFFER, new Float32Array(pos)); attrib(0, 3, gl.FLOAT, false, 0, 0);
  buffer(gl.ARRAY_BUFFER, new Float32Array(nor)); attrib(1, 3, gl.FLOAT, false, 0, 0);
  const tint = new Uint8Array(ringOfVertex.length * 4), tintBuffer = buffer(gl.ARRAY_BUFFER, tint, gl.DYNAMIC_DRAW); attrib(2, 4, gl.UNSIGNED_BYTE, true, 0, 0);
  buffer(gl.ELEMENT_ARRAY_BUFFER, new Uint32Array(index));
  gl.bindVertexArray(null);
  const shades = data.legend.map(s => rgb(s.colour)), UNLOADED = data.limits.length + 1, UNSEEN = UNLOADED + 1;
  function colourWood(a) {
    const use = new Float32Array(ring.length / 4).fill(-1);
    if (a) a.path.forEach((n, i) => { const r = ringOf[n]; if (r >= 0 && a.use[i] !== null) use[r] = Math.max(use[r], a.use[i]); });
    for (let v = 0; v < ringOfVertex.length; v++) {
      const r = ringOfVertex[v]; let row = UNLOADED;
      if (use[r] >= 0) { row = 0; while (row < data.limits.length && use[r] > data.limits[row]) row++; }
      const hidden = !seen[r]; const c = shades[hidden ? UNSEEN : row];
      tint[4 * v] = c[0]; tint[4 * v + 1] = c[1]; tint[4 * v + 2] = c[2]; tint[4 * v + 3] = hidden ? 0 : 255;
    }
    gl.bindBuffer(gl.ARRAY_BUFFER, tintBuffer); gl.bufferSubData(gl.ARRAY_BUFFER, 0, tint);
  }

  /* ---- geometry: points and lines */
  function cloud(xyz, colour) {
    const n = xyz.length / 3, array = gl.createVertexArray(), c = new Uint8Array(4 * n);
    for (let i = 0; i < n; i++) { const q = typeof colour === "function" ? colour(i) : colour; c.set([q[0], q[1], q[2], 255], 4 * i); }
    gl.bindVertexArray(array); const b = [buffer(gl.ARRAY_BUFFER, xyz)]; attrib(0, 3, gl.FLOAT, false, 0, 0); b.push(buffer(gl.ARRAY_BUFFER, c)); attrib(2, 4, gl.UNSIGNED_BYTE, true, 0, 0);
    gl.bindVertexArray(null); return { array, n, free() { b.forEach(x => gl.deleteBuffer(x)); gl.deleteVertexArray(array); } };
  }
  function lines(list) { /* [{line: flat xyz, colour, width, dash}] */
    const rows = [];
    for (const { line, colour, width, dash } of list) {
      let s = 0;
      for (let i = 3; i < line.length; i += 3) {
        const l = Math.hypot(line[i] - line[i - 3], line[i + 1] - line[i - 2], line[i + 2] - line[i - 1]);
        rows.push([...line.slice(i - 3, i + 3), s, s + l, width, dash || 0, colour]); s += l;
      }
    }
    const f = new Float32Array(rows.length * 11), view = new Uint8Array(f.buffer);
    rows.forEach((r, i) => { f.set(r.slice(0, 10), 11 * i); view.set([...r[10], 255], 44 * i + 40); });
    const array = gl.createVertexArray(); gl.bindVertexArray(array); const b = buffer(gl.ARRAY_BUFFER, f);
    attrib(0, 3, gl.FLOAT, false, 44, 0, 1); attrib(1, 3, gl.FLOAT, false, 44, 12, 1); attrib(3, 4, gl.FLOAT, false, 44, 24, 1); attrib(2, 4, gl.UNSIGNED_BYTE, true, 44, 40, 1);
    gl.bindVertexArray(null); return { array, n: rows.length, free() { gl.deleteBuffer(b); gl.deleteVertexArray(array); } };
  }
  const layer = { points: true, wood: true, rope: true, throw: true, swing: true, work: true, around: true };
  const scan = cloud(unpack(data.points), i => i % 3 ? [128, 146, 128] : [156, 160, 132]);
  const AROUND = { neighbour: [120, 128, 108], building: [150, 118, 104], pole: [90, 90, 96], wire: [40, 40, 44], "ground object": [150, 140, 124], unknown: [139, 146, 152] };
  const around = data.around.map(o => cloud(unpack(o.points), AROUND[o.kind]));
  const g = data.ground, gridList = [], at = (i, j) => [g.x + j * g.step, g.y + i * g.step, g.z[i * g.side + j]];
  for (let i = 0; i < g.side; i += 2) for (const flip of [0, 1]) {
    let run = [];
    for (let j = 0; j < g.side; j++) { const q = flip ? at(j, i) : at(i, j); if (q[2] === null) { if (run.length > 3) gridList.push(run); run = []; } else run.push(...q); }
    if (run.length > 3) gridList.push(run);
  }
  const grid = lines(gridList.map(line => ({ line, colour: [206, 199, 184], width: 0.6 })).concat(data.wires.map(line => ({ line, colour: [30, 30, 30], width: 1.6 }))));
  const places = unpack(data.places);
  const work = cloud(new Float32Array(data.anchors.length ? data.work.flatMap(w => w.at) : []), [60, 60, 60]);
  let chosen = null, chosenLines = null, standing = null, workDots = work;

  /* ---- markers: one per union, the best-ranked first */
  const spots = []; const byUnion = new Map();
  data.anchors.forEach(a => { if (!byUnion.has(a.union)) { byUnion.set(a.union, a); spots.push(a); } });
  const buttons = spots.map((a, i) => {
    if (!(a.usable && i < 9)) return null;
    const b = document.createElement("button"); b.type = "button"; b.className = "tag"; b.dataset.id = a.id;
    b.innerHTML = `<b>${a.rank}</b> ${a.label}`; b.setAttribute("aria-label", `${a.rank} ${a.label}, ${a.height.toFixed(1)} metres up: show this candidate`);
    b.addEventListener("click", e => { e.stopPropagation(); onPick(a.id); }); labels.appendChild(b); return b;
  });
  const marks = cloud(new Float32Array(spots.flatMap(a => a.at)), i => spots[i].usable ? [16, 50, 77] : [120, 112, 98]);

  /* ---- camera */
  const base = data.base, tall = Math.max(2, data.top - base[2]), FOV = 0.66;
  let wide = 2; for (let i = 0; i < ring.length; i += 4) wide = Math.max(wide, Math.abs(ring[i] - base[0]), Math.abs(ring[i + 1] - base[1]));
  const home = () => { const t = Math.tan(FOV / 2), aspect = Math.max(0.2, canvas.clientWidth / Math.max(1, canvas.clientHeight));
    return { at: [base[0], base[1], base[2] + tall * 0.46], far: Math.max(tall * 0.58 / t, wide * 1.12 / (t * aspect)) + wide * 0.35, turn: -0.6, tip: 0.14 }; };
  let cam = home(), matrix = null, eye = null, waiting = false;
  function frame() {
    waiting = false;
    const dpr = Math.min(window.devicePixelRatio || 1, 2), w = Math.max(1, Math.round(canvas.clientWidth * dpr)), h = Math.max(1, Math.round(canvas.clientHeight * dpr));
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    const c = Math.cos(cam.tip), far = cam.far;
    eye = [cam.at[0] + far * c * Math.sin(cam.turn), cam.at[1] - far * c * Math.cos(cam.turn), cam.at[2] + far * Math.sin(cam.tip)];
    matrix = mul(lens(FOV, w / h, 0.1, far + 150), look(eye, cam.at, [0, 0, 1]));
    gl.viewport(0, 0, w, h); gl.clearColor(...PAPER, 1); gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT); gl.enable(gl.DEPTH_TEST);
    const drawDots = (o, size, f, lift) => { if (!o || !o.n) return; gl.useProgram(dots); gl.uniformMatrix4fv(where(dots, "m"), false, matrix); gl.uniform1f(where(dots, "size"), size * dpr); gl.uniform1f(where(dots, "far"), f || 0); gl.uniform3fv(where(dots, "eye"), eye); gl.uniform1f(where(dots, "lift"), lift || 0);
      gl.bindVertexArray(o.array); gl.drawArrays(gl.POINTS, 0, o.n); };
    const drawLines = o => { if (!o || !o.n) return; gl.useProgram(thick); gl.uniformMatrix4fv(where(thick, "m"), false, matrix); gl.uniform2f(where(thick, "px"), w / dpr, h / dpr);
      gl.bindVertexArray(o.array); gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, o.n); };
    drawLines(grid);
    if (layer.wood) { gl.useProgram(solid); gl.uniformMatrix4fv(where(solid, "m"), false, matrix); gl.uniform3fv(where(solid, "eye"), eye); gl.bindVertexArray(woodArray); gl.drawElements(gl.TRIANGLES, index.length, gl.UNSIGNED_INT, 0); }
    if (layer.points) drawDots(scan, 1.1, cam.far);
    if (layer.around) around.forEach(o => drawDots(o, 2.2, cam.far));
    if (layer.throw) drawDots(standing, 6);
    if (layer.work) drawDots(workDots, data.work.length > 80 ? 3.2 : 6, 0, 0.25);
    drawLines(chosenLines);
    gl.disable(gl.DEPTH_TEST); drawDots(marks, 7);
    gl.bindVertexArray(null);
    placeTags();
  }
  const draw = () => { if (!waiting) { waiting = true; requestAnimationFrame(frame); } };
  function screen(p) {
    const q = [0, 1, 2, 3].map(r => matrix[r] * p[0] + matrix[4 + r] * p[1] + matrix[8 + r] * p[2] + matrix[12 + r]);
    return q[3] <= 0.1 ? null : [(q[0] / q[3] + 1) / 2 * canvas.clientWidth, (1 - q[1] / q[3]) / 2 * canvas.clientHeight, q[3]];
  }
  function placeTags() { /* tags keep clear of each other by moving up or down beside their union */
    const taken = [], W = canvas.clientWidth, H = canvas.clientHeight;
    spots.map((a, i) => [a, buttons[i], screen(a.at)]).filter(t => t[1]).sort((s, t) => (t[0].union === (chosen || {}).union) - (s[0].union === (chosen || {}).union) || s[0].rank - t[0].rank).forEach(([a, b, s]) => {
      const on = chosen && a.union === chosen.union; b.classList.toggle("on", !!on); b.setAttribute("aria-pressed", on ? "true" : "false");
      if (!s || s[0] < 0 || s[1] < 0 || s[0] > W || s[1] > H) { b.style.display = "none"; return; }
      b.style.display = ""; const w = b.offsetWidth || 60, h = b.offsetHeight || 24; let best = null;
      for (const [dx, dy] of [[12, 0], [-12 - w, 0], [12, -26], [-12 - w, -26], [12, 26], [-12 - w, 26], [12, -52], [-12 - w, -52], [12, 52]]) {
        const x = s[0] + dx, y = s[1] + dy - h / 2;
        if (x >= 0 && x + w <= W && y >= 0 && y + h <= H && !taken.some(t => x < t[0] + t[2] && t[0] < x + w && y < t[1] + t[3] && t[1] < y + h)) { best = [x, y]; break; }
      }
      if (!best) { b.style.display = on ? "" : "none"; best = [s[0] + 12, s[1] - h / 2]; }
      taken.push([best[0], best[1], w, h]); b.style.transform = `translate(${best[0].toFixed(1)}px,${best[1].toFixed(1)}px)`;
    });
  }

  /* ---- what belongs to the chosen candidate */
  function choose(id) {
    chosen = data.anchors[id] || null; colourWood(chosen);
    if (chosenLines) chosenLines.free(); if (standing) standing.free(); chosenLines = standing = null;
    if (workDots !== work) { workDots.free(); workDots = work; }
    if (chosen) rebuild();
    draw();
  }
  function rebuild() {
    const a = chosen, list = [];
    if (layer.rope && a.rope.length) list.push({ line: a.rope, colour: [22, 18, 12], width: 2.2 });
    if (layer.throw && a.throw) list.push({ line: a.throw, colour: [176, 78, 12], width: 1.7 }, { line: [...a.stand, a.stand[0], a.stand[1], a.stand[2] + 1.7], colour: [176, 78, 12], width: 4 });
    if (layer.swing && a.swing.length) list.push({ line: a.swing, colour: [20, 20, 20], width: 1.6, dash: 0.6 }, { line: [...a.rest, ...a.swing.slice(0, 3)], colour: [20, 20, 20], width: 0.8, dash: 0.3 });
    if (chosenLines) chosenLines.free(); chosenLines = lines(list);
    if (standing) standing.free(); standing = null;
    if (a.chance) { const c = bytes(a.chance), top = Math.max(1, ...c); standing = cloud(places, i => { const k = Math.sqrt(c[i] / top); return [218 - 189 * k, 211 - 119 * k, 198 - 55 * k]; }); }
    workDots = cloud(new Float32Array(data.work.flatMap(w => w.at)), i => a.served[i] ? [29, 92, 143] : [84, 76, 64]);
  }
  function setLayer(name, on) { layer[name] = on; if (chosen) rebuild(); draw(); }

  /* ---- hands: mouse, touch, keyboard */
  const turnBy = (dx, dy) => { cam.turn -= dx; cam.tip = Math.min(1.5, Math.max(-0.45, cam.tip + dy)); draw(); };
  const moveBy = (dx, dy) => { const k = cam.far / canvas.clientHeight * 0.7, s = Math.sin(cam.turn), c = Math.cos(cam.turn); cam.at = [cam.at[0] - dx * k * c, cam.at[1] - dx * k * s, cam.at[2] + dy * k]; draw(); };
  const zoomBy = f => { cam.far = Math.min(120, Math.max(0.8, cam.far * f)); draw(); };
  const fingers = new Map(); let moved = 0, pinch = 0;
  canvas.addEventListener("pointerdown", e => { canvas.setPointerCapture(e.pointerId); fingers.set(e.pointerId, [e.clientX, e.clientY]); moved = 0; pinch = 0; });
  canvas.addEventListener("pointermove", e => {
    const was = fingers.get(e.pointerId); if (!was) return;
    const dx = e.clientX - was[0], dy = e.clientY - was[1]; moved += Math.abs(dx) + Math.abs(dy); fingers.set(e.pointerId, [e.clientX, e.clientY]);
    if (fingers.size === 2) { const [p, q] = [...fingers.values()], gap = Math.hypot(p[0] - q[0], p[1] - q[1]); if (pinch) zoomBy(pinch / Math.max(gap, 1)); pinch = gap; moveBy(dx / 2, dy / 2); }
    else if (e.shiftKey || e.buttons & 2 || e.buttons & 4) moveBy(dx, dy); else turnBy(dx * 0.008, dy * 0.006);
  });
  const lift = e => { if (fingers.delete(e.pointerId) && e.type === "pointerup" && moved < 6 && fingers.size === 0) pick(e); };
  canvas.addEventListener("pointerup", lift); canvas.addEventListener("pointercancel", lift);
  canvas.addEventListener("contextmenu", e => e.preventDefault());
  canvas.addEventListener("wheel", e => { if (!e.ctrlKey && document.activeElement !== canvas && !canvas.matches(":hover:focus")) { if (!canvas.dataset.live) return; } e.preventDefault(); zoomBy(Math.exp(e.deltaY * 0.0012)); }, { passive: false });
  canvas.addEventListener("pointerdown", () => { canvas.dataset.live = "1"; canvas.focus({ preventScroll: true }); });
  canvas.addEventListener("blur", () => { delete canvas.dataset.live; });
  function pick(e) {
    const box = canvas.getBoundingClientRect(), x = e.clientX - box.left, y = e.clientY - box.top; let best = null;
    spots.forEach(a => { const s = screen(a.at); if (!s) return; const d = Math.hypot(s[0] - x, s[1] - y); if (d < 22 && (!best || d < best[1])) best = [a, d]; });
    if (best) onPick(best[0].id);
  }
  canvas.addEventListener("keydown", e => {
    const k = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    if (k) { e.shiftKey ? moveBy(-k[0] * 24, -k[1] * 24) : turnBy(k[0] * 0.09, -k[1] * 0.07); }
    else if (e.key === "+" || e.key === "=") zoomBy(0.87); else if (e.key === "-") zoomBy(1.15); else if (e.key === "0") { cam = home(); draw(); }
    else return; e.preventDefault();
  });
  new ResizeObserver(draw).observe(canvas);
  function view(name) {
    const h = home();
    if (name === "top") Object.assign(h, { tip: 1.5, turn: 0 });
    else if (name === "stand" && chosen && chosen.stand) { /* look at the union from the thrower's eyes */
      const s = chosen.stand, d = sub(chosen.at, [s[0], s[1], s[2] + 1.6]); h.at = chosen.at.slice(); h.far = Math.hypot(...d); h.turn = Math.atan2(-d[0], d[1]); h.tip = Math.asin(Math.max(-1, Math.min(1, -d[2] / h.far))); }
    else if (name === "close" && chosen) Object.assign(h, { at: chosen.at.slice(), far: 4.5, turn: cam.turn, tip: 0.25 });
    else if (name in { north: 1, east: 1, south: 1, west: 1 }) Object.assign(h, { tip: 0.02, turn: { south: 0, east: Math.PI / 2, north: Math.PI, west: -Math.PI / 2 }[name] });
    cam = h; draw();
  }
  colourWood(null); draw();
  return { choose, setLayer, view, zoomBy, screenOf: id => { frame(); return screen(data.anchors[id].at); }, draw };
}
