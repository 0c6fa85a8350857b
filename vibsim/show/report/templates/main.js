// The page: one place on the slider, one crank angle; every picture follows both.
const DATA = JSON.parse(document.getElementById("data").textContent);
const SECONDS_PER_TURN = 3.6, SHOWN_ORDERS = 6;
const byId = (id) => document.getElementById(id);
const views = DATA.views.map((raw) => new View(raw));
const still = window.matchMedia("(prefers-reduced-motion: reduce)");
const state = { view: views[0], theta: 0.7, playing: !still.matches, moved: true, last: 0, asked: false };
const page = {};

/** The greatest varying force and acceleration over a cycle, of all points. */
function extremes(view) {
  if (view.mostForce !== undefined) return;
  for (const [kind, name] of [["mount", "mostForce"], ["sensor", "mostAcceleration"]]) {
    view[name] = 0;
    for (let point = 0; point < view.points; point++) {
      for (let item = 0; item < view.items(kind).length; item++) view[name] = Math.max(view[name], greatest(sizes(view.course(kind, item, point))));
    }
  }
}

function sizes(course) {
  return Array.from(course[0], (_, s) => Math.hypot(course[0][s], course[1][s], course[2][s]));
}

function heading(id, host) {
  const section = byId(id);
  section.hidden = false;
  const place = section.querySelector(".host");
  empty(place);
  return place;
}

/** Everything that hangs on which set of points is shown. */
function build() {
  const { view } = state, model = DATA.models[view.model];
  extremes(view);
  controls(view);
  for (const id of ["mechanism", "mounts", "orders", "cycle", "along", "exposure", "map", "parallel", "matters", "tracks", "compare", "modes"]) byId(id).hidden = true;
  page.mechanism = model && model.mechanism ? new Mechanism(heading("mechanism"), model.mechanism) : null;
  if (page.mechanism) page.mechanism.fit(Math.max(...Array.from(view.speed).filter(Number.isFinite)));
  page.mounts = model && view.mounts.length === model.mounts.length && model.mounts.length && view.order.length > 1 ? new MountViews(heading("mounts"), model, view) : null;
  buildOrders(view);
  buildCycle(view);
  buildAlong(view);
  page.map = view.quantities.length && view.axes.filter((axis) => axis.values.length > 1).length > 1 ? new SweepMap(heading("map"), view, placed) : null;
  buildExposure(view);
  page.tracks = view.record ? new RecordOrders(heading("tracks"), view, (index) => { view.place[0] = index; placed(); }) : null;
  const many = view.quantities.length && view.points > 2;
  page.parallel = many ? new Parallel(heading("parallel"), view, placed) : null;
  if (many && view.axes.length > 1) new Matters(heading("matters"), view);
  const several = views.length > 1 && views.every((one) => one.order.length > 1 && !one.record);
  page.compare = several ? new Differences(heading("compare"), view) : null;
  page.modes = model && model.modes.length ? new Modes(heading("modes"), model) : null;
  if (page.modes && still.matches) page.modes.phase(0);
  byId("thinned").textContent = view.notes.join("; ");
  placed();
}

function controls(view) {
  const slider = byId("slider"), axis = view.axes[view.slider];
  set(slider, { max: view.count - 1 });
  byId("slider-name").textContent = axis.label[0].toUpperCase() + axis.label.slice(1);
  byId("slider-field").hidden = view.count < 2;
  const others = byId("others");
  empty(others);
  view.axes.forEach((one, n) => {
    if (n === view.slider || !view.grid || one.values.length < 2) return;
    const label = add(others, "label", {}, `${one.label} `), select = add(label, "select", {});
    one.values.forEach((value, k) => add(select, "option", { value: k }, `${plain(value, 4)} ${one.unit}`));
    select.addEventListener("change", () => { view.place[n] = Number(select.value); placed(); });
    select.dataset.axis = n;
  });
  const turns = Math.max(view.cycle, 1);
  set(byId("angle"), { max: 360 * turns - 1 });
  state.turns = turns;
}

/** What order charts show at first: those that shake; the rest is a press on "all" away. */
function orders(view) {
  const step = view.order[1];
  return view.order[view.order.length - 1] > SHOWN_ORDERS ? [0.5 * step, SHOWN_ORDERS + 0.5 * step] : null;
}

/** Begin as near as can be to the case as it is written, in the middle of what it does not say. */
function begin(view) {
  view.axes.forEach((axis, n) => {
    if (view.grid) view.place[n] = view.begin[n] === null ? Math.floor(axis.values.length / 2) : nearest(axis.values, view.begin[n]);
  });
  if (!view.grid) view.place[view.slider] = view.nearest(view.begin[view.slider] === null ? view.along()[view.points >> 1] : view.begin[view.slider]);
}

