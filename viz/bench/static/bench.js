// The page's hands: what is tapped or typed goes to the server, which answers with the parts that changed.
"use strict";

const job = document.body.dataset.job;
const $ = (id) => document.getElementById(id);
let busy = Promise.resolve();
let later = 0;
const me = Math.random().toString(36).slice(2);

function say(words, stays) {
  $("said").textContent = words;
  clearTimeout(say.timer);
  if (words && !stays) say.timer = setTimeout(() => say(""), 6000);
}

async function ask(address, body) {
  const how = body === undefined ? {} : { method: "POST", body: JSON.stringify(body) };
  how.headers = { "x-bench": "1", "content-type": "application/json" };
  const answer = await fetch(address, how);
  if (answer.status === 409) return { conflict: await answer.text() };
  if (!answer.ok) throw new Error((await answer.text()).slice(0, 600));
  return answer;
}

// Parts are put in place of what is there; the hand stays where it is.
function place(parts) {
  const active = document.activeElement;
  const at = active && active.id ? active.id : null;
  const spot = active && active.dataset ? active.dataset : {};
  const open = [...document.querySelectorAll("details[open] > summary")].map((one) => one.textContent);
  const held = [...document.querySelectorAll("[data-hold]:checked")].map((one) => one.dataset.hold);
  for (const [name, html] of Object.entries(parts)) {
    const here = name === "verdict" ? $("verdict") : $("part-" + name);
    if (!here || here.dataset.html === html) continue;
    here.innerHTML = html;
    here.dataset.html = html;
  }
  for (const one of document.querySelectorAll("details > summary")) if (open.includes(one.textContent)) one.parentNode.open = true;
  for (const one of document.querySelectorAll("[data-hold]")) if (held.includes(one.dataset.hold)) one.checked = true;
  if (document.activeElement !== active || !document.contains(active)) {
    let again = at ? $(at) : null;
    if (!again && spot.place) again = document.querySelector(`[data-bracket="${CSS.escape(spot.bracket)}"][data-place="${CSS.escape(spot.place)}"]`);
    if (!again && spot.do) again = document.querySelector(`[data-do="${CSS.escape(spot.do)}"]`);
    if (again) again.focus({ preventScroll: true });
  }
}

function take(answer) {
  if (answer.go) { location.href = answer.go; return; }
  document.body.dataset.digest = answer.digest;
  place(answer.parts);
  $("undo").disabled = !answer.undo;
  $("redo").disabled = !answer.redo;
  say("");
  $("conflict").replaceChildren();
  follow(answer.digest, answer.rest);
  if ($("plan-said")) $("plan-said").textContent = "Planned for the job as it was before the last change.";
  document.dispatchEvent(new CustomEvent("bench-changed"));
}

// One change after the other: each is made of what the one before left.
function change(what) {
  busy = busy.then(async () => {
    try {
      const answer = await ask("/do/" + job, { ...what, digest: document.body.dataset.digest, window: me });
      if (answer.conflict) { apart(answer.conflict, { ...what, digest: document.body.dataset.digest }); return; }
      take(await answer.json());
    } catch (fault) {
      say(fault.message === "Failed to fetch" ? "The server doesn't answer. Start it again: what was entered before is on the disk." : fault.message, true);
    }
  });
  return busy;
}

// Changed elsewhere: both are shown, and one is chosen for the whole file. What was entered last is kept for that.
function apart(html, refused) {
  $("conflict").innerHTML = html;
  apart.refused = refused;
  scrollTo(0, 0);
  const first = $("take-theirs");
  if (first) first.focus();
}

async function takeOurs() {
  const shown = document.querySelector(".conflict").dataset;
  try {
    const answer = await ask("/ours/" + job, { theirs: shown.theirs, what: apart.refused || { digest: shown.ours } });
    if (answer.conflict) { apart(answer.conflict, apart.refused); return; }
    take(await answer.json());
  } catch (fault) { say(fault.message, true); }
}

async function look() {
  try { take(await (await ask("/parts/" + job)).json()); } catch (fault) { say(fault.message, true); }
}

