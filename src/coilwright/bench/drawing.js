// @ts-check
// The section through the axis, drawn to scale and mirrored: canvas below for field pictures and flux lines, SVG above
// for outlines that can be dragged. Lengths are millimetres; z points up. One question is under way at a time, the
// newest is remembered, an answer to an older one is dropped.

/**
 * @typedef {{id: string, kind: "body" | "film" | "turn" | "point", name: string, role?: string, material?: string,
 *   loops?: number[][][], at?: number[]}} Item
 * @typedef {{text: string, names: string, from: number[], to: number[]}} Gap
 * @typedef {{items: Item[], frame: number[], gaps: Gap[], moves: Record<string, string[]>}} Drawing
 * @typedef {{quantity: string, unit: string, low: number, high: number, values?: string, counts?: number[],
 *   shifts?: number[], corners?: string, time_s?: number[], frames?: string[]}} Layer
 * @typedef {{size: number[], box: number[], values: string}} Lines
 * @typedef {{seq: number, loss?: Layer, lines?: Lines, refused?: {where: string, what: string}[]}} Answer
 * @typedef {{layer: "loss" | "temperature" | "none", lines: boolean, sizes: boolean, snap: number}} Settings
 * @typedef {{id: string, right: number, up: number}} Move
 */

const SVG = "http://www.w3.org/2000/svg";
const LEVELS = 15;
/** @type {[number, number, number][]} which side of the axis, in drawing order */
const SIDES = [
  [1, 0, 0],
  [-1, 0, 0],
];

/** @param {string} text @returns {Uint8Array} */
function bytes(text) {
  const raw = atob(text);
  const out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out;
}

/**
 * @param {string} tag @param {Record<string, string | number>} [attributes] @param {Element | null} [parent]
 * @returns {SVGElement}
 */
function node(tag, attributes = {}, parent = null) {
  const element = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  if (parent) parent.appendChild(element);
  return element;
}

/** @param {number} span @returns {number} a round step of a scale bar, about a quarter of `span` */
function roundStep(span) {
  const rough = span / 4;
  const power = 10 ** Math.floor(Math.log10(rough));
  const lead = rough / power;
  return (lead >= 5 ? 5 : lead >= 2 ? 2 : 1) * power;
}

export class Sheet {
  /**
   * @param {HTMLElement} root @param {(name: string, value: unknown) => void} emit
   */
  constructor(root, emit) {
    this.root = root;
    this.emit = emit;
    /** @type {Drawing} */
    this.drawing = { items: [], frame: [10, -10, 10], gaps: [], moves: {} };
    /** @type {Settings} */
    this.settings = { layer: "loss", lines: true, sizes: false, snap: 0.25 };
    /** @type {Record<string, number[][]>} colour tables by layer */
    this.colours = {};
    /** @type {Layer | null} */
    this.loss = null;
    /** @type {Layer | null} */
    this.play = null;
    /** @type {Lines | null} */
    this.lines = null;
    this.frameAt = 0;
    this.selected = "";
    this.scale = 10;
    this.centre = [0, 0];
    this.zoom = 1;
    this.pan = [0, 0];
    this.seq = 0;
    this.inFlight = 0;
    this.sentAt = 0;
    /** @type {Move | null} */
    this.newest = null;
    /** @type {Move | null} */
    this.dragging = null;
    /** @type {number[]} milliseconds from question to painted answer */
    this.delays = [];
    this.restTimer = 0;
    this.live = false;
    this.canvas = document.createElement("canvas");
    this.canvas.setAttribute("aria-hidden", "true");
    this.svg = /** @type {SVGSVGElement} */ (node("svg", { role: "group", "aria-label": "Section through the axis" }));
    this.note = document.createElement("div");
    this.note.className = "sheet-note";
    this.note.setAttribute("role", "status");
    this.key = document.createElement("div");
    this.key.className = "sheet-key";
    root.append(this.canvas, this.svg, this.key, this.note);
    /** @type {Path2D[]} */
    this.paths = [];
    /** @type {{body: number, path: Path2D}[]} */
    this.lossPaths = [];
    this.playPaths = /** @type {Path2D[]} */ ([]);
    this.observer = new ResizeObserver(() => this.layout());
    this.observer.observe(root);
    this.background();
  }

