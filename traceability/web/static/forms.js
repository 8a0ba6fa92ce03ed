// Each form is one act: it carries an id of its own, so that sending it twice is one act and sending
// two forms of one page is two. A page that comes back from the browser's memory gets fresh ids.
import { uuid7 } from "./uuid7.js";

function fresh() {
  for (const field of document.querySelectorAll('form input[type="hidden"][name="request_id"]')) {
    field.value = uuid7();
  }
}

fresh();
addEventListener("pageshow", (event) => {
  if (event.persisted) fresh();
});
