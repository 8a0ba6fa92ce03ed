// A batch of labels is sent in pieces: while this page is looked at, the next piece follows by itself.
// Whoever leaves the page stops it; without script the button does the same.
const form = document.querySelector("form[data-goes-on]");
if (form) setTimeout(() => form.requestSubmit(), 400);
