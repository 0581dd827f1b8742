/** In the page: dragging and turning the wheel by turns for some milliseconds, an event for each frame. */
export const MOVE_MAP = `((ms) => new Promise((done) => {
  const frame = document.querySelector(".map-frame");
  const svg = frame.querySelector("svg");
  const box = frame.getBoundingClientRect();
  const from = performance.now();
  let pressed = false;
  const at = (t) => ({
    clientX: box.left + box.width / 2 + 150 * Math.sin(t / 400),
    clientY: box.top + box.height / 2 + 90 * Math.cos(t / 300),
    bubbles: true,
    cancelable: true,
    button: 0,
  });
  const step = (now) => {
    const t = now - from;
    const isDrag = Math.floor((4 * t) / ms) % 2 === 0;
    if (isDrag && !pressed) {
      pressed = true;
      svg.dispatchEvent(new PointerEvent("pointerdown", at(t)));
    }
    if (!isDrag && pressed) {
      pressed = false;
      window.dispatchEvent(new PointerEvent("pointerup", at(t)));
    }
    if (isDrag) window.dispatchEvent(new PointerEvent("pointermove", at(t)));
    else svg.dispatchEvent(new WheelEvent("wheel", { ...at(t), deltaY: Math.sin(t / 250) * 20 }));
    if (t < ms) requestAnimationFrame(step);
    else {
      window.dispatchEvent(new PointerEvent("pointerup", at(t)));
      done();
    }
  };
  requestAnimationFrame(step);
}))`;

/** In the page: it is scrolled up and down, as a phone's map is moved. */
export const SCROLL_PAGE = `((ms) => new Promise((done) => {
  const from = performance.now();
  const most = document.documentElement.scrollHeight - innerHeight;
  const step = (now) => {
    const t = now - from;
    scrollTo(0, ((1 - Math.cos(t / 700)) / 2) * Math.min(most, 6000));
    if (t < ms) requestAnimationFrame(step);
    else done();
  };
  requestAnimationFrame(step);
}))`;

/** In the page: nobody touches it. */
export const LOOK_ON = "((ms) => new Promise((done) => setTimeout(done, ms)))";

/** In the page: the live strips are scrolled to and fro. */
export const SCROLL_STRIPS = `((ms) => new Promise((done) => {
  const frame = document.querySelector(".live-frame");
  const from = performance.now();
  const step = (now) => {
    const t = now - from;
    frame.scrollTop = ((Math.sin(t / 900) + 1) / 2) * (frame.scrollHeight - frame.clientHeight);
    frame.scrollLeft = ((Math.sin(t / 1700) + 1) / 2) * (frame.scrollWidth - frame.clientWidth);
    if (t < ms) requestAnimationFrame(step);
    else done();
  };
  requestAnimationFrame(step);
}))`;
