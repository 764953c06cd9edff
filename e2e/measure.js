// @ts-check
/**
 * Measures of the screen that is open: the boxes of controls, the contrast of texts, what sticks out.
 * An expression for a test to evaluate; contrast as WCAG 2.2 defines "contrast ratio" and "relative
 * luminance" (W3C Recommendation, 2024, glossary).
 */
(() => {
  const NOT_TEXT = ["SCRIPT", "STYLE", "NOSCRIPT", "TITLE"];
  // What a finger aims at. A choice or field inside a label is hit anywhere on the label.
  const CONTROLS = "a[href], button, input, select, textarea, summary";

  const isShown = (element) => {
    const box = element.getBoundingClientRect();
    const visible = getComputedStyle(element).visibility !== "hidden";
    return box.width > 1 && box.height > 1 && visible && !element.closest(".only-read");
  };

  const nameOf = (element) => {
    const words = element.getAttribute("aria-label") || element.textContent || element.name;
    return (words || element.getAttribute("class") || element.tagName).trim().slice(0, 60);
  };

  function targets(within) {
    // What sticks to the edge lies over the rest only while that is scrolled: it is measured in its own place.
    const sticky = [...document.querySelectorAll(".foot, .look-foot")];
    for (const element of sticky) element.style.setProperty("position", "static");
    const roots = [...document.querySelectorAll(within ?? "body")];
    const found = roots.flatMap((root) => [
      ...(root.matches(CONTROLS) ? [root] : []), ...root.querySelectorAll(CONTROLS),
    ]);
    const boxes = [...new Set(found)].filter(isShown).map((element) => {
      const own = element.getBoundingClientRect();
      const tick = ["checkbox", "radio"].includes(element.type);
      const box = tick ? element.closest("label")?.getBoundingClientRect() ?? own : own;
      const { left, top, right, bottom, width, height } = box;
      return { name: nameOf(element), left, top, right, bottom, width, height };
    });
    for (const element of sticky) element.style.removeProperty("position");
    return boxes;
  }

  const parse = (colour) => (colour.match(/[\d.]+/g) ?? []).map(Number);
  const over = (top, under) => {
    const alpha = top[3] ?? 1;
    return [0, 1, 2].map((index) => top[index] * alpha + under[index] * (1 - alpha));
  };
  const channel = (value) => {
    const share = value / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  };
  const luminance = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);

  /** The colour under an element, whatever is half transparent laid over what is under it. */
  function ground(element) {
    const layers = [];
    for (let at = element; at; at = at.parentElement) {
      const colour = parse(getComputedStyle(at).backgroundColor);
      if ((colour[3] ?? 1) > 0) layers.push(colour);
      if ((colour[3] ?? 1) === 1) break;
    }
    return layers.reduceRight((under, top) => over(top, under), [255, 255, 255]);
  }

  /** The colour under words in a drawing: that of the last box drawn around them, or the page's. */
  function groundInDrawing(element) {
    const { left, right, top, bottom } = element.getBoundingClientRect();
    const [x, y] = [(left + right) / 2, (top + bottom) / 2];
    const boxes = [...element.ownerSVGElement.querySelectorAll("rect")].filter((rect) => {
      const box = rect.getBoundingClientRect();
      const around = box.left <= x && x <= box.right && box.top <= y && y <= box.bottom;
      const before = rect.compareDocumentPosition(element) & Node.DOCUMENT_POSITION_FOLLOWING;
      return around && before && getComputedStyle(rect).fill !== "none";
    });
    const fills = boxes.map((box) => parse(getComputedStyle(box).fill));
    return fills.reduce((under, top) => over(top, under), ground(element));
  }

  function opacityOf(element) {
    let opacity = 1;
    for (let at = element; at; at = at.parentElement) opacity *= Number(getComputedStyle(at).opacity);
    return opacity;
  }

  function texts() {
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const found = [];
    while (walker.nextNode()) {
      const element = walker.currentNode.parentElement;
      const text = walker.currentNode.textContent?.trim();
      if (!element || !text || NOT_TEXT.includes(element.tagName) || !isShown(element)) continue;
      const style = getComputedStyle(element);
      const drawn = element.namespaceURI?.endsWith("svg");
      const under = drawn ? groundInDrawing(element) : ground(element);
      const colour = parse(drawn ? style.fill : style.color);
      const ink = over([...colour.slice(0, 3), (colour[3] ?? 1) * opacityOf(element)], under);
      const [light, dark] = [luminance(ink), luminance(under)].sort((a, b) => b - a);
      found.push({
        text: text.slice(0, 60), ratio: (light + 0.05) / (dark + 0.05), drawn,
        size: parseFloat(style.fontSize), weight: style.fontWeight,
      });
    }
    return found;
  }

  /** What reaches past the right edge, so that the page scrolls sideways. */
  function sticking() {
    const edge = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth <= edge) return [];
    const past = [...document.body.querySelectorAll("*")].filter(
      (element) => element.getBoundingClientRect().right > edge + 1,
    );
    return past.slice(-5).map((element) => `${element.tagName} ${element.getAttribute("class")}: ${nameOf(element)}`);
  }

  /** Controls whose words spill over their edge. */
  function spilling() {
    const controls = [...document.querySelectorAll("a[class], button")].filter(isShown);
    return controls.filter((element) => element.scrollWidth > element.clientWidth + 1).map(nameOf);
  }

  return { targets, texts, sticking, spilling };
})()
