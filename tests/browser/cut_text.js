() => {
// Lists the texts and figures of a page that are cut by a box or by the screen, as a function for the page.
  const found = [];
  const seen = (e) => e.checkVisibility({ opacityProperty: true, visibilityProperty: true });
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const wide = document.documentElement.clientWidth;
  while (walker.nextNode()) {
    const text = walker.currentNode, holder = text.parentElement;
    if (!text.textContent.trim() || /^(script|style|option|title)$/i.test(holder.tagName) || !seen(holder) || holder.className === "skip") continue;
    const range = document.createRange();
    range.selectNodeContents(text);
    const boxes = [...range.getClientRects()].filter((box) => box.width > 1);
    let left = 0, right = wide, hidden = false, by = "the screen";
    for (let e = holder; e && e !== document.body; e = e.parentElement) {
      const style = getComputedStyle(e), box = e.getBoundingClientRect();
      if (style.clipPath.startsWith("inset(50%")) { hidden = true; break; }
      if (style.overflowX !== "visible" && style.display !== "inline") {
        if (box.left > left) left = box.left;
        if (box.left + e.clientWidth < right) { right = box.left + e.clientLeft + e.clientWidth; by = `${e.tagName}.${e.className}`; }
      }
    }
    if (hidden) continue;
    if (boxes.some((box) => box.right > right + 1.5 || box.left < left - 1.5)) found.push(`${text.textContent.trim().slice(0, 40)} | ${by}`);
  }
  for (const field of document.querySelectorAll("input:not([type=hidden], [type=checkbox], [type=radio])")) {
    if (seen(field) && /^[\d.,]+$/.test(field.value) && field.scrollWidth > field.clientWidth + 1) found.push(`field ${field.value}`);
  }
  if (document.documentElement.scrollWidth > wide) found.push(`the page is ${document.documentElement.scrollWidth} wide`);
  const heads = document.querySelectorAll("h1").length;
  if (heads !== 1) found.push(`${heads} first headings`);
  return found;
}
