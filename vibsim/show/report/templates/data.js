// A set of points as the pictures read it: arrays decoded, forces over a cycle put together from their orders.
const STEPS = 180; // of a working cycle
const WAVE = Array.from({ length: STEPS }, (_, n) => Math.cos((2 * Math.PI * n) / STEPS));

class View {
  constructor(raw) {
    Object.assign(this, raw);
    for (const name of ["speed", "mount_rms", "sensor_rms", "mount_orders", "sensor_orders", "torque_orders", "a8", "comfort"]) this[name] = decode(raw[name]);
    this.quantities = raw.quantities.map((item) => ({ ...item, values: decode(item.values) }));
    if (raw.swept) this.swept = { ...raw.swept, values: decode(raw.swept.values) };
    this.cycle = this.order.length > 1 ? 1 / this.order[1] : 1; // turns
    this.place = this.axes.map(() => 0);
    this.rank = this.grid ? null : this.ranked();
    this.most = { mount: this.mostOf("mount"), sensor: this.mostOf("sensor") };
  }

  /** Points of no grid in the order of the slider's axis. */
  ranked() {
    const along = this.axes[this.slider].values;
    return along.map((_, n) => n).sort((a, b) => along[a] - along[b]);
  }

  get count() { return this.grid ? this.axes[this.slider].values.length : this.points; }
  get at() { return this.place[this.slider]; }

  /** The number of the point at a place of the slider, the other axes as they are chosen. */
  point(at = this.at) {
    if (!this.grid) return this.rank[at];
    return this.axes.reduce((sum, axis, n) => sum * axis.values.length + (n === this.slider ? at : this.place[n]), 0);
  }

  /** The value of an axis at a point. */
  valueOf(axis, point) {
    if (!this.grid) return this.axes[axis].values[point];
    const stride = this.axes.slice(axis + 1).reduce((size, one) => size * one.values.length, 1);
    return this.axes[axis].values[Math.floor(point / stride) % this.axes[axis].values.length];
  }

  /** Go to a point by its number. */
  moveTo(point) {
    if (!this.grid) { this.place[this.slider] = this.rank.indexOf(point); return; }
    this.axes.forEach((one, n) => { this.place[n] = one.values.indexOf(this.valueOf(n, point)); });
  }

  /** Places along the slider (n). */
  along() {
    const values = this.axes[this.slider].values;
    return this.grid ? values : this.rank.map((n) => values[n]);
  }

  words() {
    const say = (axis, value) => (axis.unit === "rpm" ? `${plain(value, 4)} rpm` : `${axis.label} ${plain(value, 4)} ${axis.unit}`.trim());
    const point = this.point();
    const words = this.axes.map((axis, n) => say(axis, this.grid ? axis.values[this.place[n]] : axis.values[point])).join(", ");
    if (this.record) return `${words}, ${plain((this.speed[point] * 30) / Math.PI, 4)} rpm`;
    return this.kind === "run" && this.names.length > 1 ? `${words} · ${this.names[point]}` : words;
  }

  items(kind) { return kind === "mount" ? this.mounts : this.sensors; }
  rms(kind) { return kind === "mount" ? this.mount_rms : this.sensor_rms; }

  /** Real and imaginary part lie side by side from here. */
  offset(kind, point, order, item, axis) {
    return 2 * (((point * this.order.length + order) * this.items(kind).length + item) * 3 + axis);
  }

  /** Amplitude per order (mean left out), root of the sum of squares over the axes. */
  amplitudes(kind, item, point) {
    const from = kind === "mount" ? this.mount_orders : this.sensor_orders, found = [];
    for (let k = 1; k < this.order.length; k++) {
      const at = this.offset(kind, point, k, item, 0);
      let sum = 0;
      for (let n = 0; n < 6; n++) sum += from[at + n] ** 2;
      found.push(Math.sqrt(sum));
    }
    return found;
  }

  torque(point) {
    const count = this.order.length;
    return Array.from(this.torque_orders.subarray(point * count + 1, (point + 1) * count));
  }

  /** Varying vector over one cycle, (3) arrays of STEPS. */
  course(kind, item, point) {
    const from = kind === "mount" ? this.mount_orders : this.sensor_orders;
    const found = [0, 1, 2].map(() => new Float64Array(STEPS));
    for (let k = 1; k < this.order.length; k++) {
      for (let axis = 0; axis < 3; axis++) {
        const at = this.offset(kind, point, k, item, axis), re = from[at], im = from[at + 1], out = found[axis];
        if (re * re + im * im === 0) continue;
        for (let s = 0; s < STEPS; s++) {
          const turn = (k * s) % STEPS;
          out[s] += re * WAVE[turn] - im * WAVE[(turn + STEPS - STEPS / 4) % STEPS];
        }
      }
    }
    return found;
  }

  /** The greatest amplitude of all points, by order charts. */
  mostOf(kind) {
    let most = 0;
    for (let point = 0; point < this.points; point++) {
      for (let item = 0; item < this.items(kind).length; item++) most = Math.max(most, greatest(this.amplitudes(kind, item, point)));
    }
    return most;
  }

  /** Nearest place on the slider to a value. */
  nearest(value) { return nearest(this.along(), value); }
}