// What takes longer comes after: the blank, and remedies.
async function follow(digest, rest) {
  const turn = ++later;
  const mine = () => turn === later && document.body.dataset.digest === digest;
  if (!$("remedies")) return;
  // A hand that taps on doesn't wait for the blank of what it has left already.
  await new Promise((done) => setTimeout(done, 80));
  if (!mine()) return;
  if (rest) {
    try {
      const answer = await (await ask("/parts/" + job)).json();
      if (!mine() || answer.digest !== digest) return;
      place(answer.parts);
    } catch (fault) { say(fault.message, true); }
  }
  document.body.dataset.whole = digest;
  const cut = ask("/blank/" + job);
  ask("/remedies/" + job).then((a) => a.text()).then((html) => { if (mine() && $("remedies")) $("remedies").innerHTML = html; }).catch(() => {});
  try {
    const blank = await (await cut).json();
    if (!mine() || !$("blank-state")) return;
    for (const cell of document.querySelectorAll("[data-blank]")) cell.textContent = blank.rows[cell.dataset.blank] || "";
    $("blank-state").textContent = blank.why || "blank: measured on a simulated light cut";
    $("blank-state").className = blank.apart.length ? "error" : "small";
    if (blank.apart.length) $("blank-state").textContent = "The two witnesses disagree: " + blank.apart.join(" ");
    document.body.dataset.cut = digest;
  } catch (fault) { if (mine() && $("blank-state")) $("blank-state").textContent = "The blank wasn't cut: " + fault.message; }
}

async function choose(bracket, spot) {
  try {
    const query = new URLSearchParams({ bracket, place: spot });
    $("choices-in").innerHTML = await (await ask(`/choices/${job}?${query}`)).text();
    $("choices").showModal();
    const stands = document.querySelector("#choices [aria-current]") || document.querySelector("#choices [data-teeth]");
    if (stands) stands.focus();
  } catch (fault) { say(fault.message, true); }
}

// The best so far stands there while the rest of the drawers are searched.
async function plan() {
  const started = performance.now(), seconds = () => Math.round((performance.now() - started) / 1000);
  const held = [...document.querySelectorAll("[data-hold]:checked")].map((one) => one.dataset.hold);
  const asked = { held, feed: $("hold-feed").checked, top: 4 };
  let done = false;
  $("plan-go").disabled = true;
  $("planned").textContent = "Searching the drawers.";
  const watch = async () => {
    for (let k = 0; !done; k++) {
      await new Promise((on) => setTimeout(on, k < 5 ? 150 : 400));
      try {
        const html = done ? "" : await (await ask("/plan/" + job, { ...asked, so_far: true })).text();
        if (!done) { $("planned").innerHTML = html; $("plan-said").textContent = `Searching the drawers for ${seconds()} s.`; }
      } catch (fault) { return; }
    }
  };
  watch();
  try {
    const html = await (await ask("/plan/" + job, asked)).text();
    done = true;
    $("planned").innerHTML = html;
    $("plan-said").textContent = seconds() ? `Searched to the end in ${seconds()} s.` : "Searched to the end.";
  } catch (fault) { done = true; $("planned").textContent = fault.message; } finally { $("plan-go").disabled = false; }
}

async function trace() {
  $("traced").textContent = "Going through every slip, and every two together.";
  try { $("traced").innerHTML = await (await ask("/trace/" + job)).text(); } catch (fault) { $("traced").textContent = fault.message; }
}

async function train() {
  $("train-in").textContent = "Drawing.";
  try { $("train-in").innerHTML = await (await ask("/train/" + job)).text(); } catch (fault) { $("train-in").textContent = fault.message; }
}

async function light(what) {
  const query = new URLSearchParams(what);
  try {
    const found = await (await ask(document.body.dataset.machine ? `/machine-path/${document.body.dataset.machine}?${query}` : `/path/${job}?${query}`)).json();
    for (const one of document.querySelectorAll(".train .tapped")) one.classList.toggle("lit", found.lit.includes(one.dataset.part || one.dataset.link));
    $("train-said").innerHTML = found.html;
  } catch (fault) { say(fault.message); }
}

