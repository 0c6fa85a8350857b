// The crank train along and across the crank, with the force of every part, their sum and the couple.
const CROWN = 0.42, SKIRT = 0.42, LONGEST = 3.8, LONGEST_COUPLE = 2.0;
const KINDS = {
  cylinder: { words: "cylinder: piston and rod", colour: 0, dash: "" },
  weight: { words: "counterweight", colour: 1, dash: "6 3" },
  shaft: { words: "balance shaft", colour: 2, dash: "7 3 2 3" },
  sum: { words: "sum: free force", colour: 6, dash: "" },
  couple: { words: "couple, as a pair of forces at the ends, own scale", colour: 3, dash: "2 2" },
};

class Mechanism {
  constructor(host, mech) {
    this.mech = mech;
    this.hidden = new Set();
    const force = mech.force.flat().concat(mech.total, mech.eccentrics.map((one) => [one.force, 0]));
    this.mostForce = Math.max(1e-9, ...force.map(([re, im]) => Math.hypot(re, im)));
    this.mostCouple = mech.couple ? Math.max(...mech.couple.map(([re, im]) => Math.hypot(re, im))) : 0;
    this.up = mech.cylinders.reduce((sum, c) => sum + Math.cos(2 * c.bank) * c.names.length, 0) > -1e-9 ? (z) => z[0] : (z) => -z[1];
    this.kinds = ["cylinder", ...["weight", "shaft"].filter((kind) => mech.eccentrics.some((one) => one.kind === kind)), "sum"];
    if (mech.couple) this.kinds.push("couple");
    this.legend(host);
    const fit = add(host.querySelector(".legend"), "button", { type: "button", "aria-pressed": "false" });
    add(fit, "span", {}, "arrows fit this speed");
    fit.classList.add("choice");
    fit.addEventListener("click", () => {
      this.own = !this.own;
      fit.setAttribute("aria-pressed", String(this.own));
      this.speed(this.omega);
      this.turn(this.angle);
    });
    this.own = false;
    this.words = add(host, "p", { class: "quiet numbers" });
    this.mostTotal = Math.max(...mech.total.map(([re, im]) => Math.hypot(re, im)));
    this.pair = add(host, "div", { class: "pair" });
    this.factor = 1;
  }

  legend(host) {
    const legend = add(host, "div", { class: "legend", role: "group", "aria-label": "Show or hide forces of the mechanism" });
    for (const kind of this.kinds) {
      const look = KINDS[kind], button = add(legend, "button", { type: "button", "aria-pressed": "true" });
      const swatch = add(button, "svg", { width: 22, height: 10, "aria-hidden": "true" });
      add(swatch, "path", { d: "M0 5H22", stroke: colour(look.colour), "stroke-width": kind === "sum" ? 4 : 2.5, "stroke-dasharray": look.dash });
      add(button, "span", {}, look.words);
      button.addEventListener("click", () => {
        if (!this.hidden.delete(kind)) this.hidden.add(kind);
        button.setAttribute("aria-pressed", String(!this.hidden.has(kind)));
        this.turn(this.angle);
      });
    }
  }

  /** Scales so that the highest speed (rad/s) of all points fits; draws what stands still. */
  fit(highest) {
    if (this.highest === highest) return;
    this.highest = highest;
    empty(this.pair);
    const r = this.mech.radius, growth = (highest / this.mech.speed) ** 2;
    this.perNewton = (LONGEST * r) / (this.mostForce * growth);
    this.perCouple = this.mostCouple ? (LONGEST_COUPLE * r) / (this.mostCouple * growth) : 0;
    this.front = this.frame("Along the crank, turning anticlockwise", this.frontBox(growth));
    this.side = this.frame("Across the crank", this.sideBox(growth));
    this.stillFront(growth);
    this.stillSide();
    for (const view of [this.front, this.side]) {
      for (const name of ["webs", "rods", "pistons", "pins"]) view[name] = add(view.svg, "path", PARTS[name](r));
      for (const kind of this.kinds) {
        const look = KINDS[kind], width = (kind === "sum" ? 0.11 : 0.065) * r;
        const scaled = look.dash.split(" ").filter(Boolean).map((v) => (v * r) / 34).join(" ");
        if (kind === "sum") view.halo = new Arrows(view.svg, "white", 2 * width);
        view[kind] = new Arrows(view.svg, colour(look.colour), width, scaled);
      }
    }
  }

