// What was opened stays open when the results are exchanged while typing.
(() => {
  const open = new Set();
  document.addEventListener("toggle", (event) => {
    const { id } = event.target;
    if (id && event.target.matches("#results details") && event.target.isConnected) open[event.target.open ? "add" : "delete"](id);
  }, true);
  document.addEventListener("tarebook:swapped", () => open.forEach((id) => {
    const found = document.getElementById(id);
    if (found) found.open = true;
  }));
})();
