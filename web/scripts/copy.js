// Puts a table on the clipboard as lines with tabs; over plain HTTP, where there is no clipboard to ask, by selecting it.
async function copied(source) {
  try {
    await navigator.clipboard.writeText(source.value);
    return true;
  } catch {
    const before = document.activeElement;
    source.select();
    const done = document.execCommand("copy");
    before?.focus();
    return done;
  }
}

for (const button of document.querySelectorAll("[data-copy]")) {
  button.hidden = false;
  button.addEventListener("click", async () => {
    const news = button.parentElement.querySelector("[data-copy-news]");
    const done = await copied(document.getElementById(button.dataset.copy));
    news.textContent = done ? button.dataset.copied : "The clipboard cannot be reached here; the CSV holds the same.";
  });
}
