// A picture wider than its box opens at now, which stands at its right.
for (const box of document.querySelectorAll("[data-timeline]")) box.scrollLeft = box.scrollWidth;
// A link to a folded form opens it.
const open = () => {
  const part = location.hash && document.getElementById(location.hash.slice(1));
  if (part?.tagName === "DETAILS") part.open = true;
};
addEventListener("hashchange", open);
open();