document.addEventListener("click", (event) => {
  const at = event.target.closest("[data-do], [data-bracket], [data-close], [data-part], [data-link], button");
  if (!at) return;
  if (at.dataset.do) {
    const what = JSON.parse(at.dataset.do);
    const dialog = at.closest("dialog");
    if (dialog) dialog.close();
    change(what).then(() => { if ((what.do === "answer" || what.do === "forget answers") && $("traced")) trace(); });
  } else if (at.dataset.bracket) choose(at.dataset.bracket, at.dataset.place);
  else if (at.dataset.close !== undefined) at.closest("dialog").close();
  else if (at.dataset.part) light({ part: at.dataset.part });
  else if (at.dataset.link) light({ link: at.dataset.link });
  else if (at.id === "plan-go") plan();
  else if (at.id === "plan-it") { $("plan").scrollIntoView(); plan(); }
  else if (at.id === "trace-go") trace();
  else if (at.id === "train-go") train();
  else if (at.id === "explain") at.setAttribute("aria-pressed", document.body.classList.toggle("explain"));
  else if (at.id === "train-large") at.setAttribute("aria-pressed", document.querySelector(".train").classList.toggle("large"));
  else if (at.id === "gear-go") gear();
  else if (at.dataset.sheet) printSheet(at.dataset.sheet);
  else if (at.id === "take-theirs" && job) { $("conflict").replaceChildren(); look(); }
  else if (at.id === "take-ours" && job) takeOurs();
  else if (at.id === "dial-set") change({ do: "swivel", degrees: $("dial-d").value, minutes: $("dial-m").value, turn: $("dial-w").value });
});

document.addEventListener("keydown", (event) => {
  const at = event.target.closest && event.target.closest("[role=button]");
  if (at && (event.key === "Enter" || event.key === " ")) { event.preventDefault(); at.dispatchEvent(new MouseEvent("click", { bubbles: true })); }
});

document.addEventListener("change", (event) => {
  const at = event.target;
  const data = at.dataset || {};
  if (data.field) change({ do: "field", path: data.field, value: at.value });
  else if (data.sizeKey !== undefined) {
    const size = document.querySelector(`[data-size="${data.sizeKey}"]`);
    size.dataset.field = at.value;
    if (size.value) change({ do: "field", path: at.value, value: size.value });
  } else if (data.gears) change({ do: "gears", bracket: data.gears, text: at.value });
  else if (data.hob !== undefined) change({ do: "hob", name: at.value });
});

document.addEventListener("submit", (event) => {
  if (event.target.id === "hang") { event.preventDefault(); change({ do: "hang", name: $("hang-name").value }); }
  if (event.target.id !== "measure") return;
  event.preventDefault();
  const given = {};
  for (const one of event.target.querySelectorAll("input")) if (one.value.trim()) given[one.name] = one.dataset.over ? `${one.dataset.over}=${one.value.trim()}` : one.value.trim();
  change({ do: "measure", given });
});

// The moving gear comes with its own script, when it is asked for.
function gear() {
  $("gear-go").disabled = true;
  const load = (address) => new Promise((done, failed) => {
    const script = document.createElement("script");
    script.src = address; script.onload = done; script.onerror = () => failed(new Error("It can't be loaded."));
    document.head.append(script);
  });
  (window.THREE ? Promise.resolve() : load("/static/three.js").then(() => load("/static/gear.js")))
    .then(() => window.showGear(job)).catch((fault) => { $("gear-words").textContent = fault.message; })
    .finally(() => { $("gear-go").disabled = false; });
}

// The sheet is printed out of a frame that nobody sees.
function printSheet(address) {
  $("sheet-said").textContent = "Drawing the sheet.";
  const frame = document.createElement("iframe");
  frame.className = "hidden"; frame.title = "the sheet that is printed"; frame.src = address;
  for (const old of document.querySelectorAll("iframe")) old.remove();
  frame.onload = () => {
    const drawn = frame.contentDocument && frame.contentDocument.title.startsWith("Set-up sheet");
    $("sheet-said").textContent = drawn ? "" : frame.contentDocument ? frame.contentDocument.body.textContent.slice(0, 400) : "The sheet can't be drawn.";
    if (drawn) frame.contentWindow.print();
  };
  document.body.append(frame);
}

// Other windows, and other programs, change files too: the server tells.
async function seen(outside) {
  if (document.querySelector(".conflict")) return; // what was refused waits for a choice
  const had = document.body.dataset.digest;
  await look();
  if (outside) apart(await (await ask(`/changed/${job}?had=${had}`)).text(), null);
}

function listen() {
  const socket = new WebSocket(`ws://${location.host}/live?window=${me}&had=${document.body.dataset.digest}&job=${encodeURIComponent(job)}`);
  socket.onmessage = (message) => {
    const told = JSON.parse(message.data);
    if (told.digest !== document.body.dataset.digest) busy = busy.then(() => told.digest !== document.body.dataset.digest && seen(told.outside));
  };
  socket.onclose = () => setTimeout(listen, 1500);
}

if (job) {
  listen();
  look();
}
