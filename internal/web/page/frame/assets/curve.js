// Draws the curve of the chosen piece with uPlot from /curve/<cook>/<piece>. Colours come from the style sheet.
let plot = null;
let shown = ""; // the piece that is drawn

function look() {
  const style = getComputedStyle(document.documentElement);
  const get = (name) => style.getPropertyValue(name).trim();
  return { core: get("--core"), pit: get("--pit"), ink: get("--ink"), dim: get("--dim"), grid: get("--grid"), fan: get("--fan"), card: get("--card"), serve: get("--serve") };
}

function join(d) {
  return uPlot.join([d.fan, d.core, d.pit].map((t) => (t[0] ? t : t.map(() => []))));
}

function options(box, d, c) {
  const zone = d.zone === "Local" ? undefined : d.zone;
  const part = (o) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", ...o });
  const clock = part({ hour: "2-digit", minute: "2-digit" });
  const day = part({ weekday: "short", day: "numeric" });
  const label = (t) => { const s = clock.format(t * 1000); return s === "00:00" ? day.format(t * 1000) : s; };
  const fixed = (v) => (v == null ? "–" : v.toFixed(1) + " " + d.unit);
  const line = (name, color, width, extra) => ({ label: name, stroke: color, width, spanGaps: true, points: { show: false }, value: (u, v) => fixed(v), ...extra });
  const edge = (name) => line(name, `rgba(${c.fan},.5)`, 1, {});
  return {
    width: box.clientWidth, height: box.clientHeight, ms: 1e-3,
    tzDate: zone ? (t) => uPlot.tzDate(new Date(t * 1e3), zone) : undefined,
    legend: { show: false }, cursor: { y: false, drag: { x: true, y: false } },
    scales: { x: { time: true }, y: { range: (u, lo, hi) => { const top = Math.max(hi, d.target); const pad = (top - lo) * 0.06; return [lo - pad, top + pad]; } } },
    axes: [
      { stroke: c.dim, grid: { stroke: c.grid, width: 1 }, ticks: { show: false }, size: 28, space: 62, values: (u, at) => at.map(label) },
      { stroke: c.dim, grid: { stroke: c.grid, width: 1 }, ticks: { show: false }, size: 44, values: (u, at) => at.map((v) => String(v)) },
    ],
    series: [
      { value: (u, t) => (t == null ? "" : label(t)) },
      edge("least"), line("", "transparent", 0), line("Forecast", c.core, 2, { dash: [2, 4] }), line("", "transparent", 0), edge("most"),
      line("Core", c.core, 3), line("Pit", c.pit, 1.5), line("", "transparent", 0), line("", "transparent", 0),
    ],
    bands: [{ series: [5, 1], fill: `rgba(${c.fan},.20)` }, { series: [4, 2], fill: `rgba(${c.fan},.32)` }],
    hooks: { draw: [(u) => overlay(u, d, c)], setCursor: [(u) => readout(u, d, label, fixed)] },
  };
}

// overlay draws target, now, serving hour and events over the curves.
function overlay(u, d, c) {
  const { ctx, bbox } = u;
  const px = devicePixelRatio;
  ctx.save();
  ctx.font = `${12 * px}px system-ui, sans-serif`;
  const text = (s, x, y, align, color) => {
    ctx.textAlign = align;
    ctx.lineWidth = 4 * px; ctx.strokeStyle = c.card; ctx.setLineDash([]); ctx.strokeText(s, x, y);
    ctx.fillStyle = color; ctx.fillText(s, x, y);
  };
  const rule = (x0, y0, x1, y1, color, dash, width) => {
    ctx.strokeStyle = color; ctx.lineWidth = width * px; ctx.setLineDash(dash.map((n) => n * px));
    ctx.beginPath(); ctx.moveTo(x0, y0); ctx.lineTo(x1, y1); ctx.stroke();
  };
  const x = (t) => u.valToPos(t, "x", true);
  const y = (v) => u.valToPos(v, "y", true);
  const right = bbox.left + bbox.width, foot = bbox.top + bbox.height;
  rule(bbox.left, y(d.target), right, y(d.target), c.ink, [8, 4], 1.5);
  text(`target ${d.target} ${d.unit}`, bbox.left + 6 * px, y(d.target) - 5 * px, "left", c.ink);
  rule(x(d.now), bbox.top, x(d.now), foot, c.ink, [], 1.5);
  if (d.serve && x(d.serve) <= right) {
    rule(x(d.serve), bbox.top, x(d.serve), foot, c.serve, [7, 4], 1.5);
    text("serve", x(d.serve) - 5 * px, foot - 6 * px, "right", c.ink);
  }
  d.marks.forEach((m, i) => {
    const at = x(m.time);
    ctx.fillStyle = c.ink; ctx.setLineDash([]);
    ctx.beginPath(); ctx.moveTo(at, foot); ctx.lineTo(at - 6 * px, foot - 11 * px); ctx.lineTo(at + 6 * px, foot - 11 * px); ctx.fill();
    if (u.width > 600) text(m.what, at, foot - (18 + 15 * (i % 3)) * px, "center", c.dim);
  });
  ctx.restore();
}

function readout(u, d, label, fixed) {
  const out = u.root.parentElement.nextElementSibling;
  const i = u.cursor.idx;
  if (!out) return;
  if (i == null) { out.textContent = ""; return; }
  const near = (s) => { for (let k = 0; k < 8; k++) { const v = u.data[s][i - k] ?? u.data[s][i + k]; if (v != null) return v; } return null; };
  const t = u.data[0][i];
  out.textContent = t <= d.now ? `${label(t)}: core ${fixed(near(6))}, pit ${fixed(near(7))}` : `${label(t)}: core probably ${fixed(near(1))} to ${fixed(near(5))}`;
}

// drawCurve fetches and draws the figure's curve, or draws nothing when there is no figure.
export async function drawCurve(figure) {
  if (!figure || !window.uPlot) return;
  const from = figure.dataset.curve;
  let d;
  try {
    const answer = await fetch(from, { headers: { Accept: "application/json" } });
    if (!answer.ok) return;
    d = await answer.json();
  } catch { return; } // the stream says when the daemon is away; the table stands below
  if (!figure.isConnected || figure.dataset.curve !== from) return;
  figure.hidden = false;
  const box = figure.querySelector(".plot");
  if (plot && shown === from && box.contains(plot.root)) plot.destroy();
  box.replaceChildren();
  plot = new uPlot(options(box, d, look()), join(d), box);
  shown = from;
}

let resizing = 0;
addEventListener("resize", () => {
  clearTimeout(resizing);
  resizing = setTimeout(() => { const box = plot?.root.parentElement; if (box?.isConnected) plot.setSize({ width: box.clientWidth, height: box.clientHeight }); }, 150);
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => drawCurve(document.getElementById("curve")));
