// Sliders of what-if: what each stands at is told in words as it moves, and a plan is asked for once
// it rests. Without this the form has a button.

const RESTS_FOR_MS = 800;

function told(slider) {
  const { says, atLow, atHigh, untouched } = slider.dataset;
  if (untouched && slider.value === slider.defaultValue) return untouched;
  if (atLow && slider.value === slider.min) return atLow;
  if (atHigh && slider.value === slider.max) return atHigh;
  return says.replace("{n}", Number(slider.value).toLocaleString(document.documentElement.lang));
}

function tell(slider) {
  const words = told(slider);
  document.getElementById(`${slider.id}-told`).textContent = words;
  slider.setAttribute("aria-valuetext", words);
}

for (const form of document.querySelectorAll("form.sliding")) {
  let resting;
  form.addEventListener("input", (event) => event.target.type === "range" && tell(event.target));
  form.addEventListener("change", () => {
    clearTimeout(resting);
    resting = setTimeout(() => form.requestSubmit(form.querySelector("button")), RESTS_FOR_MS);
  });
  form.addEventListener("submit", () => clearTimeout(resting));
  // A page that is gone back to keeps where its sliders were.
  for (const slider of form.querySelectorAll("input[type=range]")) tell(slider);
}
