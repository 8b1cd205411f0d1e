// The hands of a machine's own page: what is entered, with the whole inside drawn anew.
"use strict";

const machine = document.body.dataset.machine;
let drawing = 0;

function enter(what, then) {
  busy = busy.then(async () => {
    try {
      const sent = { ...what, digest: document.body.dataset.digest, window: me };
      const answer = await ask("/machine-do/" + machine, sent);
      if (answer.conflict) { apart(answer.conflict, sent); return; }
      inside(await answer.json());
      if ($("choices").open) { $("choices").close(); found_again({ add: add.kind }).focus({ preventScroll: true }); }
      if (then) then();
    } catch (fault) { say(fault.message === "Failed to fetch" ? "The server doesn't answer. Start it again: what was entered before is on the disk." : fault.message, true); }
  });
  return busy;
}

// The inside in place of what is there; the hand stays where it is, and what was open stays open.
function inside(answer) {
  const active = document.activeElement, at = active && active.id, spot = active && { ...active.dataset };
  const open = [...document.querySelectorAll("#machine-in details[open]")].map((one) => one.id);
  const before = document.body.dataset.digest, top = at && $(at) ? $(at).getBoundingClientRect().top : 0;
  document.body.dataset.digest = answer.digest;
  document.body.dataset.there = answer.there;
  $("machine-in").innerHTML = answer.inside;
  $("conflict").innerHTML = answer.conflict || "";
  for (const one of open) if (one && $(one)) $(one).open = true;
  if (at && $(at)) { $(at).focus({ preventScroll: true }); scrollBy(0, $(at).getBoundingClientRect().top - top); } else if (spot && !document.contains(active)) found_again(spot).focus({ preventScroll: true });
  say("");
  if (before !== answer.digest) draw();
}

// What was tapped, where it stands now; what isn't there any more leaves the hand at the head of the page's inside.
function found_again(spot) {
  const asked = spot.add ? `[data-add="${CSS.escape(spot.add)}"]` : spot.enter ? `[data-enter="${CSS.escape(spot.enter)}"]` : "";
  return (asked && document.querySelector(asked)) || document.querySelector("#machine-in summary, #machine-in button");
}

// The drawing follows a moment after: a hand that types on doesn't wait for it.
async function draw() {
  const turn = ++drawing;
  await new Promise((on) => setTimeout(on, turn === 1 ? 0 : 250));
  if (turn !== drawing) return;
  try {
    const html = await (await ask("/machine-train/" + machine)).text();
    if (turn === drawing) { $("train-in").innerHTML = html; document.body.dataset.drawn = document.body.dataset.digest; }
  } catch (fault) { if (turn === drawing) $("train-in").textContent = fault.message; }
}

async function add(kind, origin) {
  add.kind = kind;
  try {
    $("choices-in").innerHTML = await (await ask(`/machine-add/${machine}?${new URLSearchParams({ kind, origin })}`)).text();
    if (!$("choices").open) $("choices").showModal();
    const first = document.querySelector("#choices form input:not([type=hidden])");
    if (first) first.focus();
  } catch (fault) { say(fault.message, true); }
}

async function fit() {
  $("fitted").textContent = "Trying every number that fits.";
  try { $("fitted").innerHTML = await (await ask("/machine-fit/" + machine)).text(); } catch (fault) { $("fitted").textContent = fault.message; }
}

async function choose_text(ours) {
  const shown = document.querySelector(".conflict").dataset;
  const answer = await ask("/machine-choose/" + machine, { ours, theirs: shown.theirs, what: apart.refused || { digest: shown.ours } });
  if (answer.conflict) { apart(answer.conflict, apart.refused); return; }
  apart.refused = null;
  inside(await answer.json());
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.enter) return;
  event.preventDefault();
  const what = { do: form.dataset.enter };
  for (const [key, value] of new FormData(form)) what[key] = key in what && key !== "do" ? [].concat(what[key], value) : value;
  if (form.dataset.number) what.number = Number(form.dataset.number);
  if (form.dataset.at) what.path = JSON.parse(form.dataset.at);
  enter(what, form.dataset.then === "fit" ? fit : null);
});

document.addEventListener("change", (event) => {
  const data = event.target.dataset || {};
  if (data.plate) enter({ do: "plate", key: data.plate, value: event.target.value });
  else if (data.path) enter({ do: "set", path: JSON.parse(data.path), value: event.target.value });
});

document.addEventListener("click", async (event) => {
  const at = event.target.closest("button");
  if (!at) return;
  const data = at.dataset;
  try {
    if (data.enter) enter(JSON.parse(data.enter));
    else if (data.add) { add(data.add, add.origin || ""); add.origin = ""; }
    else if (data.from) { $("m-add").scrollIntoView(); add.origin = data.from; say(`Tap what ${data.from} drives.`); }
    else if (data.show) { $(data.show).open = true; $(data.show).scrollIntoView(); $(data.show).querySelector("summary").focus({ preventScroll: true }); }
    else if (at.id === "fit-go") fit();
    else if (at.id === "fit-write") { inside(await (await ask("/machine-found/" + machine, {})).json()); }
    else if (at.id === "take-theirs") choose_text(false);
    else if (at.id === "take-ours") await choose_text(true);
  } catch (fault) { say(fault.message, true); }
});

// Other windows, and other programs, change files too: the server tells.
async function seen_machine(outside) {
  if (document.querySelector(".conflict")) return;
  const had = document.body.dataset.digest;
  const answer = await (await ask(`/machine-state/${machine}?had=${outside ? had : ""}`)).json();
  if (answer.digest !== had) inside(answer);
  if (answer.conflict) apart(answer.conflict, null);
}

function listen_machine() {
  const socket = new WebSocket(`ws://${location.host}/live?window=${me}&had=${document.body.dataset.there}&job=${encodeURIComponent(document.body.dataset.file)}`);
  socket.onmessage = (message) => {
    const told = JSON.parse(message.data);
    if (told.digest !== document.body.dataset.digest) busy = busy.then(() => seen_machine(told.outside)).catch((fault) => say(fault.message, true));
  };
  socket.onclose = () => setTimeout(listen_machine, 1500);
}

draw();
if (document.body.dataset.own === "1") listen_machine();
