// Run in the page by browser_test.go; gives what is wrong with the page, one line each.
(() => {
  for (const d of document.querySelectorAll("details")) d.open = true;
  const said = [];
  const say = (what, e) => said.push(what + ": " + (e ? e.tagName + "." + (e.getAttribute("class") || "") + " " + (e.textContent || "").trim().slice(0, 60) : ""));
  const visible = e => e.checkVisibility() && e.getClientRects().length > 0;
  const outOfSight = e => getComputedStyle(e.closest("thead") || e).clipPath !== "none"; // on purpose: for those who hear the page
  const all = s => [...document.querySelectorAll(s)].filter(visible);

  if (document.documentElement.scrollWidth > innerWidth) say("the page scrolls sideways");

  // text in pictures: inside, readable, apart
  for (const svg of all("svg.picture")) {
    const frame = svg.getBoundingClientRect();
    const scale = frame.width / svg.viewBox.baseVal.width;
    const texts = [...svg.querySelectorAll("text")];
    const boxes = texts.map(t => t.getBoundingClientRect());
    texts.forEach((t, i) => {
      const b = boxes[i];
      if (b.left < frame.left - 1 || b.right > frame.right + 1 || b.top < frame.top - 2 || b.bottom > frame.bottom + 2) say("cut in the picture", t);
      if (parseFloat(getComputedStyle(t).fontSize) * scale < 13.5) say("small in the picture", t);
      for (let k = 0; k < i; k++) {
        const c = boxes[k];
        const across = Math.min(b.right, c.right) - Math.max(b.left, c.left);
        const down = Math.min(b.bottom, c.bottom) - Math.max(b.top, c.top);
        if (across > 1 && down > 2) say("text over text (" + texts[k].textContent + ")", t);
      }
    });
  }

  // other text: readable, not cut
  for (const e of all("body *:not(svg *)")) {
    const style = getComputedStyle(e);
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (own && parseFloat(style.fontSize) < 13.5) say("small", e);
    if (outOfSight(e)) continue;
    if (e.scrollWidth > e.clientWidth + 1 && style.overflowX !== "visible") say("cut", e);
    if (own && e.getBoundingClientRect().right > innerWidth + 1) say("beyond the edge", e);
  }

  // blocks that lie over their next sibling
  for (const e of all("body *:not(svg *)")) {
    const next = e.nextElementSibling;
    if (!next || !visible(next) || e.matches("svg, td, th, tr, thead, tbody, caption") || e.closest("nav")) continue;
    if (getComputedStyle(e).display.startsWith("inline") || getComputedStyle(next).display.startsWith("inline")) continue;
    if (getComputedStyle(e).position === "absolute") continue;
    const a = e.getBoundingClientRect(), b = next.getBoundingClientRect();
    const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (across > 1 && down > 1) say("block over block (" + (next.textContent || "").trim().slice(0, 30) + ")", e);
  }

  // contrast of text, WCAG 2.2, 1.4.3
  const channel = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const parse = c => (c.match(/[\d.]+/g) || []).map(Number);
  const light = c => 0.2126 * channel(c[0]) + 0.7152 * channel(c[1]) + 0.0722 * channel(c[2]);
  const ground = e => {
    for (; e; e = e.parentElement) {
      const c = parse(getComputedStyle(e).backgroundColor);
      if (c.length === 3 || c[3] > 0.99) return c;
    }
    return [255, 255, 255];
  };
  const judged = new Set();
  for (const e of all("body *")) {
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    if (e.closest("title, desc, style")) continue;
    const style = getComputedStyle(e);
    const back = ground(e), front = parse(e.closest("svg") ? style.fill : style.color);
    const key = front + "/" + back;
    if (judged.has(key)) continue;
    judged.add(key);
    const a = light(front), b = light(back);
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) say("contrast " + ratio.toFixed(2), e);
  }
  return [...new Set(said)].slice(0, 40);
})()