  close() {
    this.observer.disconnect();
    clearTimeout(this.restTimer);
  }

  // ---- what the server says
  /** @param {Drawing} drawing */
  show(drawing) {
    const first = this.drawing.items.length === 0;
    this.drawing = drawing;
    this.live = true;
    if (!this.dragging) {
      if (first) this.zoom = 1;
      this.layout();
    }
  }

  /** @param {Record<string, number[][]>} colours */
  setColours(colours) {
    this.colours = colours;
    this.paint();
  }

  /** @param {Partial<Settings>} settings */
  set(settings) {
    Object.assign(this.settings, settings);
    this.render();
    this.paint();
  }

  /** @param {string} id */
  select(id) {
    this.selected = id;
    for (const g of this.svg.querySelectorAll("[data-id]")) {
      g.classList.toggle("chosen", g.getAttribute("data-id") === id);
    }
  }

  /** @param {Answer} answer */
  answer(answer) {
    if (answer.seq < this.inFlight) return;
    this.inFlight = 0;
    if (answer.refused) {
      this.say(answer.refused.map((f) => (f.where ? `${f.where}: ${f.what}` : f.what)).join(" "), true);
      this.root.classList.add("refused");
    } else {
      this.root.classList.remove("refused");
      if (this.dragging) this.say(this.placeText(this.dragging), false);
      else this.say("", false);
      if (answer.loss) this.take(answer.loss);
      if (answer.lines) this.lines = answer.lines;
      this.paint();
    }
    if (this.sentAt) {
      const begun = this.sentAt;
      this.sentAt = 0;
      requestAnimationFrame(() => {
        this.delays.push(performance.now() - begun);
        if (this.delays.length > 1000) this.delays.shift();
      });
    }
    if (this.newest) {
      const move = this.newest;
      this.newest = null;
      this.ask(move);
    }
  }

  /** @param {Layer} layer a new one brings its corners, a later one only values */
  take(layer) {
    if (layer.corners) this.lossPaths = this.pathsOf(layer);
    else if (this.loss) layer.corners = this.loss.corners;
    this.loss = layer;
  }

  /** @param {Layer | null} layer */
  film(layer) {
    this.play = layer;
    this.playPaths = layer ? this.pathsOf(layer).map((p) => p.path) : [];
    this.paint();
  }

  /** @param {number} index */
  frame(index) {
    this.frameAt = index;
    this.paint();
  }

  /** @param {string} text @param {boolean} bad */
  say(text, bad) {
    this.note.textContent = text;
    this.note.classList.toggle("bad", bad);
  }

  // ---- geometry
  layout() {
    const box = this.root.getBoundingClientRect();
    const ratio = window.devicePixelRatio || 1;
    const [w, h] = [Math.max(box.width, 50), Math.max(box.height, 50)];
    this.canvas.width = Math.round(w * ratio);
    this.canvas.height = Math.round(h * ratio);
    this.canvas.style.width = `${w}px`;
    this.canvas.style.height = `${h}px`;
    const [r, low, high] = this.drawing.frame;
    this.fit = Math.min(w / (2 * r), h / (high - low));
    this.scale = this.fit * this.zoom;
    this.centre = [this.pan[0], 0.5 * (low + high) + this.pan[1]];
    const [mw, mh] = [w / this.scale, h / this.scale];
    this.svg.setAttribute("viewBox", `${this.centre[0] - mw / 2} ${-this.centre[1] - mh / 2} ${mw} ${mh}`);
    this.view = [w, h, ratio];
    this.render();
    this.paint();
  }

  /** @param {PointerEvent | WheelEvent} event @returns {number[]} r, z in mm */
  place(event) {
    const matrix = this.svg.getScreenCTM();
    if (!matrix) return [0, 0];
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
    return [p.x, -p.y];
  }

