// Draws the chart over its still picture: values under the pointer, keys, zoom, target by dragging.
const own = document.querySelector("script[data-vega]");
const colours = ["ink", "soft", "line", "hair", "accent", "band", "other", "sheet"];

const palette = () => {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(colours.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
};

const paint = (spec, colour) => {
  if (Array.isArray(spec)) return spec.map((item) => paint(item, colour));
  if (spec && typeof spec === "object") {
    return Object.fromEntries(Object.entries(spec).map(([key, value]) => [key, paint(value, colour)]));
  }
  return typeof spec === "string" && spec.startsWith("@") ? colour[spec.slice(1)] : spec;
};

const mainPoints = (spec) => spec.layer
  .flatMap((layer) => layer.data?.values ?? [])
  .filter((row) => row.kind === "main")
  .sort((a, b) => a.t - b.t);

const at = (points, time) => {
  let found = null;
  for (let i = 0; i < points.length; i += 1) {
    if (points[i].t > time) break;
    found = i;
  }
  if (found === null) return null;
  const next = points[found + 1];
  const open = next && next.stretch !== points[found].stretch && time > points[found].t;
  return { index: found, value: open ? null : points[found].v };
};

const day = new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "short", year: "numeric" });

async function draw(figure) {
  const name = figure.dataset.chart;
  const spec = JSON.parse(document.getElementById(`chart-${name}`).textContent);
  await import(own.dataset.vega);
  await document.fonts.ready;
  const live = figure.querySelector(".live");
  const reader = figure.querySelector(".reader");
  const points = mainPoints(spec);
  if (figure.clientWidth < 500) spec.height = Math.round(spec.height * 0.85);
  let view = null;
  let where = points.length - 1;

  const show = async () => {
    figure.classList.add("drawn");
    const result = await window.vegaEmbed(live, paint(spec, palette()), {
      actions: false, ast: true, renderer: "canvas", tooltip: false, defaultStyle: false,
    });
    view = result.view;
    const canvas = live.querySelector("canvas");
    if (canvas) canvas.style.touchAction = "pan-y";
  };

  const read = (time, value) => {
    reader.textContent = "";
    if (time === null) return;
    reader.append(`${day.format(time)}: `);
    const loud = document.createElement("b");
    loud.textContent = value === null ? "nobody looked" : value.toFixed(value < 1 ? 4 : 2);
    reader.append(loud);
  };

  const mark = (time) => { view.signal("cursor", time ?? 0).runAsync(); };

  const point = (event) => {
    const box = live.getBoundingClientRect();
    const origin = view.origin();
    return { x: event.clientX - box.left - origin[0], y: event.clientY - box.top - origin[1] };
  };

  await show();
  const aim = document.getElementById("aim");
  let dragging = false;
  const setAim = (event) => {
    const value = view.scale("y").invert(point(event).y);
    if (!(value > 0)) return;
    const text = value.toFixed(value < 1 ? 4 : 2);
    aim.value = text;
    view.signal("aim", Number(text)).runAsync();
  };
  live.addEventListener("pointermove", (event) => {
    if (dragging) { setAim(event); return; }
    const time = +view.scale("x").invert(point(event).x);
    const found = at(points, time);
    if (!found) return;
    mark(time);
    read(time, found.value);
    const level = name === "price" && aim?.value ? view.scale("y")(Number(aim.value)) : null;
    live.style.cursor = level !== null && Math.abs(level - point(event).y) < 8 ? "ns-resize" : "";
  });
  live.addEventListener("pointerdown", (event) => {
    if (!aim || event.shiftKey || !aim.value) return;
    const level = view.scale("y")(Number(aim.value));
    if (Math.abs(level - point(event).y) > 14) return;
    dragging = true;
    live.setPointerCapture(event.pointerId);
  });
  live.addEventListener("pointerup", () => {
    if (!dragging) return;
    dragging = false;
    aim.focus();
  });
  live.addEventListener("pointerleave", () => { if (!dragging) { mark(null); read(null); } });
  aim?.addEventListener("input", () => {
    const value = Number(aim.value.replace(",", "."));
    if (value > 0) view.signal("aim", value).runAsync();
  });
  figure.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1, Home: -points.length, End: points.length }[event.key];
    if (!step || !points.length) return;
    event.preventDefault();
    where = Math.min(points.length - 1, Math.max(0, where + step));
    mark(points[where].t);
    read(points[where].t, points[where].v);
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", show);
}

for (const figure of document.querySelectorAll("figure[data-chart]")) {
  const watcher = new IntersectionObserver((entries) => {
    if (!entries.some((entry) => entry.isIntersecting)) return;
    watcher.disconnect();
    draw(figure).catch((error) => {
      figure.classList.remove("drawn");
      console.error(error);
    });
  }, { rootMargin: "200px" });
  watcher.observe(figure);
}