  frame(title, tight) {
    const box = noTaller(tight);
    const figure = add(this.pair, "figure", { class: "drawn" });
    add(figure, "figcaption", {}, title);
    const svg = canvas(figure, `${title}: crank, rods, pistons and the inertia forces on the block`, box);
    return { svg, box, bar: add(svg, "g") };
  }

  frontBox(growth) {
    const { mech } = this, r = mech.radius, points = [[-1.6 * r, -1.6 * r], [1.6 * r, 1.6 * r]];
    const scale = this.perNewton * growth;
    for (const c of mech.cylinders) {
      for (const side of [-0.5, 0.5]) points.push(this.seen(turned([c.top + 0.5 * c.bore, c.offset + side * c.bore], c.bank)));
    }
    for (let n = 0; n < mech.samples; n++) {
      const theta = (2 * Math.PI * mech.turns * n) / mech.samples;
      mech.cylinders.forEach((c, k) => points.push(this.seen(plus(wrist(c, theta)[1], mech.force[k][n], scale))));
      points.push(this.seen(plus([0, 0], mech.total[n], scale)));
      for (const one of mech.eccentrics) points.push(this.seen(plus(one.axis, turnOf(one, theta, one.force), scale)));
    }
    return around(points, 0.06);
  }

  sideBox(growth) {
    const { mech } = this, xs = mech.cylinders.flatMap((c) => c.at), bore = Math.max(...mech.cylinders.map((c) => c.bore));
    const half = Math.max(...xs.map((x) => Math.abs(x - mech.middle))) + 0.95 * bore;
    this.ends = [mech.middle - half, mech.middle + half];
    const points = [[this.ends[0] - 0.3 * bore, 0], [this.ends[1] + 0.3 * bore, 0]], scale = this.perNewton * growth;
    for (let n = 0; n < mech.samples; n++) {
      const theta = (2 * Math.PI * mech.turns * n) / mech.samples;
      mech.cylinders.forEach((c, k) => {
        const w = wrist(c, theta)[1];
        points.push([mech.middle, -this.up(plus(w, mech.force[k][n], scale))], [mech.middle, -this.up(w) - CROWN * c.bore]);
      });
      points.push([0, -this.up(mech.total[n]) * scale]);
      if (mech.couple) for (const sign of [-1, 1]) points.push([mech.middle, sign * this.up(mech.couple[n]) * this.perCouple * growth]);
    }
    return around(points, 0.06);
  }

  /** Complex of the engine to a place on the drawing: the reference direction up, a quarter turn ahead to the left. */
  seen(z) { return [-z[1], -z[0]]; }

  stillFront(growth) {
    const { mech } = this, svg = this.front.svg, r = mech.radius, thin = 0.03 * r;
    add(svg, "circle", { r: 1.5 * r, fill: "#F7F7F7", stroke: FAINT, "stroke-width": thin });
    add(svg, "circle", { r, fill: "none", stroke: FAINT, "stroke-width": thin, "stroke-dasharray": `${3 * thin} ${3 * thin}` });
    for (const one of mech.eccentrics.filter((item) => item.kind === "shaft")) {
      const [cx, cy] = this.seen(one.axis);
      add(svg, "circle", { cx, cy, r: 0.6 * r, fill: "#F7F7F7", stroke: FAINT, "stroke-width": thin });
    }
    for (const c of mech.cylinders) {
      const low = Math.max(c.top - 2 * c.radius - SKIRT * c.bore, 0), top = c.top + 0.48 * c.bore, half = 0.5 * c.bore;
      const corners = [[low, half], [top, half], [top, -half], [low, -half]].map(([a, b]) => this.seen(turned([a, c.offset + b], c.bank)));
      add(svg, "path", { d: "M" + corners.map((p) => p.map((v) => v.toFixed(2)).join(" ")).join("L"), fill: "none", stroke: "#8C8C8C", "stroke-width": 1.5 * thin });
      const [x, y] = this.seen(turned([top + 0.3 * c.bore, c.offset], c.bank));
      word(svg, x, y, 0.035 * this.front.box[2], c.names.join(", "), "middle");
    }
    const trace = mech.total.map((z) => this.seen(z).map((v) => (v * this.perNewton * growth).toFixed(2)).join(" ")).join("L");
    this.trace = add(svg, "path", { d: `M${trace}Z`, fill: "none", stroke: INK, "stroke-width": thin, opacity: 0.45, "vector-effect": "non-scaling-stroke" });
    this.trace.setAttribute("stroke-width", 1.2);
  }

