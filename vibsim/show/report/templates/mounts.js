// Bodies as boxes, mounts with the force that varies, sensors with their acceleration; bodies in a mode.
const LOOKS = [
  { name: "From the left, forward to the left", plane: [[-1, 0, 0], [0, 0, 1]] },
  { name: "From behind", plane: [[0, -1, 0], [0, 0, 1]] },
];
const TILT = (28 * Math.PI) / 180, TURN = (-52 * Math.PI) / 180;
const ASKEW = { name: "Askew, forward to the left", plane: [[-Math.cos(TURN), -Math.sin(TURN), 0],
  [Math.sin(TILT) * Math.sin(TURN), -Math.sin(TILT) * Math.cos(TURN), Math.cos(TILT)]] };

function flat(plane, p) {
  return [plane[0][0] * p[0] + plane[0][1] * p[1] + plane[0][2] * p[2], -(plane[1][0] * p[0] + plane[1][1] * p[1] + plane[1][2] * p[2])];
}

function boxPath(plane, corners, edges) {
  const at = corners.map((corner) => flat(plane, corner).map((v) => v.toFixed(1)).join(" "));
  return edges.map(([a, b]) => `M${at[a]}L${at[b]}`).join("");
}

function placesOf(model) {
  return [...model.bodies.flatMap((body) => body.corners), ...model.mounts.map((one) => one.at), ...model.sensors.map((one) => one.at)];
}

/** Boxes about what several looks show, all as wide as the widest, so that lengths are drawn alike. */
function boxesOf(model, looks) {
  const boxes = looks.map((look) => noTaller(around(placesOf(model).map((p) => flat(look.plane, p)), 0.14)));
  const widest = Math.max(...boxes.map((box) => box[2]));
  return boxes.map((box) => [box[0] - (widest - box[2]) / 2, box[1], widest, box[3]]);
}

/** The name of a body at the lower left of its box. */
function nameBody(svg, plane, body, size, tint) {
  const at = body.corners.map((corner) => flat(plane, corner)), x = Math.min(...at.map((p) => p[0])), y = Math.max(...at.map((p) => p[1]));
  word(svg, x, y + 1.1 * size, size, body.name, "start", tint);
}

class MountViews {
  constructor(host, model, view) {
    this.model = model;
    this.hidden = new Set();
    this.legend(host, view);
    const pair = add(host, "div", { class: "pair" });
    this.reach = 0;
    const boxes = boxesOf(model, LOOKS);
    this.views = LOOKS.map((look, n) => this.frame(pair, look, model, boxes[n]));
  }

  legend(host, view) {
    const legend = add(host, "div", { class: "legend", role: "group", "aria-label": "Show or hide mounts in the drawing" });
    view.mounts.forEach((name, n) => {
      const button = add(legend, "button", { type: "button", "aria-pressed": "true" });
      const swatch = add(button, "svg", { width: 22, height: 10, "aria-hidden": "true" });
      add(swatch, "path", { d: "M0 5H22", stroke: colour(n), "stroke-width": 3, "stroke-dasharray": dash(n) });
      add(button, "span", {}, name);
      button.addEventListener("click", () => {
        if (!this.hidden.delete(n)) this.hidden.add(n);
        button.setAttribute("aria-pressed", String(!this.hidden.has(n)));
        this.turn(this.share);
        this.loci();
      });
    });
  }

  frame(pair, look, model, box) {
    const size = box[2];
    this.reach = Math.max(this.reach, 0.2 * size);
    const figure = add(pair, "figure", { class: "drawn" });
    add(figure, "figcaption", {}, look.name);
    const svg = canvas(figure, `${look.name}: bodies, mounts with their varying force, sensors`, box);
    for (const body of model.bodies) {
      add(svg, "path", { d: boxPath(look.plane, body.corners, model.edges), stroke: "#9A9A9A", "stroke-width": 0.003 * size, fill: "none" });
      nameBody(svg, look.plane, body, 0.032 * size, QUIET);
    }
    if (model.crank) {
      const to = [-1, 1].map((side) => flat(look.plane, model.crank.origin.map((v, n) => v + side * 0.08 * size * model.crank.direction[n])));
      add(svg, "path", { d: `M${to[0].join(" ")}L${to[1].join(" ")}`, stroke: INK, "stroke-width": 0.004 * size, "stroke-dasharray": `${0.012 * size} ${0.008 * size}` });
    }
    const made = { svg, look, box, size, mounts: [], sensors: [] };
    model.sensors.forEach((one) => made.sensors.push(this.sensor(svg, look, one, size)));
    model.mounts.forEach((one, n) => {
      const [x, y] = flat(look.plane, one.at), width = 0.006 * size;
      const locus = add(svg, "path", { fill: colour(n), "fill-opacity": 0.12, stroke: colour(n), "stroke-width": 0.5 * width });
      add(svg, "rect", { x: x - width, y: y - width, width: 2 * width, height: 2 * width, fill: INK });
      const arrow = new Arrows(svg, colour(n), 1.2 * width);
      made.mounts.push({ x, y, locus, arrow });
    });
    return made;
  }

  sensor(svg, look, one, size) {
    const [x, y] = flat(look.plane, one.at), d = 0.011 * size;
    add(svg, "path", { d: `M${x} ${y - d}L${x + d} ${y}L${x} ${y + d}L${x - d} ${y}Z`, fill: "white", stroke: INK, "stroke-width": 0.003 * size });
    word(svg, x + 1.5 * d, y - d, 0.03 * size, one.name);
    return { x, y };
  }

  /** Forces of a point over the cycle; arrows of the greatest of all points just fit. */
  point(view, courses) {
    if (this.of !== view) {
      this.of = view;
      this.perNewton = this.reach / Math.max(view.mostForce, 1e-12);
      for (const one of this.views) {
        if (one.bar) one.bar.remove();
        one.bar = add(one.svg, "g");
        scaleBar(one.bar, one.box, this.perNewton, "N", 0.032 * one.size);
      }
    }
    this.courses = courses;
    this.loci();
  }

  loci() {
    for (const one of this.views) {
      one.mounts.forEach((mount, n) => {
        const path = [];
        for (let s = 0; s < STEPS && !this.hidden.has(n); s += 2) {
          const [dx, dy] = this.tip(one, n, s);
          path.push(`${(mount.x + dx).toFixed(1)} ${(mount.y + dy).toFixed(1)}`);
        }
        mount.locus.setAttribute("d", path.length && Number.isFinite(this.courses[n][0][0]) ? `M${path.join("L")}Z` : "");
      });
    }
  }

  tip(one, n, step) {
    const force = this.courses[n];
    return flat(one.look.plane, [force[0][step], force[1][step], force[2][step]]).map((v) => v * this.perNewton);
  }

  /** The share of the working cycle that has passed. */
  turn(share) {
    this.share = share;
    const step = Math.floor(share * STEPS) % STEPS;
    for (const one of this.views) {
      one.mounts.forEach((mount, n) => {
        const [dx, dy] = this.tip(one, n, step);
        mount.arrow.draw(this.hidden.has(n) ? [] : [arrowPath(mount.x, mount.y, dx, dy, 0.035 * one.size)]);
      });
    }
  }
}
