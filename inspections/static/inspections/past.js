// Groups of readings are folded where the screen is narrow; where there is room they stand open.
if (matchMedia("(min-width: 60rem)").matches) {
  for (const group of document.querySelectorAll(".past-group")) group.open = true;
}