  stillSide() {
    const { mech } = this, svg = this.side.svg, thin = 0.03 * mech.radius;
    add(svg, "path", { d: `M${this.ends[0]} 0H${this.ends[1]}`, stroke: FAINT, "stroke-width": thin, "stroke-dasharray": `${4 * thin} ${3 * thin}` });
  }

  speed(omega) {
    this.omega = omega;
    this.factor = (omega / this.mech.speed) ** 2;
    const share = this.own ? 1 : (omega / this.highest) ** 2, most = this.own ? this.factor : (this.highest / this.mech.speed) ** 2;
    this.perNewton = (LONGEST * this.mech.radius) / (this.mostForce * most);
    this.perCouple = this.mostCouple ? (LONGEST_COUPLE * this.mech.radius) / (this.mostCouple * most) : 0;
    this.trace.setAttribute("transform", `scale(${share})`);
    if (this.barOf === this.perNewton) return;
    this.barOf = this.perNewton;
    for (const view of [this.front, this.side]) {
      empty(view.bar);
      scaleBar(view.bar, view.box, this.perNewton, "N", 0.035 * view.box[2]);
    }
  }

  /** Between two samples of a course of complex numbers. */
  between(course, theta) {
    const { samples, turns } = this.mech, at = ((theta / (2 * Math.PI * turns)) % 1) * samples, n = Math.floor(at), share = at - n;
    const a = course[n % samples], b = course[(n + 1) % samples];
    return [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])];
  }

  turn(theta) {
    this.angle = theta;
    const { mech } = this, r = mech.radius, scale = this.perNewton * this.factor;
    const draw = { front: { webs: "", rods: "", pistons: "", pins: "" }, side: { webs: "", rods: "", pistons: "", pins: "" } };
    const arrows = {};
    for (const kind of this.kinds) arrows[kind] = { front: [], side: [] };
    const shoot = (kind, tail, force, xs) => {
      const [x, y] = this.seen(tail), [dx, dy] = this.seen(force);
      arrows[kind].front.push(arrowPath(x, y, dx, dy, 0.34 * r));
      for (const at of xs) arrows[kind].side.push(arrowPath(at, -this.up(tail), 0, -this.up(force), 0.34 * r));
    };
    mech.cylinders.forEach((c, k) => {
      const force = this.between(mech.force[k], theta).map((v) => v * scale), [pin, top] = wrist(c, theta);
      this.cylinder(c, pin, top, draw);
      shoot("cylinder", top, force, []);
      for (const at of c.at) arrows.cylinder.side.push(arrowPath(at, -this.up(top), 0, -this.up(force) / c.at.length, 0.34 * r));
    });
    for (const throwOf of mech.throws) {
      const y = -this.up(turned([r, 0], theta + throwOf.pin)), w = 0.22 * r;
      draw.side.webs += `M${throwOf.at - 2 * w} 0L${throwOf.at - w} ${y.toFixed(2)}H${throwOf.at + w}L${throwOf.at + 2 * w} 0`;
    }
    for (const one of mech.eccentrics) {
      const force = turnOf(one, theta, one.force * scale), angle = one.phase + one.ratio * theta;
      const reach = one.kind === "shaft" ? 0.55 * r : 1.25 * r;
      const sector = [-0.65, -0.33, 0, 0.33, 0.65].map((step) => this.seen(plus(one.axis, turned([reach, 0], angle + step), 1)));
      draw.front.webs += "M" + [this.seen(one.axis), ...sector].map((p) => p.map((v) => v.toFixed(2)).join(" ")).join("L") + "Z";
      shoot(one.kind, one.kind === "shaft" ? one.axis : turned([0.8 * r, 0], angle), force, []);
    }
    const total = this.between(mech.total, theta);
    shoot("sum", [0, 0], total.map((v) => v * scale), [mech.middle]);
    this.words.textContent = `free force ${plain(Math.hypot(...total) * this.factor)} N at this crank angle, up to ${plain(this.mostTotal * this.factor)} N over the turn`;
    if (mech.couple) {
      const couple = this.between(mech.couple, theta).map((v) => v * this.perCouple * this.factor), y = -this.up(couple), [dx, dy] = this.seen(couple);
      arrows.couple.front = [arrowPath(0, 0, dx, dy, 0.3 * r)];
      arrows.couple.side = [arrowPath(this.ends[1], 0, 0, y, 0.3 * r), arrowPath(this.ends[0], 0, 0, -y, 0.3 * r)];
    }
    for (const name of ["front", "side"]) {
      for (const part in draw[name]) this[name][part].setAttribute("d", draw[name][part]);
      for (const kind of this.kinds) this[name][kind].draw(this.hidden.has(kind) ? [] : arrows[kind][name]);
      this[name].halo.draw(this.hidden.has("sum") ? [] : arrows.sum[name]);
    }
  }

  cylinder(c, pin, top, draw) {
    const p = (z) => this.seen(z).map((v) => v.toFixed(2)).join(" "), b = c.bore, dot = 0.09 * c.radius;
    draw.front.webs += `M0 0L${p(pin)}`;
    draw.front.rods += `M${p(pin)}L${p(top)}`;
    const corners = [[CROWN, 0.48], [CROWN, -0.48], [-SKIRT, -0.48], [-SKIRT, 0.48]].map(([a, s]) => p(plus(top, turned([a * b, s * b], c.bank), 1)));
    draw.front.pistons += `M${corners.join("L")}Z`;
    for (const z of [[0, 0], pin, top]) draw.front.pins += circlePath(...this.seen(z), dot);
    const tall = b * Math.max(Math.abs(this.up(turned([1, 0], c.bank))), 0.2);
    const tilt = Math.sign(this.up(turned([1, 0], c.bank))) || 1;
    for (const at of c.at) {
      const y = -this.up(top);
      draw.side.rods += `M${at} ${(-this.up(pin)).toFixed(2)}V${y.toFixed(2)}`;
      draw.side.pistons += `M${at - 0.46 * b} ${(y - tilt * CROWN * tall).toFixed(2)}h${0.92 * b}v${(tilt * (CROWN + SKIRT) * tall).toFixed(2)}h${-0.92 * b}Z`;
      draw.side.pins += circlePath(at, -this.up(pin), dot) + circlePath(at, y, dot);
    }
  }
}

