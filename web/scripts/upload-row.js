// One file on its way: name, size, how far it is, a button to cancel; then its number for the form.
import { giveUp, Refusal, send } from "./upload.js";

const AT_ONCE = 2;
const waiting = [];
let sending = 0;

function sizeOf(bytes) {
  return bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}

function element(tag, properties, ...children) {
  const made = Object.assign(document.createElement(tag), properties);
  made.append(...children);
  return made;
}

async function turn() {
  if (sending >= AT_ONCE) await new Promise((resolve) => waiting.push(resolve));
  else sending += 1;
}

function done() {
  const next = waiting.shift();
  if (next) next();
  else sending -= 1;
}

function knownAs({ same_as: same }) {
  if (!same) return "";
  const [day] = same.days;
  return day ? ` The same file is in ${day.name} already, as ${day.path}.` : " The same file came in before.";
}

// Puts a row for the file into the list and sends it; the row's dataset.state is waiting, sending, here or refused.
export function uploadRow(file, { list, field, extra, say, onEnd }) {
  const stop = new AbortController();
  const words = element("span", { className: "upload-words", textContent: `${sizeOf(file.size)}, waiting` });
  const bar = element("progress", { max: Math.max(1, file.size), value: 0 });
  bar.setAttribute("aria-label", `Sending ${file.name}`);
  const cancel = element("button", { type: "button", className: "button", textContent: "Cancel" });
  cancel.setAttribute("aria-label", `Cancel ${file.name}`);
  const number = element("input", { type: "hidden", name: field, value: "" });
  const row = element("li", { className: "upload" }, element("p", {}, element("strong", { textContent: file.name }), " ", words), bar, number);
  row.dataset.state = "waiting";
  const controls = element("div", { className: "upload-controls" });
  if (extra) controls.append(extra.content.cloneNode(true));
  controls.append(cancel);
  row.append(controls);
  list.append(row);
  cancel.addEventListener("click", () => {
    const hasEnded = ["here", "refused"].includes(row.dataset.state);
    stop.abort();
    row.remove();
    say(`${file.name} was ${hasEnded ? "taken out" : "cancelled"}.`);
    if (!hasEnded) giveUp(file);
    list.closest("form").querySelector("input[type=file]").focus();
    onEnd();
  });
  const show = (state, text) => {
    row.dataset.state = state;
    words.textContent = text;
  };
  const takeOut = () => {
    cancel.textContent = "Take out";
    cancel.setAttribute("aria-label", `Take out ${file.name}`);
  };
  const run = async () => {
    await turn();
    try {
      stop.signal.throwIfAborted();
      const view = await send(file, {
        signal: stop.signal,
        onProgress: (bytes) => {
          bar.value = bytes;
          show("sending", `${sizeOf(bytes)} of ${sizeOf(file.size)}`);
        },
        onTrouble: (sentence) => show("sending", sentence),
      });
      number.value = view.id;
      bar.remove();
      show("here", `${sizeOf(file.size)}, here.${knownAs(view)}`);
      takeOut();
      say(`${file.name} is here.${knownAs(view)}`);
      const { id, name, same_as } = view;
      row.dispatchEvent(new CustomEvent("stillair:uploaded", { bubbles: true, detail: { id, name, same_as } }));
    } catch (problem) {
      if (stop.signal.aborted) return;
      for (const part of [bar, number]) part.remove();
      controls.replaceChildren(cancel); // the row is no longer part of the form
      show("refused", `was not taken. ${problem instanceof Refusal ? problem.message : problem}`);
      takeOut();
      say(`${file.name} ${words.textContent}`);
    } finally {
      done();
      onEnd();
    }
  };
  run();
  return row;
}
