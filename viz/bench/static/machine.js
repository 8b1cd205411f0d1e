// The hands of a machine's own page.
"use strict";

// The machine's page: what is entered, with the whole inside drawn anew.
const machine = document.body.dataset.machine;

function enter(what) {
  busy = busy.then(async () => {
    try {
      const answer = await (await ask("/machine-do/" + machine, { ...what, digest: document.body.dataset.digest })).json();
      inside(answer);
    } catch (fault) { say(fault.message, true); }
  });
  return busy;
}

function inside(answer) {
  const at = document.activeElement && document.activeElement.id;
  const open = [...document.querySelectorAll("details[open]")].map((one) => one.id);
  document.body.dataset.digest = answer.digest;
  $("machine-in").innerHTML = answer.inside;
  for (const one of open) if (one && $(one)) $(one).open = true;
  if (at && $(at)) $(at).focus({ preventScroll: true });
  say("");
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.enter) return;
  event.preventDefault();
  const what = { do: form.dataset.enter };
  for (const [key, value] of new FormData(form)) what[key] = value;
  if (form.dataset.number) what.number = Number(form.dataset.number);
  enter(what);
});

document.addEventListener("change", (event) => {
  const data = event.target.dataset || {};
  if (data.plate) enter({ do: "plate", key: data.plate, value: event.target.value });
  else if (data.limit) enter({ do: "limit", key: data.limit, value: event.target.value });
  else if (data.linkKey) { const [number, ...key] = data.linkKey.split(" "); enter({ do: "link key", number: Number(number), key: key.join(" "), value: event.target.value }); }
});

document.addEventListener("click", async (event) => {
  const at = event.target.closest("button[data-enter], [data-machine-train], #fit-go, #fit-write");
  if (!at) return;
  try {
    if (at.dataset.enter) enter(JSON.parse(at.dataset.enter));
    else if (at.id === "fit-go") { $("fitted").textContent = "Trying every number that fits."; $("fitted").innerHTML = await (await ask("/machine-fit/" + machine)).text(); }
    else if (at.id === "fit-write") inside(await (await ask("/machine-found/" + machine, {})).json());
    else { $("train-in").textContent = "Drawing."; $("train-in").innerHTML = await (await ask("/machine-train/" + machine)).text(); }
  } catch (fault) { say(fault.message, true); }
});