const PARTS = {
  webs: (r) => ({ fill: "#D9D9D9", stroke: "#BFBFBF", "stroke-width": 0.16 * r, "stroke-linejoin": "round" }),
  rods: (r) => ({ fill: "none", stroke: "#8C8C8C", "stroke-width": 0.12 * r, "stroke-linecap": "round" }),
  pistons: (r) => ({ fill: "#ECECEC", "fill-opacity": 0.8, stroke: "#8C8C8C", "stroke-width": 0.045 * r }),
  pins: (r) => ({ fill: "white", stroke: "#8C8C8C", "stroke-width": 0.045 * r }),
};

function turned(z, angle) {
  const c = Math.cos(angle), s = Math.sin(angle);
  return [z[0] * c - z[1] * s, z[0] * s + z[1] * c];
}
function plus(z, w, scale) { return [z[0] + w[0] * scale, z[1] + w[1] * scale]; }
function turnOf(one, theta, size) { return turned([size, 0], one.phase + one.ratio * theta); }
function circlePath(x, y, r) { return `M${(x - r).toFixed(2)} ${y.toFixed(2)}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`; }

/** Crankpin and wrist pin: the wrist pin is on the cylinder's axis, the rod's length from the crankpin. */
function wrist(c, theta) {
  const t = theta + c.pin - c.bank, across = c.offset - c.radius * Math.sin(t);
  const height = c.radius * Math.cos(t) + Math.sqrt(c.rod ** 2 - across ** 2);
  return [turned([c.radius, 0], theta + c.pin), turned([height, c.offset], c.bank)];
}

function around(points, margin) {
  const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
  const low = [Math.min(...xs), Math.min(...ys)], high = [Math.max(...xs), Math.max(...ys)];
  const room = margin * Math.max(high[0] - low[0], high[1] - low[1]);
  return [low[0] - room, low[1] - room, high[0] - low[0] + 2 * room, high[1] - low[1] + 2.6 * room];
}
