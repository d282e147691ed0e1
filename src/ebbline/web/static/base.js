// What every page does: remembers where it is for the colour switch, and shows short messages.
const here = location.pathname + location.search;
for (const field of document.querySelectorAll("[data-here]")) field.value = here;

const dark = matchMedia("(prefers-color-scheme: dark)");
const themeSwitch = document.querySelector("[data-theme-switch]");
if (themeSwitch && !document.documentElement.dataset.theme) {
  themeSwitch.value = dark.matches ? "light" : "dark";
}