  // ---- the SVG
  render() {
    const focused = document.activeElement?.getAttribute?.("data-id");
    this.svg.replaceChildren();
    const px = 1 / this.scale;
    const [, low, high] = this.drawing.frame;
    node("line", { x1: 0, x2: 0, y1: -high - 500, y2: -low + 500, class: "axis" }, this.svg);
    for (const item of this.drawing.items) this.renderItem(item, px);
    if (this.settings.sizes) this.renderSizes(px);
    this.renderScale(px);
    if (focused) /** @type {SVGElement | null} */ (this.find(focused))?.focus();
  }

  /** @param {string} id @returns {Element | undefined} */
  find(id) {
    return [...this.svg.querySelectorAll("[data-id]")].find((g) => g.getAttribute("data-id") === id);
  }

  /** @param {Item} item @param {number} px */
  renderItem(item, px) {
    const ways = this.drawing.moves[item.id] || [];
    const can = ways.length ? `; arrow keys move it ${ways.length > 1 ? "along and across" : "along"} the axis` : "";
    const g = node("g", { "data-id": item.id, class: `item ${item.kind} ${item.role || ""}`, tabindex: 0 }, this.svg);
    g.setAttribute("role", "button");
    g.setAttribute("aria-label", `${item.name}${can}`);
    if (item.id === this.selected) g.classList.add("chosen");
    for (const [side] of SIDES) {
      const half = node("g", { transform: `scale(${side} -1)`, "data-side": side }, g);
      if (item.kind === "point" && item.at) {
        const [x, z] = item.at;
        node("path", { d: `M${x - 5 * px} ${z}H${x + 5 * px}M${x} ${z - 5 * px}V${z + 5 * px}`, class: "cross" }, half);
        node("circle", { cx: x, cy: z, r: 9 * px, class: "grip" }, half);
      } else if (item.loops) {
        const closed = item.kind === "film" ? "" : "Z";
        const d = item.loops.map((l) => "M" + l.map((p) => `${p[0]} ${p[1]}`).join("L") + closed).join("");
        node("path", { d, class: "fill", "fill-rule": "evenodd" }, half);
        node("path", { d: item.loops.map((l) => edge(l, closed)).join(""), class: "shape" }, half);
      }
    }
    if (item.kind === "turn" && item.loops) {
      const number = item.id.split(":")[1];
      const [cx, cz] = middle(item.loops[0]);
      const text = node("text", { x: -cx, y: -cz, class: "number", "font-size": 11 * px }, g);
      text.textContent = number;
    }
    const title = node("title", {}, g);
    title.textContent = item.material ? `${item.name}, ${item.material}` : item.name;
    g.addEventListener("pointerdown", (e) => this.grab(/** @type {PointerEvent} */ (e), item));
    g.addEventListener("keydown", (e) => this.keyed(/** @type {KeyboardEvent} */ (e), item));
    g.addEventListener("focus", () => {
      if (this.selected !== item.id) this.emit("pick", { id: item.id });
      this.select(item.id);
    });
  }

