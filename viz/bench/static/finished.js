// The finished gear's page: readings go to the disk as they are typed; the records that are ticked are asked.
"use strict";

(() => {

const gear = document.body.dataset.gear;
const waiting = {};
let tried = false, sending = Promise.resolve(), timer = 0, inHand = null, turn = 0;

const readings = () => [...document.querySelectorAll("[data-reading]")];
const ticked = () => [...document.querySelectorAll("[data-record]:checked")].map((one) => one.dataset.record);
const counted = () => ($("xml-counted") ? $("xml-counted").value : "");
const asked = async (address, body) => (await ask(`${address}/${gear}`, body)).json();
const fail = (fault) => say(fault.message === "Failed to fetch" ? "The server doesn't answer. Start it again: what was typed before is on the disk." : fault.message, true);

// The fields anew; the hand stays where it is.
function sheet(html) {
  const active = document.activeElement, at = active && active.id, caret = active && active.selectionStart;
  $("sheet-in").innerHTML = html;
  for (const one of document.querySelectorAll("[data-reading], [data-keep]")) {
    const key = one.dataset.reading || one.dataset.keep; // what was typed meanwhile stands
    if (key in waiting) one.value = waiting[key];
  }
  if (at && $(at)) {
    $(at).focus({ preventScroll: true });
    if ($(at).setSelectionRange) $(at).setSelectionRange(caret, caret);
  }
}

function wrong(told) {
  for (const one of document.querySelectorAll("#sheet-in [data-at]")) {
    const words = told[one.dataset.at] || "", field = one.querySelector("input, select");
    one.classList.toggle("wrong", Boolean(words));
    one.querySelector(".error").textContent = words;
    if (words) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid");
  }
}

// What was typed since the last time; in order, one after the other.
function send() {
  clearTimeout(timer);
  const fields = { ...waiting };
  for (const key of Object.keys(waiting)) delete waiting[key];
  if (!Object.keys(fields).length) return sending;
  sending = sending.then(async () => {
    try {
      const told = await asked("/finished-keep", { fields, tried });
      if (told.sheet) { sheet(told.sheet); return; }
      wrong(told.wrong);
      $("whole").replaceChildren(...told.whole.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
      if ($("taken")) $("taken").textContent = told.taken;
      if (document.activeElement !== $("k-name") && !("name" in waiting)) $("k-name").value = told.name;
      say("");
    } catch (fault) { Object.assign(waiting, { ...fields, ...waiting }); fail(fault); }
  });
  return sending;
}

function typed(field) {
  waiting[field.dataset.reading || field.dataset.keep] = field.value;
  clearTimeout(timer);
  timer = setTimeout(send, 350);
}

// A column out of a table: one value a field from this one on. Two columns are the place and its reading.
function spread(at, text) {
  const fields = readings(), from = fields.indexOf(at);
  const lines = text.replace(/\r/g, "").replace(/\n+$/, "").split("\n");
  let cells = lines.map((line) => line.split(/\t|;|,\s+/).map((cell) => cell.trim()));
  const byPlace = new Map(fields.map((one) => [one.dataset.where, one]));
  const places = cells.map((row) => row.slice(0, -1).map((cell) => String(Number(cell.replace(",", ".")))).join(" "));
  if (cells.length > 1 && cells.every((row) => row.length > 1) && places.every((where) => byPlace.has(where))) {
    cells.forEach((row, k) => put(byPlace.get(places[k]), row[row.length - 1]));
    return cells.length;
  }
  if (cells.length === 1) cells = (cells[0].length > 1 ? cells[0] : text.trim().split(/\s+/)).map((cell) => [cell]);
  const values = cells.every((row) => row.length === 1) ? cells.map((row) => row[0]) : cells.flat();
  values.slice(0, fields.length - from).forEach((value, k) => put(fields[from + k], value));
  return values.length > fields.length - from ? -(values.length - fields.length + from) : values.length;
}

function put(field, value) { field.value = value; typed(field); }

function go(at, by) {
  const fields = readings(), next = fields[fields.indexOf(at) + by];
  if (next) { next.focus(); next.select(); } else if (by > 0) $("save-go").focus();
}

function turnSign() {
  if (!inHand || !document.contains(inHand)) { say("Tap the reading whose sign is to be turned first."); return; }
  const value = inHand.value.trim();
  put(inHand, value.startsWith("-") || value.startsWith("−") ? value.slice(1) : `-${value.replace(/^\+/, "")}`);
  inHand.focus();
}

// A file that is there already is written over only by whoever says so.
function there(place, told, over) {
  const said = document.createElement("div"), words = document.createElement("p");
  said.className = "held";
  words.textContent = told.faults.length ? `${told.name} can't be used for this gear, and isn't taken:` : `${told.name} is there already.`;
  said.append(words);
  if (told.faults.length) {
    const list = document.createElement("ul");
    list.className = "error";
    list.append(...told.faults.map((each) => Object.assign(document.createElement("li"), { textContent: each })));
    said.append(list);
  } else {
    const yes = Object.assign(document.createElement("button"), { type: "button", textContent: "Write over it" });
    const no = Object.assign(document.createElement("button"), { type: "button", textContent: "Leave it" });
    yes.onclick = () => { said.remove(); over(told.there); };
    no.onclick = () => said.remove();
    const row = document.createElement("div");
    row.className = "row";
    row.append(yes, no);
    said.append("What is there now can be brought back in the list of records.", row);
    setTimeout(() => no.focus());
  }
  place.append(said);
}

async function save(over) {
  tried = true;
  $("save-said").replaceChildren();
  try {
    await send();
    const told = await asked("/finished-save", { over: over || "" });
    if (told.there !== undefined) { there($("save-said"), told, save); return; }
    if (told.saved) tried = false;
    if (told.records) records(told.records);
    sheet(told.sheet);
    const first = document.querySelector("#sheet-in [aria-invalid]");
    if (first) first.focus(); else if (told.saved) $("k-quantity").focus();
  } catch (fault) { fail(fault); }
}

function records(html) { $("records").innerHTML = html; over(); }

// The address of the report under what is ticked.
function over() {
  const query = new URLSearchParams([...ticked().map((name) => ["r", name]), ["counted", counted()]]);
  $("report-over").hidden = !ticked().length;
  $("report-over").href = `/finished-report/${gear}?${query}`;
}

async function choose() {
  try { await ask(`/finished-choose/${gear}`, { names: ticked(), counted: counted() }); over(); } catch (fault) { fail(fault); }
}

async function takeFiles(files) {
  $("took").replaceChildren();
  for (const file of files) await takeFile(file, "");
  $("take-file").value = "";
}

async function takeFile(file, over) {
  try {
    const query = new URLSearchParams({ file: file.name, over });
    const answer = await fetch(`/finished-take/${gear}?${query}`, { method: "POST", body: file, headers: { "x-bench": "1" } });
    if (!answer.ok) throw new Error(`${file.name}: ${(await answer.text()).slice(0, 600)}`);
    const told = await answer.json();
    if (told.saved) { records(told.records); $("took").append(`${told.saved} lies beside the job now, and is ticked. `); } else there($("took"), told, (digest) => takeFile(file, digest));
  } catch (fault) { fail(fault); }
}

async function correct(what, sure) {
  try {
    const told = await asked("/finished-correct", { ...what, sure: Boolean(sure) });
    if (told.ask) {
      $("took").innerHTML = '<div class="held"><p></p><div class="row"><button type="button" id="sure">Throw it away, and go on</button><button type="button" id="unsure">Leave it</button></div></div>';
      $("took").querySelector("p").textContent = told.ask;
      $("sure").onclick = () => { $("took").replaceChildren(); correct(what, true); };
      $("unsure").onclick = () => $("took").replaceChildren();
      $("took").scrollIntoView({ block: "center" });
      $("unsure").focus();
      return;
    }
    $("by-hand").open = true;
    sheet(told.sheet);
    $("typed").scrollIntoView();
    (document.querySelector("#sheet-in [aria-invalid]") || [...document.querySelectorAll("#sheet-in select")].find((one) => !one.value) || readings()[0]).focus();
  } catch (fault) { fail(fault); }
}

async function bringBack(name) {
  try { records(await (await ask(`/finished-back/${gear}`, { name })).text()); stale(`${name} is another now: ask again.`); } catch (fault) { fail(fault); }
}

// Whoever asks again meanwhile has left the question before.
async function inspect() {
  const mine = ++turn, started = performance.now();
  const count = () => { if (mine === turn) $("ask-said").textContent = `Held against every part that turns, for ${Math.round((performance.now() - started) / 1000)} s.`; };
  count();
  const clock = setInterval(count, 1000);
  try {
    await send();
    await choose();
    const names = ticked(), way = counted();
    const html = await (await ask(`/finished-ask/${gear}`, {})).text();
    if (mine !== turn) return;
    $("answer-in").innerHTML = html;
    inspect.of = { names, counted: way };
    $("ask-said").textContent = `Of ${names.join(", ")}.`;
  } catch (fault) {
    if (mine !== turn) return;
    $("answer-in").replaceChildren();
    $("ask-said").textContent = fault.message;
  } finally { clearInterval(clock); }
}

async function write(before) {
  $("write-go").disabled = true;
  try { $("wrote").innerHTML = await (await ask(`/finished-write/${gear}`, { ...inspect.of, before })).text(); } catch (fault) { $("wrote").textContent = fault.message; $("write-go").disabled = false; }
}

async function copyMachine() {
  try { await ask(`/finished-copy/${gear}`, {}); await inspect(); } catch (fault) { fail(fault); }
}

document.addEventListener("input", (event) => { if (event.target.dataset.reading || event.target.dataset.keep) typed(event.target); });
document.addEventListener("change", (event) => {
  const at = event.target;
  if (at.dataset.reading || at.dataset.keep) { if ((at.dataset.reading || at.dataset.keep) in waiting) send(); }
  else if (at.dataset.record) { choose(); stale(); }
  else if (at.id === "xml-counted") choose().then(async () => { records(await (await ask(`/finished-choose/${gear}`, { names: ticked(), counted: counted() })).text()); });
  else if (at.id === "take-file") takeFiles([...at.files]);
});
document.addEventListener("focusin", (event) => { if (event.target.dataset.reading) inHand = event.target; });
document.addEventListener("paste", (event) => {
  if (!event.target.dataset.reading) return;
  const text = event.clipboardData.getData("text");
  if (!/[\s;]/.test(text.trim())) return;
  event.preventDefault();
  const count = spread(event.target, text);
  if (count < 0) say(`${-count} values beyond the last field are left out.`, true);
});
document.addEventListener("keydown", (event) => {
  const at = event.target;
  if (!at.dataset || !at.dataset.reading) return;
  if (event.key === "Enter" || event.key === "ArrowDown") { event.preventDefault(); go(at, event.shiftKey ? -1 : 1); }
  else if (event.key === "ArrowUp") { event.preventDefault(); go(at, -1); }
});
// The sign is turned without the number pad going away.
document.addEventListener("pointerdown", (event) => { if (event.target.id === "sign") event.preventDefault(); });
document.addEventListener("click", (event) => {
  const at = event.target.closest("button");
  if (!at) return;
  if (at.id === "sign") turnSign();
  else if (at.id === "save-go") save();
  else if (at.id === "clear-go") { tried = false; send().then(() => asked("/finished-clear", {})).then((told) => sheet(told.sheet)).catch(fail); }
  else if (at.dataset.correct) send().then(() => correct({ name: at.dataset.correct }));
  else if (at.dataset.back) bringBack(at.dataset.back);
  else if (at.dataset.begin) send().then(() => correct({ fields: JSON.parse(at.dataset.begin) }));
  else if (at.id === "ask-go") inspect();
  else if (at.id === "write-go") write(at.dataset.before);
  else if (at.id === "copy-machine") copyMachine();
});
document.addEventListener("toggle", (event) => {
  const at = event.target;
  if (at.open && at.dataset.chart) { const picture = at.querySelector("img"); if (!picture.src) picture.src = at.dataset.chart; }
}, true);
// What was typed last as the page is left goes to the disk; a page that is loaded again may be there before it.
const last = `typed ${gear}`;
addEventListener("pagehide", () => {
  if (!Object.keys(waiting).length) return;
  sessionStorage.setItem(last, JSON.stringify(waiting));
  fetch(`/finished-keep/${gear}`, { method: "POST", keepalive: true, body: JSON.stringify({ fields: waiting }), headers: { "x-bench": "1" } });
});

// The answer is of what was asked: it says so once something else is ticked, or the job has changed.
function stale(words) {
  if ($("answer-in").firstChild) $("ask-said").textContent = words || "Other records are ticked now: ask again.";
}

function hear() {
  const socket = new WebSocket(`ws://${location.host}/live?window=${me}&had=${document.body.dataset.of}&job=${encodeURIComponent(gear)}`);
  socket.onmessage = (message) => { if (JSON.parse(message.data).digest !== document.body.dataset.of) stale("The job was changed meanwhile: ask again."); };
  socket.onclose = () => setTimeout(hear, 1500);
}

for (const [key, value] of Object.entries(JSON.parse(sessionStorage.getItem(last) || "{}"))) {
  const field = [...document.querySelectorAll("[data-reading], [data-keep]")].find((one) => (one.dataset.reading || one.dataset.keep) === key);
  if (field) put(field, value);
}
sessionStorage.removeItem(last);
// Whoever typed before this script was there has typed as well.
for (const one of document.querySelectorAll("[data-reading], input[data-keep]")) if (one.value !== one.defaultValue) typed(one);
for (const one of document.querySelectorAll("select[data-keep]")) if (one.selectedOptions[0] && !one.selectedOptions[0].defaultSelected && [...one.options].some((each) => each.defaultSelected)) typed(one);
over();
hear();
})();
