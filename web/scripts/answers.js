// Brings the answer to a form into view, and says when the form did not get through.
const answer = document.getElementById("answer");

document.addEventListener("htmx:sendError", () => {
  const problem = document.createElement("div");
  problem.className = "problem";
  problem.setAttribute("role", "alert");
  problem.textContent = "This did not get through: the server cannot be reached. What was typed stands; try again.";
  answer.replaceChildren(problem);
});

document.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target === answer) answer.scrollIntoView({ block: "nearest" });
});