  /** Names, diameters and heights left of the drawing, gaps in it. @param {number} px */
  renderSizes(px) {
    const layer = node("g", { class: "sizes", "aria-hidden": "true" }, this.svg);
    /** @type {number[][]} */
    const taken = [];
    for (const gap of this.drawing.gaps) {
      const [[r0, z0], [r1, z1]] = [gap.from, gap.to];
      const place = [0.5 * (r0 + r1), 0.5 * (z0 + z1)];
      if (taken.some((t) => Math.abs(t[0] - place[0]) < 40 * px && Math.abs(t[1] - place[1]) < 13 * px)) continue;
      taken.push(place);
      node("line", { x1: r0, y1: -z0, x2: r1, y2: -z1, class: "gap" }, layer);
      const text = node("text", { x: 0.5 * (r0 + r1) + 6 * px, y: -0.5 * (z0 + z1) - 4 * px, class: "gaptext" }, layer);
      text.setAttribute("font-size", String(12 * px));
      text.textContent = gap.text;
    }
    const labels = [];
    for (const item of this.drawing.items) {
      if (!item.loops || item.kind === "turn") continue;
      const loop = item.loops[0];
      const rs = loop.map((p) => p[0]);
      const zs = loop.map((p) => p[1]);
      const [rr, tall] = [Math.max(...rs), Math.max(...zs) - Math.min(...zs)];
      const far = loop[rs.indexOf(rr)];
      labels.push({ z: far[1], r: rr, text: `${item.name}  Ø ${short(2 * rr)} × ${short(tall)}` });
    }
    labels.sort((a, b) => b.z - a.z);
    const left = this.centre[0] - (this.view ? this.view[0] : 0) / 2 / this.scale + 10 * px;
    const half = (this.view ? this.view[1] : 0) / 2 / this.scale;
    const crowded = labels.some((l) => left + 7.5 * px * l.text.length > -l.r);
    let at = crowded ? this.centre[1] + half - 8 * px : Infinity; // no room beside the bodies: above them
    for (const label of labels) {
      at = crowded ? at - 18 * px : Math.min(label.z, at - 18 * px);
      const text = node("text", { x: left, y: -at + 4 * px, class: "sizetext", "font-size": 12 * px }, layer);
      text.textContent = label.text;
      const end = left + 7 * px * label.text.length;
      if (crowded) node("line", { x1: left + 4 * px, y1: -at + 8 * px, x2: -0.97 * label.r, y2: -label.z, class: "leader" }, layer);
      else if (end < -label.r) node("line", { x1: end, y1: -at, x2: -label.r, y2: -label.z, class: "leader" }, layer);
    }
  }

  /** @param {number} px */
  renderScale(px) {
    if (!this.view) return;
    const [w, h] = this.view;
    const step = roundStep(w / this.scale);
    const x = this.centre[0] + w / 2 / this.scale - step - 14 * px;
    const y = -this.centre[1] + h / 2 / this.scale - 14 * px;
    const g = node("g", { class: "scale", "aria-hidden": "true" }, this.svg);
    node("path", { d: `M${x} ${y - 4 * px}V${y}H${x + step}V${y - 4 * px}` }, g);
    const text = node("text", { x: x + step / 2, y: y - 7 * px, "font-size": 12 * px, "text-anchor": "middle" }, g);
    text.textContent = `${short(step)} mm`;
  }

  // ---- the hand
  background() {
    /** @type {{at: number[], pan: number[], id: number} | null} */
    let held = null;
    this.svg.addEventListener("pointerdown", (e) => {
      if (e.target !== this.svg) return;
      held = { at: [e.clientX, e.clientY], pan: [...this.pan], id: e.pointerId };
      this.svg.setPointerCapture(e.pointerId);
      this.emit("pick", { id: "" });
      this.select("");
    });
    this.svg.addEventListener("pointermove", (e) => {
      if (!held) return;
      this.pan = [held.pan[0] - (e.clientX - held.at[0]) / this.scale, held.pan[1] + (e.clientY - held.at[1]) / this.scale];
      this.layout();
    });
    const release = () => (held = null);
    this.svg.addEventListener("pointerup", release);
    this.svg.addEventListener("pointercancel", release);
    this.svg.addEventListener(
      "wheel",
      (e) => {
        if (!e.ctrlKey && !e.metaKey && !e.altKey) return;
        e.preventDefault();
        this.closer(e.deltaY < 0 ? 1.15 : 1 / 1.15, this.place(e));
      },
      { passive: false },
    );
  }

  /** @param {number} factor @param {number[]} [about] r, z that stays where it is */
  closer(factor, about) {
    const before = this.zoom;
    this.zoom = Math.min(Math.max(this.zoom * factor, 0.3), 40);
    const [x, z] = about || this.centre;
    const real = this.zoom / before;
    const middleZ = this.centre[1] - this.pan[1];
    this.pan = [x + (this.centre[0] - x) / real, z + (this.centre[1] - z) / real - middleZ];
    this.layout();
  }

  whole() {
    this.zoom = 1;
    this.pan = [0, 0];
    this.layout();
  }

