"use strict";
// Photos wait in the browser's own store until the server has said that it has them. Each is known by
// its SHA-256, so that a photo that is sent twice is there once. One that cannot be sent lets the
// others go first; one that the server does not take is set aside here, with the reason, until the
// grower tries again or forgets it.
const camera = document.querySelector("#camera");
const queueBox = document.querySelector("#queue");
const asideBox = document.querySelector("#aside");
const answers = document.querySelector("#answers");
const token = document.querySelector('meta[name="csrf"]').content;
const FIRST_WAIT_MS = 1000, LONGEST_WAIT_MS = 30000, ASK_MS = 300, MOST_TRIES = 3;
const LATER = { 429: "Too many at once", 503: "The server has much to do", 507: "The server's disk is full" };
const FOR_GOOD = { 413: "It is too large", 415: "It is no photo", 404: "It has no name" };
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
async function held() {
  let kept = [];
  try { kept = await inStore("readonly", (photos) => photos.getAll()); } catch { /* none is kept */ }
  return [...kept, ...memory.values()].sort((one, two) => one.number - two.number);
}
const failures = new Map(); // how often each photo failed since this page was opened
async function waiting() {
  const order = (photo) => failures.get(photo.sha) || 0;
  return (await held()).filter((photo) => !photo.aside).sort((one, two) => order(one) - order(two));
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

// ------------------------------------------------------------------------- set aside
async function tellAside() {
  const photos = (await held()).filter((photo) => photo.aside);
  for (const image of asideBox.querySelectorAll("img")) URL.revokeObjectURL(image.src);
  asideBox.replaceChildren(...photos.map(asideCard));
}
function asideCard(photo) {
  const card = document.createElement("div"), image = document.createElement("img");
  card.className = "panel aside";
  image.src = URL.createObjectURL(new Blob([photo.bytes]));
  image.alt = "The photo that was not taken";
  const of = photo.jar ? `of ${photo.jar} ` : "";
  const again = button("Try again", async () => {
    failures.delete(photo.sha);
    await keep({ ...photo, aside: "" });
    await tellAside();
    pump();
  });
  const forget = button("Forget it", async () => {
    if (!forget.dataset.sure) {
      forget.dataset.sure = "yes";
      forget.textContent = "Forget it for good: it is nowhere else";
      return;
    }
    await drop(photo.sha);
    await tellAside();
  });
  forget.className = "second";
  card.append(tell(`${photo.name} ${of}was not taken. ${photo.aside}.`, true), image, again, forget);
  return card;
}
function button(text, press) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = text;
  made.addEventListener("click", press);
  return made;
}
async function setAside(photo, reason) {
  failures.delete(photo.sha);
  await keep({ ...photo, aside: reason });
  await tellAside();
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
      failures.delete(photo.sha);
      await drop(photo.sha);
      follow(photo.sha);
      continue;
    }
    if (came.stop) { tellQueue(photos, came.stop); break; }
    if (!came.full) failures.set(photo.sha, (failures.get(photo.sha) || 0) + 1); // others go first
    if (came.wrong || (came.odd && failures.get(photo.sha) >= MOST_TRIES)) {
      await setAside(photo, came.wrong || came.why);
      continue;
    }
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
  if (answer.status in FOR_GOOD) return { wrong: FOR_GOOD[answer.status] };
  if (answer.status === 401 || answer.status === 403) return { stop: "Come in again with a new code; they are kept here until then." };
  const full = answer.status in LATER; // which says nothing of this photo
  const why = LATER[answer.status] || `The server could not take it (${answer.status})`;
  return { why, full, odd: !full, wait: 1000 * Number(answer.headers.get("retry-after") || 0) };
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
tellAside();
for (const sha of camera.dataset.shown.split(" ").filter(Boolean)) follow(sha);
pump();
