// Forms that a link with data-ahead brings into the page are fetched before they are wanted: they open without a network.
const held = new Map(); // address → the piece of page
const MOST = 40;

async function fetchAll() {
  const links = [...document.querySelectorAll("[data-ahead][hx-get]")].slice(-MOST);
  for (const link of links) {
    const place = link.getAttribute("hx-get");
    const answer = await fetch(place, { headers: { "HX-Request": "true" } }).catch(() => null);
    if (!answer) return;
    if (answer.ok) held.set(place, await answer.text());
  }
}

document.addEventListener("htmx:sendError", (event) => {
  const link = event.detail.elt;
  const piece = held.get(link.getAttribute("hx-get"));
  const slot = event.detail.target;
  if (!piece || !link.matches("[data-ahead]") || !slot) return;
  slot.innerHTML = piece;
  window.htmx.process(slot);
  slot.querySelector("input:not([type=hidden]), select, textarea")?.focus();
});

const start = () => (window.requestIdleCallback ?? setTimeout)(fetchAll);
start();
document.addEventListener("stillair:followed", start);