  /** @param {PointerEvent} event @param {Item} item */
  grab(event, item) {
    if (event.button !== 0) return;
    event.preventDefault();
    event.stopPropagation();
    const g = /** @type {SVGElement} */ (this.find(item.id));
    g.focus();
    const id = event.shiftKey && item.kind === "turn" ? "winding:" : item.id;
    const ways = this.drawing.moves[id] || [];
    if (!this.live) {
      this.say("not connected yet: wait a moment", true);
      return;
    }
    if (!ways.length) return;
    const start = this.place(event);
    const side = start[0] < 0 ? -1 : 1;
    this.svg.setPointerCapture(event.pointerId);
    /** @param {PointerEvent} e */
    const follow = (e) => {
      const now = this.place(e);
      let right = ways.includes("r") ? side * (now[0] - start[0]) : 0;
      let up = ways.includes("z") ? now[1] - start[1] : 0;
      if (ways.includes("r") && ways.includes("z") && !e.altKey) {
        if (Math.abs(up) >= Math.abs(right)) right = 0;
        else up = 0;
      }
      this.moveTo({ id, right: this.snapped(right), up: this.snapped(up) });
    };
    /** @param {PointerEvent} e */
    const drop = (e) => {
      this.svg.removeEventListener("pointermove", follow);
      this.svg.removeEventListener("pointerup", drop);
      this.svg.removeEventListener("pointercancel", cancel);
      window.removeEventListener("keydown", escape);
      const move = this.dragging;
      this.dragging = null;
      this.newest = null;
      if (move && (move.right || move.up) && e.type === "pointerup") this.emit("dropped", { ...move });
      else this.cancelled();
    };
    const cancel = drop;
    /** @param {KeyboardEvent} e */
    const escape = (e) => {
      if (e.key !== "Escape") return;
      drop(/** @type {any} */ ({ type: "pointercancel" }));
    };
    this.svg.addEventListener("pointermove", follow);
    this.svg.addEventListener("pointerup", drop);
    this.svg.addEventListener("pointercancel", cancel);
    window.addEventListener("keydown", escape);
  }

  cancelled() {
    this.shift(null);
    this.root.classList.remove("refused");
    this.say("", false);
    this.emit("cancelled", {});
  }

  /** @param {number} mm @returns {number} */
  snapped(mm) {
    const s = this.settings.snap;
    return s > 0 ? Math.round(mm / s) * s : Math.round(mm * 1000) / 1000;
  }

  /** @param {Move} move */
  moveTo(move) {
    const last = this.dragging;
    if (last && last.right === move.right && last.up === move.up) return;
    this.dragging = move;
    this.shift(move);
    if (!this.root.classList.contains("refused")) this.say(this.placeText(move), false);
    this.ask(move);
  }

  /** @param {Move} move @returns {string} */
  placeText(move) {
    const parts = [];
    if (move.up) parts.push(`${move.up > 0 ? "up" : "down"} ${short(Math.abs(move.up))} mm`);
    if (move.right) parts.push(`${move.right > 0 ? "out" : "in"} ${short(Math.abs(move.right))} mm`);
    return parts.join(", ") || "where it was";
  }

  /** Draw the items that the hand holds where it holds them. @param {Move | null} move */
  shift(move) {
    const held = move ? this.together(move.id) : [];
    for (const g of this.svg.querySelectorAll("[data-id]")) {
      const on = held.includes(g.getAttribute("data-id") || "");
      for (const half of g.querySelectorAll("[data-side]")) {
        const side = half.getAttribute("data-side");
        const by = on && move ? ` translate(${move.right} ${move.up})` : "";
        half.setAttribute("transform", `scale(${side} -1)${by}`);
      }
      const number = g.querySelector("text.number");
      if (number) number.setAttribute("transform", on && move ? `translate(${-move.right} ${-move.up})` : "");
      g.classList.toggle("held", on);
    }
  }

  /** @param {string} id @returns {string[]} everything that moves with it */
  together(id) {
    const ways = this.drawing.moves[id] || [];
    if (!ways.includes("all")) return [id];
    return this.drawing.items.filter((i) => i.kind === "turn").map((i) => i.id);
  }

