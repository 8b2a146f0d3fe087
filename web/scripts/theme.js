// Pins the theme without leaving the page; without JavaScript the form does it by a reload.
const form = document.querySelector("[data-theme-form]");
const A_YEAR_S = 31536000;

form?.addEventListener("submit", (event) => {
  const chosen = event.submitter?.value;
  if (!chosen) return;
  event.preventDefault();
  document.cookie = `theme=${chosen}; path=/; max-age=${A_YEAR_S}; samesite=lax`;
  document.documentElement.dataset.theme = chosen;
  for (const button of form.querySelectorAll("button")) {
    button.setAttribute("aria-pressed", String(button.value === chosen));
  }
  document.dispatchEvent(new CustomEvent("stillair:theme"));
});
