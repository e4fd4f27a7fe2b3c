// What a page can do better with a script; without it everything works too.
//
// A scanner types like a keyboard, only faster than anybody. What it types is caught wherever the focus is,
// looked up, and shown in place of the page; what it typed into a field by the way is taken out again.

const FASTEST_HAND = 35; // ms from key to key; scanners need 7 to 16
const SHORTEST_SCAN = 3; // characters; badges are short
const MUTE = "fleet-mute";

const kept = new Map(); // what was typed, by address, until one comes back to it
let burst = []; // the keys of what may be a scan: where they went, and when
let before = null; // the field that they fell into, as it was
let last = Promise.resolve(); // scans are looked up one after the other

// --- Scans ------------------------------------------------------------------------------------------------

addEventListener("keydown", caught, { capture: true });
addEventListener("keyup", (event) => { if (event.key === " " && burst.length > 1) event.preventDefault(); }, { capture: true });

function caught(event) {
  if (!scanForm() || event.ctrlKey || event.metaKey || event.isComposing) return;
  const gap = burst.length ? event.timeStamp - burst.at(-1).at : 0;
  if (event.key === "Enter" || event.key === "Tab") {
    const scanned = burst.length >= SHORTEST_SCAN && gap <= FASTEST_HAND;
    const code = burst.map((one) => one.key).join("");
    burst = [];
    if (scanned) taken(event, code);
    return;
  }
  if ([...event.key].length !== 1) return; // Shift and the like
  if (gap > FASTEST_HAND || !burst.length) {
    burst = [];
    before = asItIs(event.target);
    if (!isControl(event.target) && event.key !== " ") scanField().focus();
  } else if (event.key === " " && !isText(event.target)) {
    event.preventDefault(); // would press the button
  }
  burst.push({ key: event.key, at: event.timeStamp });
}

function taken(event, code) {
  const field = before?.field;
  if (field?.dataset.takesScan !== undefined) {
    if (field.tagName !== "TEXTAREA" || event.key === "Tab") event.preventDefault();
    event.stopImmediatePropagation();
    return;
  }
  event.preventDefault();
  event.stopImmediatePropagation();
  if (field && field.value !== before.value) {
    field.value = before.value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
  if (scanField().value) scanField().value = "";
  lookUp(code);
}

function asItIs(target) {
  const field = target.closest?.("input, textarea, select");
  return field ? { field, value: field.value } : null;
}

const isText = (target) => Boolean(target.closest?.("textarea, input:not([type=checkbox], [type=radio], [type=button])"));
const isControl = (target) => Boolean(target.closest?.("a, button, input, select, textarea, summary, [tabindex='0'], dialog"));
const scanForm = () => document.querySelector("form.scan");
const scanField = () => document.querySelector("#scan");

function lookUp(code) {
  last = last.then(() => {
    const form = scanForm();
    const asked = new URLSearchParams(new FormData(form));
    asked.set("code", code);
    return show(new Request(`${form.getAttribute("action")}?${asked}`), true);
  });
}

// --- Pages without a full load ----------------------------------------------------------------------------

async function show(request, remember) {
  let answer;
  try {
    answer = await fetch(request);
  } catch {
    unreachable();
    return false;
  }
  document.querySelector(".unreached")?.remove();
  const kind = answer.headers.get("content-type") ?? "";
  if (!kind.startsWith("text/html")) return fallBack(request, answer, kind);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const to = new URL(answer.url);
  if (!page.querySelector("main") || !page.querySelector("form.scan")) {
    location.assign(to); // the door: a page of its own
    return true;
  }
  // After an act nothing is typed again: what it said is done, or stands in the page that says why not.
  swap(page, to, { remember, moved: answer.redirected || request.method === "GET", again: request.method === "GET" });
  return true;
}

async function fallBack(request, answer, kind) {
  if (request.method === "GET") return location.assign(request.url), true;
  if (kind.startsWith("text/plain")) return unreachable(await answer.text()), false;
  // Something to keep, such as a sheet of labels.
  const named = /filename="([^"]+)"/.exec(answer.headers.get("content-disposition") ?? "");
  const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(await answer.blob()), download: named?.[1] ?? "file" });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  return true;
}

function swap(page, to, { remember, moved, again }) {
  const same = to.pathname === location.pathname;
  const typed = whatWasTyped();
  if (again) kept.set(location.href, typed);
  else kept.delete(location.href);
  document.title = page.title;
  const live = document.querySelector(".heard");
  document.body.replaceChildren(...page.body.children);
  document.body.append(live ?? said());
  if (remember && moved && to.href !== location.href) history.pushState(null, "", to);
  const before = same && again ? typed : kept.get(to.href);
  for (const [name, value] of before ?? []) typeAgain(name, value);
  scrollTo(0, 0);
  settle({ swapped: true });
}

// What somebody changed in the forms of the page, by name.
function whatWasTyped() {
  const found = [];
  for (const one of document.querySelectorAll("main input:not([type=hidden], [type=file]), main textarea")) {
    const box = one.type === "checkbox" || one.type === "radio";
    if (!box && one.value !== one.defaultValue) found.push([one.name, one.value]);
  }
  for (const one of document.querySelectorAll("main select")) {
    const first = [...one.options].findIndex((option) => option.defaultSelected);
    if (one.selectedIndex !== Math.max(first, 0)) found.push([one.name, one.value]);
  }
  return found;
}