  /** @param {KeyboardEvent} event @param {Item} item */
  keyed(event, item) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const ways = this.drawing.moves[item.id] || [];
    const step = (this.settings.snap || 0.05) * (event.shiftKey ? 10 : 1);
    /** @type {Record<string, number[]>} */
    const steps = { ArrowUp: [0, step], ArrowDown: [0, -step], ArrowRight: [step, 0], ArrowLeft: [-step, 0] };
    const by = steps[event.key];
    if (!by) return;
    event.preventDefault();
    if ((by[0] && !ways.includes("r")) || (by[1] && !ways.includes("z"))) return;
    this.emit("dropped", { id: item.id, right: by[0], up: by[1] });
  }

  /** @param {Move} move */
  ask(move) {
    if (this.inFlight && performance.now() - this.sentAt < 5000) {
      this.newest = move;
      return;
    }
    this.inFlight = ++this.seq;
    this.sentAt = performance.now();
    this.emit("moved", { ...move, seq: this.inFlight });
  }

  // ---- the canvas
  /** @param {Layer} layer @returns {{body: number, path: Path2D}[]} */
  pathsOf(layer) {
    const raw = bytes(layer.corners || "");
    const corners = new Float32Array(raw.buffer, raw.byteOffset, raw.byteLength / 4);
    const counts = layer.counts || [corners.length / 8];
    const out = [];
    let k = 0;
    for (let body = 0; body < counts.length; body++) {
      for (let n = 0; n < counts[body]; n++, k += 8) {
        const path = new Path2D();
        path.moveTo(corners[k], corners[k + 1]);
        for (let c = 2; c < 8; c += 2) path.lineTo(corners[k + c], corners[k + c + 1]);
        path.closePath();
        out.push({ body, path });
      }
    }
    return out;
  }

  paint() {
    if (!this.view) return;
    const context = this.canvas.getContext("2d");
    if (!context) return;
    const [w, h, ratio] = this.view;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, this.canvas.width, this.canvas.height);
    const layer = this.settings.layer === "temperature" ? this.play : this.settings.layer === "loss" ? this.loss : null;
    const s = this.scale * ratio;
    for (const [side] of SIDES) {
      context.setTransform(
        side * s, 0, 0, -s,
        ratio * (w / 2 - this.centre[0] * this.scale), ratio * (h / 2 + this.centre[1] * this.scale),
      ); // prettier-ignore
      if (layer) this.paintLayer(context, layer);
      if (this.settings.lines && this.lines && this.settings.layer !== "temperature") this.paintLines(context, this.lines);
    }
    this.paintKey(layer);
  }

  /** @param {CanvasRenderingContext2D} context @param {Layer} layer */
  paintLayer(context, layer) {
    const table = this.colours[this.settings.layer];
    const values = layer.frames ? layer.frames[Math.min(this.frameAt, layer.frames.length - 1)] : layer.values;
    if (!table || !values) return;
    const v = bytes(values);
    const still = this.playPaths;
    context.lineWidth = 0.8 / this.scale;
    for (let k = 0; k < v.length; k++) {
      const [r, g, b] = table[v[k]];
      context.fillStyle = context.strokeStyle = `rgb(${r} ${g} ${b})`;
      if (layer.frames) {
        context.fill(still[k]);
        context.stroke(still[k]);
      } else {
        const part = this.lossPaths[k];
        const up = layer.shifts ? layer.shifts[part.body] : 0;
        if (up) context.translate(0, up);
        context.fill(part.path);
        context.stroke(part.path);
        if (up) context.translate(0, -up);
      }
    }
  }

  /** Level lines of the flux function, denser where it is strong. @param {CanvasRenderingContext2D} context @param {Lines} lines */
  paintLines(context, lines) {
    const raw = bytes(lines.values);
    const f = new Uint16Array(raw.buffer, raw.byteOffset, raw.byteLength / 2);
    const [nr, nz] = lines.size;
    const [r0, r1, z0, z1] = lines.box;
    const [dr, dz] = [(r1 - r0) / (nr - 1), (z1 - z0) / (nz - 1)];
    context.strokeStyle = getComputedStyle(this.root).getPropertyValue("--current");
    context.globalAlpha = 0.65;
    context.lineWidth = 1 / this.scale;
    context.beginPath();
    for (let n = 0; n < LEVELS; n++) {
      const share = 0.12 + (0.86 * n) / (LEVELS - 1);
      const level = 65535 * share * share;
      for (let j = 0; j < nz - 1; j++) {
        for (let i = 0; i < nr - 1; i++) {
          const a = f[j * nr + i] - level;
          const b = f[j * nr + i + 1] - level;
          const c = f[(j + 1) * nr + i + 1] - level;
          const d = f[(j + 1) * nr + i] - level;
          /** @type {number[]} */
          const cut = [];
          if (a > 0 !== b > 0) cut.push(i + a / (a - b), j);
          if (b > 0 !== c > 0) cut.push(i + 1, j + b / (b - c));
          if (d > 0 !== c > 0) cut.push(i + d / (d - c), j + 1);
          if (a > 0 !== d > 0) cut.push(i, j + a / (a - d));
          for (let k = 0; k + 3 < cut.length; k += 4) {
            context.moveTo(r0 + cut[k] * dr, z0 + cut[k + 1] * dz);
            context.lineTo(r0 + cut[k + 2] * dr, z0 + cut[k + 3] * dz);
          }
        }
      }
    }
    context.stroke();
    context.globalAlpha = 1;
  }

  /** @param {Layer | null} layer */
  paintKey(layer) {
    const table = this.colours[this.settings.layer];
    if (!layer || !table) {
      this.key.replaceChildren();
      return;
    }
    const stops = [0, 64, 128, 191, 255].map((k) => `rgb(${table[k].join(" ")})`).join(", ");
    const bar = document.createElement("span");
    bar.className = "bar";
    bar.style.background = `linear-gradient(to right, ${stops})`;
    const time = layer.time_s ? `at ${layer.time_s[Math.min(this.frameAt, layer.time_s.length - 1)].toFixed(2)} s` : "";
    const texts = [`${layer.quantity}, ${layer.unit}`, short(layer.low), short(layer.high), time];
    const [name, low, high, when] = texts.map((t) => {
      const span = document.createElement("span");
      span.textContent = t;
      return span;
    });
    this.key.replaceChildren(name, low, bar, high, when);
  }
}

