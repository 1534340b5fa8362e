"use strict";
// Counting: the wall is moved under a cross; answers are sent in turn, and none is passed over.
const box = document.querySelector("#counting");
const view = document.querySelector("#view"), wall = document.querySelector("#wall");
const state = document.querySelector("#state"), finished = document.querySelector("#finished");
const wider = document.querySelector("#wider");
const buttons = [...document.querySelectorAll("[data-answer]")];
const csrf = document.querySelector("meta[name=csrf]").content;
const points = JSON.parse(box.dataset.points);
const PX_PER_MM = Number(box.dataset.pxPerMm), NEAR_MM = 22, FAR_MM = 60;
let at = Number(box.dataset.done), wide = false, failed = null, pending = 0, undoing = false;
let line = Promise.resolve();

function show() {
  const done = at >= points.length;
  finished.hidden = !done;
  for (const button of buttons) button.disabled = done || undoing || failed !== null;
  state.classList.toggle("wrong", failed !== null);
  state.textContent = failed !== null
    ? "The last answer was not saved. It is sent again: wait, or look whether the server runs."
    : done ? `${points.length} points counted.` : `Point ${at + 1} of ${points.length}`;
  const [x, y] = points[Math.min(at, points.length - 1)];
  const scale = view.clientWidth / (PX_PER_MM * (wide ? FAR_MM : NEAR_MM));
  const half = view.clientWidth / 2;
  wall.style.transform = `translate(${half - x * scale}px, ${half - y * scale}px) scale(${scale})`;
}

async function send(path, fields) {
  const told = new URLSearchParams(
    {photo: box.dataset.photo, who: box.dataset.who, round: box.dataset.round, ...fields});
  for (;;) {
    try {
      const answer = await fetch(path, {method: "POST", body: told, headers: {"x-csrf": csrf}});
      if (answer.ok) {
        if (failed !== null) { failed = null; show(); }
        return await answer.json();
      }
      if (answer.status !== 429 && answer.status !== 503) { location.reload(); return null; }
    } catch { /* the network is away: the same answer is sent again */ }
    failed = fields;
    show();
    await new Promise((resolve) => setTimeout(resolve, 1500));
  }
}

function answer(word) {
  if (at >= points.length || undoing || failed !== null) return;
  const [, , angle, height] = points[at];
  at += 1;
  show();
  later(() => send("/count/answer", {answer: word, angle, height}));
}

function undo() {
  if (at === 0 || undoing || failed !== null) return;
  undoing = true;
  show();
  later(async () => {
    const back = await send("/count/undo", {});
    undoing = false;
    if (back === null) return;
    const was = points.findIndex(([, , angle, height]) => angle === back.angle && height === back.height);
    if (was < 0) { location.reload(); return; }
    const [point] = points.splice(was, 1);  // it comes again, as the next one
    at -= 1;
    points.splice(at, 0, point);
    show();
  });
}

function later(work) {
  pending += 1;
  line = line.then(work).finally(() => { pending -= 1; });
}

function widen() {
  wide = !wide;
  wider.setAttribute("aria-pressed", String(wide));
  show();
}

for (const button of buttons) button.addEventListener("click", () => answer(button.dataset.answer));
document.querySelector("#undo").addEventListener("click", undo);
wider.addEventListener("click", widen);
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const button = buttons[Number(event.key) - 1], letter = event.key.toLowerCase(); // caps lock may be on
  if (button && !button.disabled && !event.repeat) answer(button.dataset.answer);
  else if (letter === "u" || event.key === "Backspace") undo();
  else if (letter === "w") widen();
});
window.addEventListener("resize", show);
// Whoever leaves before all is saved is asked.
window.addEventListener("beforeunload", (event) => { if (pending > 0) event.preventDefault(); });
show();
