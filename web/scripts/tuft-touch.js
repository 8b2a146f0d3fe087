// Fingers, pen and mouse on the board: one draws or chooses, two zoom and slide; the wheel zooms.
const FAR_PX = 8; // a tap is shorter
const WHEEL = 0.0015;

// board: { view, sliding(), begin(at), drag(at, isFar), end(), cancel() }
export function wireTouch(frame, board) {
  const fingers = new Map();
  let drawing = null;
  let sliding = false;

  const spread = () => {
    const [one, two] = [...fingers.values()];
    return { x: (one.clientX + two.clientX) / 2, y: (one.clientY + two.clientY) / 2, apart: Math.hypot(one.clientX - two.clientX, one.clientY - two.clientY) };
  };

  frame.addEventListener("pointerdown", (event) => {
    if (event.button > 1) return;
    event.preventDefault();
    frame.focus({ preventScroll: true });
    frame.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, event);
    if (fingers.size === 2 && drawing) board.cancel();
    if (fingers.size > 1) drawing = null;
    sliding = event.button === 1 || board.sliding();
    if (fingers.size > 1 || sliding) return;
    drawing = event;
    board.begin(board.view.at(event));
  });

  frame.addEventListener("pointermove", (event) => {
    const last = fingers.get(event.pointerId);
    if (!last) return;
    if (fingers.size === 2) {
      const before = spread();
      fingers.set(event.pointerId, event);
      const after = spread();
      board.view.slide(after.x - before.x, after.y - before.y);
      if (before.apart > 0) board.view.zoom(after.apart / before.apart, board.view.at({ clientX: after.x, clientY: after.y }));
      return;
    }
    fingers.set(event.pointerId, event);
    if (drawing) board.drag(board.view.at(event), Math.hypot(event.clientX - drawing.clientX, event.clientY - drawing.clientY) > FAR_PX);
    else if (sliding) board.view.slide(event.clientX - last.clientX, event.clientY - last.clientY);
  });

  const lift = (event) => {
    if (!fingers.delete(event.pointerId)) return;
    if (drawing && event.type === "pointerup") board.end();
    else if (drawing) board.cancel();
    drawing = null;
  };
  frame.addEventListener("pointerup", lift);
  frame.addEventListener("pointercancel", lift);
  frame.addEventListener("wheel", (event) => {
    event.preventDefault();
    board.view.zoom(Math.exp(-event.deltaY * WHEEL), board.view.at(event));
  }, { passive: false });
}
