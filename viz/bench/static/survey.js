// The survey's hands: what is picked is looked at, and the table fills.
"use strict";

const picked = (id) => [...document.querySelectorAll(`#${id} input:checked`)].map((one) => one.value);

async function show(address, body) {
  try {
    $("survey").innerHTML = await (await ask(address, body)).text();
  } catch (fault) { say(fault.message, true); return; }
  clearTimeout(show.timer);
  if ($("survey-said") && $("survey-said").dataset.running === "1") show.timer = setTimeout(() => show("/survey-table"), 700);
}

async function makeJob(at) {
  at.disabled = true;
  try { location.href = (await (await ask("/survey-job", { job: at.dataset.make, machine: at.dataset.on })).json()).go; } catch (fault) { say(fault.message, true); at.disabled = false; }
}

document.addEventListener("click", (event) => {
  const at = event.target.closest("button");
  if (!at) return;
  if (at.id === "survey-go") show("/survey-start", { jobs: picked("jobs"), machines: picked("machines") });
  else if (at.dataset.make) makeJob(at);
  else if (at.id === "survey-stop") show("/survey-stop", {});
  else if (at.dataset.all || at.dataset.none) for (const one of document.querySelectorAll(`#${at.dataset.all || at.dataset.none} input`)) one.checked = Boolean(at.dataset.all);
});

if ($("survey-said")) show("/survey-table");