function typeAgain(name, value) {
  const field = document.querySelector(`main [name="${CSS.escape(name)}"]:not([type=hidden])`);
  if (field) field.value = value;
}

addEventListener("popstate", () => show(new Request(location.href), false));

// --- Forms: sent once, and nothing lost when nobody answers -------------------------------------------------

addEventListener("submit", async (event) => {
  const form = event.target;
  if (!scanForm() || event.defaultPrevented || form.matches("[data-plain]") || form.method === "dialog") return;
  event.preventDefault();
  const pressed = event.submitter;
  const data = new FormData(form, pressed);
  const way = new URL(pressed?.getAttribute("formaction") ?? form.getAttribute("action") ?? location.href, location.href);
  if (way.origin !== location.origin) return;
  const buttons = [...form.querySelectorAll("button:not([disabled])")];
  for (const one of buttons) one.disabled = true;
  const words = new URLSearchParams([...data].filter(([, value]) => typeof value === "string"));
  let request;
  if (form.method === "post") {
    const body = form.enctype === "multipart/form-data" ? data : words;
    request = new Request(way, { method: "POST", body });
  } else {
    request = new Request(`${way.pathname}?${words}`);
  }
  await show(request, true);
  for (const one of buttons) one.disabled = false;
});

addEventListener("pageshow", () => {
  for (const one of document.querySelectorAll("form button:not(.never)")) one.disabled = false;
});

function unreachable(why) {
  const banner = document.querySelector(".unreached") ?? document.createElement("p");
  banner.className = "unreached";
  banner.setAttribute("role", "alert");
  banner.textContent = why ?? "The tool room's computer cannot be reached. Nothing was done and nothing that you typed is lost: try again when it is back.";
  document.body.append(banner);
  sound("stay");
}

// --- What is heard, and where the focus goes ----------------------------------------------------------------

function settle({ swapped }) {
  const verdict = document.querySelector("[data-call]");
  const error = document.querySelector("#error");
  (error ?? (swapped ? document.querySelector("main h1[tabindex]") ?? document.querySelector("#main") : null))?.focus();
  if (swapped) said().textContent = `${document.title}. ${(error ?? verdict)?.innerText ?? ""}`;
  if (verdict) sound(verdict.dataset.call);
  else if (error && swapped) sound("stay");
  offerMute();
  offerCamera();
}

function said() {
  const live = document.querySelector(".heard") ?? document.createElement("div");
  live.className = "heard";
  live.setAttribute("role", "status");
  if (!live.isConnected) document.body.append(live);
  return live;
}

let speaker = null;
// Frequency in Hz, begin and length in s: one goes up and is short, the other stays low and comes twice.
const TONES = { go: [[880, 0, 0.09], [1320, 0.1, 0.14]], stay: [[196, 0, 0.28], [196, 0.36, 0.28]] };

function sound(which) {
  document.documentElement.dataset.sounded = isMuted() ? "nothing" : which;
  // Before anybody pressed a key here, browsers let nothing sound.
  if (isMuted() || !window.AudioContext || navigator.userActivation?.hasBeenActive === false) return;
  speaker ??= new AudioContext();
  speaker.resume();
  for (const [frequency, from, length] of TONES[which]) {
    const tone = new OscillatorNode(speaker, { frequency, type: which === "go" ? "sine" : "square" });
    const volume = new GainNode(speaker, { gain: which === "go" ? 0.3 : 0.2 });
    tone.connect(volume).connect(speaker.destination);
    tone.start(speaker.currentTime + from);
    tone.stop(speaker.currentTime + from + length);
  }
}

const isMuted = () => localStorage.getItem(MUTE) === "yes";

function offerMute() {
  const form = scanForm();
  if (!form || form.querySelector(".mute")) return;
  const button = Object.assign(document.createElement("button"), { type: "button", className: "quiet mute" });
  const name = () => { button.textContent = isMuted() ? "Sound off" : "Sound on"; };
  button.addEventListener("click", () => { localStorage.setItem(MUTE, isMuted() ? "no" : "yes"); name(); });
  name();
  form.append(button);
}

// --- A camera instead of a scanner, where the browser can read codes ----------------------------------------

function offerCamera() {
  const form = scanForm();
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices || !form || form.querySelector(".camera")) return;
  const button = Object.assign(document.createElement("button"), { type: "button", className: "quiet camera", textContent: "Camera" });
  button.addEventListener("click", watch);
  form.append(button);
}

async function watch() {
  const window_ = document.createElement("dialog");
  const picture = Object.assign(document.createElement("video"), { muted: true, playsInline: true });
  const close = Object.assign(document.createElement("button"), { type: "button", textContent: "Close" });
  window_.setAttribute("aria-label", "Camera");
  window_.append(picture, close);
  document.body.append(window_);
  let light = null;
  const end = () => { light?.getTracks().forEach((track) => track.stop()); window_.remove(); };
  close.addEventListener("click", end);
  window_.addEventListener("close", end);
  window_.showModal();
  try {
    light = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    end();
    return unreachable("The camera cannot be used here. Scan with the scanner, or type the figures.");
  }
  picture.srcObject = light;
  await picture.play();
  const eye = new BarcodeDetector();
  while (window_.isConnected) {
    const [found] = await eye.detect(picture).catch(() => []);
    if (found) { end(); return lookUp(found.rawValue); }
    await new Promise((done) => setTimeout(done, 150));
  }
}

settle({ swapped: false });