function buildOrders(view) {
  page.orders = [];
  if (view.order.length < 2) return;
  const host = heading("orders"), x = { label: "engine order", unit: "" };
  for (const [kind, title, unit] of [["mount", "Mount force per order", "N"], ["sensor", "Acceleration per order", "m/s²"]]) {
    if (!view.items(kind).length) continue;
    const chart = new Chart(host, { title, x, y: { label: "amplitude", unit }, kind: "bars", series: view.items(kind), most: view.most[kind], first: orders(view) });
    page.orders.push((point) => chart.show(view.order.slice(1), view.items(kind).map((_, item) => view.amplitudes(kind, item, point))));
  }
  const torque = Array.from(view.torque_orders).filter((v, n) => n % view.order.length && Number.isFinite(v));
  if (!torque.length) return;
  const chart = new Chart(host, { title: "Net torque per order", x, y: { label: "amplitude", unit: "N m" }, kind: "bars", series: ["net torque"], most: greatest(torque), first: orders(view) });
  page.orders.push((point) => chart.show(view.order.slice(1), [view.torque(point)]));
}

function buildCycle(view) {
  page.cycle = [];
  page.histories = [];
  byId("record").hidden = true;
  if (view.order.length > 1) {
    const host = heading("cycle"), x = { label: "crank angle", unit: "°" };
    page.angles = Array.from({ length: STEPS }, (_, s) => (360 * view.cycle * s) / STEPS);
    for (const [kind, title, unit, most] of [["mount", "Varying force of mounts over a cycle", "N", view.mostForce], ["sensor", "Acceleration of sensors over a cycle", "m/s²", view.mostAcceleration]]) {
      if (!view.items(kind).length) continue;
      page.cycle.push({ kind, chart: new Chart(host, { title, x, y: { label: "size", unit }, kind: "lines", series: view.items(kind), most, cursor: true }) });
    }
  }
}

/** Torque and pressure of a run or of a sweep's point; other runs on the slider bring their own. */
function buildHistories(view, point) {
  const found = view.swept || view.histories[view.record ? 0 : point];
  if (!found) return;
  if (page.historyOf !== found) chartHistories(view, found);
  if (view.swept) showSwept(view, point);
  if (view.record) for (const chart of page.over) chart.cursor(view.along()[view.at]);
}

function chartHistories(view, found) {
  page.historyOf = found;
  page.histories = [];
  page.over = [];
  const host = byId("histories");
  empty(host);
  byId("record").hidden = false;
  byId("record-words").textContent = found.words;
  const pick = view.record ? (index) => { view.place[0] = view.nearest(found.x[index]); placed(); } : null;
  for (const one of found.charts) {
    const chart = new Chart(host, { title: one.title, x: { label: found.label, unit: found.unit }, y: { label: "", unit: one.unit }, kind: "lines", series: one.series.map((s) => s.name), cursor: found.cycle || view.record, afloat: one.afloat, band: !found.cycle, onPick: pick });
    if (!view.swept) chart.show(found.x, one.series.map((s) => s.values));
    page.over.push(chart);
    if (found.cycle) page.histories.push(chart);
  }
}

/** The curves of one point of a sweep that kept them, one after the other in one array. */
function showSwept(view, point) {
  const { x, charts, values } = view.swept, steps = x.length, count = charts.reduce((sum, one) => sum + one.series.length, 0);
  let from = point * count * steps;
  charts.forEach((one, n) => {
    page.over[n].show(x, one.series.map(() => { const row = values.subarray(from, from + steps); from += steps; return row; }));
  });
}

function buildAlong(view) {
  page.along = null;
  if (view.count < 2) return;
  const host = heading("along"), axis = view.axes[view.slider], x = { label: axis.label, unit: axis.unit };
  const pick = (index) => { view.place[view.slider] = index; placed(); };
  const made = [["mount", "Mount force", "N"], ["sensor", "Acceleration", "m/s²"]].filter(([kind]) => view.items(kind).length).map(([kind, title, unit]) => ({
    kind, chart: new Chart(host, { title: `${title} over ${axis.label}`, x, y: { label: "rms", unit }, kind: "lines", series: view.items(kind), cursor: true, onPick: pick }),
  }));
  page.along = () => {
    const along = view.along(), points = along.map((_, at) => view.point(at));
    for (const { kind, chart } of made) {
      chart.place = along[view.at];
      chart.show(along, view.items(kind).map((_, item) => points.map((point) => view.rms(kind)[point * view.items(kind).length + item])));
    }
  };
}

