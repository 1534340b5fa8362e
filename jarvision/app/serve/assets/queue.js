"use strict";
// Photos wait in the browser's own store until the server has said that it has them. Each is known by
// its SHA-256, so that a photo that is sent twice is there once.
const camera = document.querySelector("#camera");
const queueBox = document.querySelector("#queue");
const answers = document.querySelector("#answers");
const token = document.querySelector('meta[name="csrf"]').content;
const FIRST_WAIT_MS = 1000, LONGEST_WAIT_MS = 30000, ASK_MS = 300;
const LATER = { 429: "Too many at once", 503: "The server has much to do", 507: "The server's disk is full" };
const FOR_GOOD = { 413: "is too large", 415: "is no photo", 404: "has no name" };
let pumping = false, hurry = () => {};
const pause = (ms) => new Promise((done) => setTimeout(done, ms));

const store = new Promise((opened, failed) => {
  const asked = indexedDB.open("jarvision", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("photos", { keyPath: "sha" });
  asked.onsuccess = () => opened(asked.result);
  asked.onerror = () => failed(asked.error);
});
const memory = new Map(); // where the browser keeps no store, as some do in private windows

async function inStore(mode, work) {
  const db = await store;
  return new Promise((done, failed) => {
    const moved = db.transaction("photos", mode, { durability: "strict" });
    const asked = work(moved.objectStore("photos"));
    moved.oncomplete = () => done(asked.result);
    moved.onerror = moved.onabort = () => failed(moved.error);
  });
}
async function keep(photo) {
  memory.set(photo.sha, photo);
  try {
    await inStore("readwrite", (photos) => photos.put(photo));
    memory.delete(photo.sha);
  } catch { /* it waits in memory */ }
}
async function drop(sha) {
  memory.delete(sha);
  try { await inStore("readwrite", (photos) => photos.delete(sha)); } catch { /* it was never there */ }
}
async function waiting() {
  let kept = [];
  try { kept = await inStore("readonly", (photos) => photos.getAll()); } catch { /* none is kept */ }
  return [...kept, ...memory.values()].sort((one, two) => one.number - two.number);
}

function tell(text, wrong) {
  const line = document.createElement("p");
  line.textContent = text;
  if (wrong) line.className = "wrong";
  return line;
}
function tellQueue(photos, text) {
  queueBox.replaceChildren();
  if (photos.length) queueBox.append(tell(`${photos.length} ${photos.length === 1 ? "photo" : "photos"} to send. ${text}`));
}

// ------------------------------------------------------------------------- in
async function take(files) {
  const side = document.querySelector("#side").value;
  let number = Date.now();
  for (const file of files) {
    if (file.size > Number(camera.dataset.most)) {
      answers.prepend(tell(`${file.name} is too large.`, true));
      continue;
    }
    const bytes = await file.arrayBuffer();
    await keep({ sha: sha256(bytes), bytes, jar: camera.dataset.jar, view: side, taken: file.lastModified / 1000, number: number++, name: file.name });
  }
  pump();
}
for (const input of camera.querySelectorAll("input[type=file]")) {
  const picked = async () => {
    if (!input.files.length) return;
    await take([...input.files]);
    input.value = "";
  };
  input.addEventListener("change", picked);
  picked(); // a thumb may be faster than this script
}

// ------------------------------------------------------------------------- out
async function pump() {
  if (pumping) return;
  pumping = true;
  let wait = FIRST_WAIT_MS;
  for (let photos = await waiting(); photos.length; photos = await waiting()) {
    tellQueue(photos, "Sending.");
    const photo = photos[0], came = await send(photo);
    if (came.settled) {
      wait = FIRST_WAIT_MS;
      await drop(photo.sha);
      if (came.wrong) answers.prepend(tell(`${photo.name} ${came.wrong}.`, true));
      else follow(photo.sha);
      continue;
    }
    if (came.stop) { tellQueue(photos, came.stop); break; }
    tellQueue(photos, `${came.why || "No connection"}: they are kept here and sent later.`);
    await Promise.race([pause(came.wait || wait), new Promise((go) => { hurry = go; })]);
    wait = Math.min(2 * wait, LONGEST_WAIT_MS);
  }
  pumping = false;
  if (!(await waiting()).length) tellQueue([], "");
}
async function send(photo) {
  const told = new URLSearchParams({ jar: photo.jar, view: photo.view, taken: photo.taken });
  let answer;
  try {
    answer = await fetch(`/photos/${photo.sha}?${told}`, {
      method: "PUT", headers: { "x-csrf": token, "content-type": "application/octet-stream" }, body: photo.bytes,
    });
  } catch { return {}; }
  if (answer.ok) return { settled: true };
  if (answer.status in FOR_GOOD) return { settled: true, wrong: FOR_GOOD[answer.status] };
  if (answer.status === 401 || answer.status === 403) return { stop: "Come in again with a new code; they are kept here until then." };
  const why = LATER[answer.status] || `The server could not take it (${answer.status})`;
  return { why, wait: 1000 * Number(answer.headers.get("retry-after") || 0) };
}
addEventListener("online", () => hurry());

// ------------------------------------------------------------------------- answers
// One after another, as the server reads them: many that ask at once would be taken for a flood.
let asking = Promise.resolve();
function follow(sha) {
  const place = document.createElement("div");
  place.append(tell("Reading the photo."));
  answers.prepend(place);
  asking = asking.then(() => askFor(sha, place));
}
async function askFor(sha, place) {
  for (;;) {
    try {
      const answer = await fetch(`/photos/${sha}`);
      if (answer.status === 404 || answer.status === 401) { place.remove(); return; }
      const told = answer.ok ? await answer.json() : {};
      if (told.settled) {
        place.innerHTML = told.html; // laid out and escaped by the server
        place.scrollIntoView({ block: "nearest" });
        return;
      }
    } catch { /* asked again */ }
    await pause(ASK_MS);
  }
}
for (const sha of camera.dataset.shown.split(" ").filter(Boolean)) follow(sha);
pump();