/** @param {number[][]} loop @returns {number[]} middle of its box */
function middle(loop) {
  const rs = loop.map((p) => p[0]);
  const zs = loop.map((p) => p[1]);
  return [(Math.min(...rs) + Math.max(...rs)) / 2, (Math.min(...zs) + Math.max(...zs)) / 2];
}

/** The line round a loop, left open along the axis: no edge is there. @param {number[][]} loop @param {string} closed */
function edge(loop, closed) {
  const ends = closed ? [...loop, loop[0]] : loop;
  let d = "";
  let pen = false;
  for (let k = 1; k < ends.length; k++) {
    const [a, b] = [ends[k - 1], ends[k]];
    if (Math.abs(a[0]) < 1e-6 && Math.abs(b[0]) < 1e-6) {
      pen = false;
      continue;
    }
    d += pen ? `L${b[0]} ${b[1]}` : `M${a[0]} ${a[1]}L${b[0]} ${b[1]}`;
    pen = true;
  }
  return d;
}

/** @param {number} value @returns {string} */
function short(value) {
  return String(Number(value.toPrecision(4)));
}

export default {
  template: '<div class="sheet"></div>',
  /** @this {any} */
  mounted() {
    /** @type {Sheet} */
    const sheet = new Sheet(this.$el, (name, value) => this.$emit(name, value));
    this.sheet = null; // kept out of the framework's watching: set as a plain property of the element
    this.$el.sheet = sheet;
    const wait = () => {
      const socket = /** @type {any} */ (window).socket;
      if (socket && socket.connected) this.$emit("ready", {});
      else setTimeout(wait, 50);
    };
    wait();
  },
  /** @this {any} */
  unmounted() {
    this.$el.sheet?.close();
  },
  methods: {
    /** @this {any} @param {string} name @param {unknown[]} args */
    call(name, ...args) {
      const sheet = this.$el.sheet;
      return sheet ? sheet[name](...args) : null;
    },
  },
};
