// The shelf's hands: what is typed is looked for at once, and what is still being read is looked for again.
"use strict";

let asked = 0;

async function find() {
  const turn = ++asked, words = $("words").value;
  try {
    const html = await (await ask("/found?" + new URLSearchParams({ words }))).text();
    if (turn !== asked) return;
    $("found").innerHTML = html;
    history.replaceState(null, "", words ? "/?" + new URLSearchParams({ words }) : "/");
  } catch (fault) { say(fault.message, true); }
  again();
}

function again() {
  clearTimeout(again.timer);
  if ($("left")) again.timer = setTimeout(find, 1500);
}

$("words").addEventListener("input", find);
again();
