// A place's printed symbol, scanned on this page, chooses that place. It is our own form, or in the
// extension (254) of the unit's GS1 location number.
document.addEventListener("scan", (event) => {
  const text = event.detail.text.replace(/^\][A-Za-z]\d/u, "");
  const select = document.querySelector("#place");
  if (!select || !/^(CT|414\d{13}254)P\./u.test(text)) return;
  event.preventDefault();
  const found = [...select.options].find((option) => text.includes(`.${option.dataset.code}.`));
  const said = document.querySelector("#place-says");
  if (found) select.value = found.value;
  said.textContent = found ? `Chosen: ${found.text}` : "No circuit can stand in the place that was scanned.";
});
