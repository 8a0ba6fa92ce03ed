// On the page of a taken circuit a scan of the tag means flow on (its form takes it). Anything else
// is put in the patient field and waits for a touch: it may be a wristband, or a part.
document.addEventListener("scan", (event) => {
  if (/^(\][A-Za-z]\d)?(CT[12]\.|8004\d{4,12}1\.)/u.test(event.detail.text)) return;
  const field = document.querySelector("#reference");
  if (!field) return;
  event.preventDefault();
  field.closest("details").open = true;
  field.value = event.detail.text;
  field.form.querySelector("button").focus();
});
