"use strict";
// The door: a code behind the # of the address fills the field, and leaves the address bar.
const field = document.querySelector("#code");
if (field && location.hash.length > 1) {
  field.value = decodeURIComponent(location.hash.slice(1));
  history.replaceState(null, "", location.pathname);
}
