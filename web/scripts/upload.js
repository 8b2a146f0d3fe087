// Sends a file piece by piece (tus 1.0.0, core and creation) and goes on by itself after whatever breaks in between.
import { forget, recall, remember } from "./upload-memory.js";

const PIECE_BYTES = 2 * 1024 * 1024;
const PIECE_TIMEOUT_MS = 120000;
const PAUSES_MS = [500, 1000, 2000, 4000, 8000, 15000];
const VERSION = { "Tus-Resumable": "1.0.0" };
const TYPE = "application/offset+octet-stream";
const LOST = "The server cannot be reached; this goes on by itself.";
const UNREADABLE = "The file can no longer be read; choose it again.";
const FINAL = new Set([400, 401, 403, 411, 412, 413, 415, 421, 422]); // trying again would change nothing

export class Refusal extends Error {}

// Gives the upload as the server tells it ({id, name, same_as, …}). onProgress: bytes that have gone;
// onTrouble: a sentence while it waits to try again. Throws a Refusal, or the signal's reason.
export async function send(file, { onProgress, onTrouble, signal }) {
  for (let failures = 0; ; failures += 1) {
    try {
      return await attempt(file, signal, (bytes) => {
        failures = 0;
        onProgress(bytes);
      });
    } catch (problem) {
      signal.throwIfAborted();
      if (problem instanceof Refusal) throw problem;
      onTrouble(problem instanceof TypeError ? LOST : problem.message); // fetch: a lost network is a TypeError
      await pause(PAUSES_MS[Math.min(failures, PAUSES_MS.length - 1)], signal);
    }
  }
}

export async function giveUp(file) {
  const place = recall(file);
  forget(file);
  if (place) await fetch(place, { method: "DELETE", headers: VERSION }).catch(() => undefined);
}

async function attempt(file, signal, onProgress) {
  let { place, offset } = (await standing(file, signal)) ?? (await begun(file, signal));
  onProgress(offset);
  while (offset < file.size) offset = await put(place, file, offset, onProgress, signal);
  const view = await fetch(`/api${place}`, { signal });
  if (!view.ok) throw trouble(view.status, await view.text());
  forget(file);
  return view.json();
}

async function standing(file, signal) {
  const place = recall(file);
  if (!place) return null;
  const answer = await fetch(place, { method: "HEAD", headers: VERSION, signal });
  if (answer.ok) return { place, offset: Number(answer.headers.get("Upload-Offset")) };
  if (answer.status !== 404 && answer.status !== 410) throw trouble(answer.status, "");
  forget(file);
  return null;
}

async function begun(file, signal) {
  const name = btoa(String.fromCharCode(...new TextEncoder().encode(file.name)));
  const headers = { ...VERSION, "Upload-Length": String(file.size), "Upload-Metadata": `filename ${name}` };
  const answer = await fetch("/uploads", { method: "POST", headers, signal });
  if (!answer.ok) throw trouble(answer.status, await answer.text());
  const place = answer.headers.get("Location");
  remember(file, place);
  return { place, offset: 0 };
}

// One piece, by XMLHttpRequest: fetch does not tell how much of a body has gone.
async function put(place, file, offset, onProgress, signal) {
  const piece = file.slice(offset, offset + PIECE_BYTES);
  const bytes = await piece.arrayBuffer().catch(() => { throw new Refusal(UNREADABLE); });
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    const stop = () => request.abort();
    request.open("PATCH", place);
    request.timeout = PIECE_TIMEOUT_MS;
    const headers = { ...VERSION, "Upload-Offset": String(offset), "Content-Type": TYPE };
    for (const [name, value] of Object.entries(headers)) request.setRequestHeader(name, value);
    request.upload.onprogress = (event) => onProgress(offset + event.loaded);
    request.onloadend = () => {
      signal.removeEventListener("abort", stop);
      if (request.status === 204) resolve(Number(request.getResponseHeader("Upload-Offset")));
      else reject(trouble(request.status, request.responseText));
    };
    signal.addEventListener("abort", stop);
    request.send(bytes);
  });
}

function trouble(status, text) {
  let sentence = status ? `The server answered ${status}; this goes on by itself.` : LOST;
  try {
    sentence = JSON.parse(text).error ?? sentence;
  } catch { /* no JSON: the sentence stands */ }
  return FINAL.has(status) ? new Refusal(sentence) : new Error(sentence);
}

function pause(ms, signal) {
  return new Promise((resolve, reject) => {
    const on = () => end(resolve), off = () => end(() => reject(signal.reason));
    const timer = setTimeout(on, ms);
    function end(then) {
      clearTimeout(timer);
      window.removeEventListener("online", on);
      signal.removeEventListener("abort", off);
      then();
    }
    window.addEventListener("online", on);
    signal.addEventListener("abort", off);
  });
}
