// Draws the cores of several cooks over each other, from the lighting of each fire. Colour and dash tell them apart, as in
// the list below the chart.
const figure = document.getElementById("overlay");
const dashes = [[], [10, 4], [3, 3], [10, 3, 2, 3], [1, 4], [16, 5]];

async function draw() {
  const answer = await fetch(figure.dataset.curves, { headers: { Accept: "application/json" } });
  if (!answer.ok) return;
  const d = await answer.json();
  figure.hidden = false;
  const box = figure.querySelector(".plot");
  const style = getComputedStyle(document.documentElement);
  const ink = (name) => style.getPropertyValue(name).trim();
  const colors = ["--core", "--pit", "--ready", "--wrap", "--ink", "--dim"].map(ink);
  const axis = { stroke: ink("--dim"), grid: { stroke: ink("--grid"), width: 1 }, ticks: { show: false } };
  box.replaceChildren();
  new uPlot({
    width: box.clientWidth, height: box.clientHeight, legend: { show: false }, scales: { x: { time: false } }, cursor: { y: false },
    axes: [{ ...axis, size: 28, values: (u, at) => at.map((h) => `${h} h`) }, { ...axis, size: 44 }],
    series: [{}, ...d.curves.map((c, i) => ({ label: c.name, stroke: colors[i % colors.length], width: 2.5, dash: dashes[i % dashes.length], spanGaps: true, points: { show: false } }))],
  }, uPlot.join(d.curves.map((c) => [c.hours, c.core])), box);
}

if (figure && window.uPlot) draw();