function buildExposure(view) {
  page.exposure = [];
  if (!view.felt.length) return;
  const host = heading("exposure"), people = new People(host, view);
  page.exposure.push((point) => people.show(point));
  const along = exposureAlong(host, view, (index) => { view.place[view.slider] = index; placed(); });
  if (along) page.exposure.push(along);
}

/** The place has changed, by whatever: the other results go to the nearest value of the same key. */
function placed() {
  const { view } = state, axis = view.axes[view.slider], value = view.along()[view.at];
  for (const other of views) {
    if (other !== view && other.axes[other.slider].label === axis.label) other.place[other.slider] = other.nearest(value);
  }
  state.moved = true;
  ask();
}

function move() {
  const { view } = state, point = view.point(), words = view.words();
  const slider = byId("slider");
  slider.value = view.at;
  slider.setAttribute("aria-valuetext", words);
  byId("place").textContent = words;
  for (const select of byId("others").querySelectorAll("select")) select.value = view.place[Number(select.dataset.axis)];
  const missing = !Number.isFinite(view.speed[point]);
  byId("missing").hidden = !missing;
  for (const show of page.orders) show(point);
  const courses = {};
  for (const kind of ["mount", "sensor"]) courses[kind] = view.items(kind).map((_, item) => view.course(kind, item, point));
  for (const { kind, chart } of page.cycle) chart.show(page.angles, courses[kind].map(sizes));
  if (page.mounts) page.mounts.point(view, courses.mount);
  if (page.mechanism && !missing) page.mechanism.speed(view.speed[point]);
  if (page.along) page.along();
  for (const show of page.exposure) show(point);
  if (page.map) page.map.draw();
  if (page.tracks) page.tracks.draw();
  if (page.parallel) page.parallel.mark();
  if (page.compare) page.compare.show();
  buildHistories(view, point);
}

function turn() {
  const { view, theta } = state, degrees = ((theta * 180) / Math.PI) % (360 * state.turns);
  if (page.mechanism) page.mechanism.turn(theta);
  const cycle = (theta / (2 * Math.PI * view.cycle)) % 1;
  if (page.mounts) page.mounts.turn(cycle);
  for (const { chart } of page.cycle) chart.cursor(360 * view.cycle * cycle);
  for (const chart of page.histories) chart.cursor(360 * view.cycle * cycle);
  const angle = byId("angle");
  if (document.activeElement !== angle || state.playing) angle.value = Math.round(degrees);
  angle.setAttribute("aria-valuetext", `${Math.round(degrees)} degrees`);
  byId("angle-words").textContent = `${Math.round(degrees)}°`;
}

function ask() {
  if (!state.asked) { state.asked = true; requestAnimationFrame(frame); }
}

function frame(now) {
  state.asked = false;
  const passed = Math.max(0, Math.min(now - state.last, 100)) / 1000;
  state.last = now;
  if (state.playing) {
    state.theta += (2 * Math.PI * passed) / SECONDS_PER_TURN;
    if (page.modes) page.modes.advance(passed);
  }
  if (state.moved) { state.moved = false; move(); }
  turn();
  if (state.playing && !document.hidden) ask();
}

function play(on) {
  state.playing = on;
  state.last = performance.now();
  for (const button of document.querySelectorAll(".play")) {
    button.textContent = on ? "Pause" : "Play";
    button.setAttribute("aria-label", on ? "Pause the animation" : "Play the animation");
  }
  ask();
}

function start() {
  for (const one of document.querySelectorAll(".live")) one.hidden = false;
  const select = byId("view");
  views.forEach((view, n) => add(select, "option", { value: n }, view.name));
  byId("view-field").hidden = views.length < 2;
  select.addEventListener("change", () => { state.view = views[Number(select.value)]; page.historyOf = null; empty(byId("histories")); build(); });
  byId("slider").addEventListener("input", (event) => { state.view.place[state.view.slider] = Number(event.target.value); placed(); });
  byId("angle").addEventListener("input", (event) => { play(false); state.theta = (Number(event.target.value) * Math.PI) / 180; ask(); });
  for (const button of document.querySelectorAll(".play")) button.addEventListener("click", () => play(!state.playing));
  still.addEventListener("change", () => { if (still.matches) play(false); });
  document.addEventListener("visibilitychange", () => { state.last = performance.now(); ask(); });
  const folded = [];
  window.addEventListener("beforeprint", () => {
    byId("printed-place").textContent = `Pictures and charts of ${state.view.name} at ${state.view.words()}, crank angle ${byId("angle-words").textContent}`;
    for (const fold of document.querySelectorAll("details.print:not([open])")) { fold.open = true; folded.push(fold); }
  });
  window.addEventListener("afterprint", () => { for (const fold of folded.splice(0)) fold.open = false; });
  views.forEach(begin);
  build();
  play(state.playing);
}

if (views.length) start();
