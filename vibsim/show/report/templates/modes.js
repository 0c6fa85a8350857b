// A mode in motion: every body's box about its place at rest, and the mounts between them.
const PERIOD = 1.7; // s on the screen, whatever the frequency

class Modes {
  constructor(host, model) {
    this.model = model;
    const row = add(host, "p", { class: "row" }), label = add(row, "label", { for: "mode" }, "Mode ");
    this.select = add(label, "select", { id: "mode" });
    model.modes.forEach((mode, n) => add(this.select, "option", { value: n }, `${n + 1}: ${plain(mode.frequency, 4)} Hz, ${mode.words}`));
    this.words = add(row, "span", { role: "status" });
    this.select.addEventListener("change", () => this.choose());
    const pair = add(host, "div", { class: "pair three" });
    const looks = [...LOOKS, ASKEW], boxes = boxesOf(model, looks);
    this.views = looks.map((look, n) => this.frame(pair, look, boxes[n]));
    this.passed = 0;
    this.choose();
  }

  frame(pair, look, box) {
    const { model } = this, size = box[2];
    const figure = add(pair, "figure", { class: "drawn" });
    add(figure, "figcaption", {}, look.name);
    const svg = canvas(figure, `${look.name}: the bodies in this mode`, box);
    for (const body of model.bodies) add(svg, "path", { d: boxPath(look.plane, body.corners, model.edges), stroke: FAINT, "stroke-width": 0.003 * size, fill: "none" });
    const springs = add(svg, "path", { stroke: INK, "stroke-width": 0.005 * size, fill: "none", "stroke-linejoin": "round" });
    const bodies = model.bodies.map((body, n) => {
      nameBody(svg, look.plane, body, 0.04 * size, INK);
      return add(svg, "path", { stroke: colour(n), "stroke-width": 0.006 * size, fill: "none" });
    });
    return { look, size, springs, bodies };
  }

  choose() {
    this.mode = this.model.modes[Number(this.select.value)];
    this.words.textContent = `${plain(this.mode.frequency, 4)} Hz, ${plain(this.mode.damping)} % of critical damping`;
    this.phase(this.still === undefined ? 0 : this.still);
  }

  /** Advance by seconds on the screen. */
  advance(seconds) {
    this.passed += seconds;
    this.phase((2 * Math.PI * this.passed) / PERIOD);
  }

  phase(angle) {
    this.still = angle;
    const c = Math.cos(angle), s = Math.sin(angle);
    const motions = {};
    for (const [name, shape] of Object.entries(this.mode.shape)) motions[name] = shape.map(([re, im]) => re * c - im * s);
    const carried = (point, name) => {
      const body = this.model.bodies.find((one) => one.name === name), m = motions[name];
      if (!body || !m) return point;
      const d = point.map((v, n) => v - body.centre[n]);
      return [point[0] + m[0] + m[4] * d[2] - m[5] * d[1], point[1] + m[1] + m[5] * d[0] - m[3] * d[2], point[2] + m[2] + m[3] * d[1] - m[4] * d[0]];
    };
    for (const view of this.views) {
      this.model.bodies.forEach((body, n) => {
        view.bodies[n].setAttribute("d", boxPath(view.look.plane, body.corners.map((corner) => carried(corner, body.name)), this.model.edges));
      });
      view.springs.setAttribute("d", this.model.mounts.map((mount) => {
        const [a, b] = mount.between.map((name) => flat(view.look.plane, carried(mount.at, name)));
        return spring(a, b, 0.022 * view.size);
      }).join(""));
    }
  }
}

/** A zigzag about a mount's place that stretches and leans as its ends move. */
function spring(first, second, size) {
  const from = [first[0], first[1] + size], to = [second[0], second[1] - size], count = 8, parts = [];
  for (let n = 0; n <= count; n++) {
    const share = n / count, swing = n === 0 || n === count ? 0 : (n % 2 ? 0.6 : -0.6) * size;
    parts.push(`${(from[0] + share * (to[0] - from[0]) + swing).toFixed(1)} ${(from[1] + share * (to[1] - from[1])).toFixed(1)}`);
  }
  return `M${parts.join("L")}`;
}
