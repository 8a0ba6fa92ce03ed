// What a scanner typed and what a person typed are told apart: the scan field sends its form by
// itself, a person presses Enter or the button.
for (const form of document.querySelectorAll("form[data-tells-how]")) {
  form.addEventListener("submit", (event) => {
    form.elements.channel.value = event.submitter ? "typed" : "physical-keys";
  });
}
