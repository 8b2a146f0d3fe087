// Shows how much of an upload has gone, and brings the answer into view.
const answer = document.getElementById("answer");

document.addEventListener("htmx:xhr:progress", (event) => {
  const { loaded, total, lengthComputable } = event.detail;
  if (!lengthComputable || !total || event.detail.elt.tagName !== "FORM") return;
  let bar = answer.querySelector("progress[data-upload]");
  if (!bar) {
    bar = document.createElement("progress");
    bar.dataset.upload = "";
    bar.max = 100;
    bar.setAttribute("aria-label", "Sending");
    const words = document.createElement("p");
    words.textContent = "Sending";
    answer.replaceChildren(words, bar);
  }
  bar.value = Math.round((100 * loaded) / total);
});

document.addEventListener("htmx:sendError", () => {
  const problem = document.createElement("div");
  problem.className = "problem";
  problem.setAttribute("role", "alert");
  problem.textContent = "The file did not get through: the server cannot be reached, or it refused the size.";
  answer.replaceChildren(problem);
});

document.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target === answer) answer.scrollIntoView({ block: "nearest" });
});
