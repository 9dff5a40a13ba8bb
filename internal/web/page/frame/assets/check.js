// Checks the start form while it is typed: the server says what is wrong and what it forecasts, this file puts it in place.
const form = document.getElementById("start");
let timer = 0, asked = 0;

function put(kind, notes, touched) {
  for (const out of form.querySelectorAll("." + kind)) {
    const field = out.id.slice(kind.length + 1);
    const text = touched.has(field) ? notes[field] ?? "" : "";
    if (out.textContent !== text) out.textContent = text;
    if (kind === "wrong") document.getElementById(field)?.toggleAttribute("data-wrong", text !== "");
  }
}

const touched = new Set();
for (const out of form.querySelectorAll(".wrong, .caution")) if (out.textContent) touched.add(out.id.replace(/^(wrong|caution)-/, ""));

async function check() {
  const mine = ++asked;
  const data = new URLSearchParams(new FormData(form));
  data.set("check", "1");
  try {
    const answer = await fetch("/start", { method: "POST", body: data });
    if (!answer.ok || mine !== asked) return;
    const said = await answer.json();
    put("wrong", said.wrong, touched);
    put("caution", said.cautions, touched);
    document.getElementById("seen").value = Object.entries(said.taken).filter(([field]) => touched.has(field)).map(([, probe]) => probe).join("\n");
    for (const out of form.querySelectorAll(".ahead")) {
      const text = said.ahead[out.id.slice(6)] ?? "";
      if (out.textContent !== text) out.textContent = text;
    }
    form.dataset.checked = "true";
    for (const more of form.querySelectorAll("details details")) if ([...more.querySelectorAll(".wrong, .caution")].some((n) => n.textContent)) more.open = true;
  } catch { /* the server checks again when the form is sent */ }
}

function usual(select) {
  const of = (field) => document.getElementById(`p${select.dataset.cut}-${field}`);
  const cut = select.selectedOptions[0].dataset;
  of("target").placeholder = cut.target;
  of("wrapat").placeholder = cut.wrapat;
  if (!touched.has(of("wrap").name)) of("wrap").value = cut.wrap;
}

form.addEventListener("input", (e) => {
  touched.add(e.target.name);
  if (/-(cut|intact)$/.test(e.target.name)) touched.add(e.target.name.replace(/-\w+$/, "-target"));
  if (e.target.matches("[data-cut]")) usual(e.target);
  delete form.dataset.checked;
  clearTimeout(timer);
  timer = setTimeout(check, 350);
});
for (const select of form.querySelectorAll("[data-cut]")) {
  touched.add(`p${select.dataset.cut}-wrap`); // what the server chose stays
  usual(select);
  touched.delete(`p${select.dataset.cut}-wrap`);
}
document.getElementById("look")?.remove();
