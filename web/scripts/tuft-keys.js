// The board by keyboard alone: a cross that moves, turns and sets; the same deeds on buttons.
const STEP_PX = 24;
const SMALL_PX = 3;
const TURN = (5 * Math.PI) / 180;
const SMALL_TURN = Math.PI / 180;
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export function wireKeys(area, frame, board) {
  const deeds = {
    undo: board.undo, redo: board.redo, remove: board.remove, move: board.toggleMove, pan: board.toggleSlide,
    in: () => board.view.zoom(1.5), out: () => board.view.zoom(1 / 1.5), whole: () => board.view.whole(),
    predicted: board.togglePredicted, accept: () => board.accept(), swap: () => board.swap(), "accept-all": board.acceptAll,
  };
  const keys = {
    z: board.undo, y: board.redo, n: () => board.step(1), p: () => board.step(-1), m: board.toggleMove, o: () => board.swap(), Enter: board.set,
    Delete: board.remove, Backspace: board.remove, Escape: board.letGo, "+": deeds.in, "=": deeds.in, "-": deeds.out, "0": deeds.whole,
  };
  for (const button of area.querySelectorAll("[data-condition]")) keys[button.dataset.key] = () => board.judge(button.dataset.condition);

  frame.addEventListener("keydown", (event) => {
    if (event.altKey || event.metaKey || (event.ctrlKey && !["z", "y"].includes(event.key.toLowerCase()))) return;
    const way = WAYS[event.key];
    const turn = { ",": -TURN, ".": TURN, "<": -SMALL_TURN, ">": SMALL_TURN, ";": -SMALL_TURN, ":": SMALL_TURN }[event.key];
    const deed = keys[event.key] ?? keys[event.key.toLowerCase()];
    if (way) board.nudge(way[0] * (event.shiftKey ? SMALL_PX : STEP_PX), way[1] * (event.shiftKey ? SMALL_PX : STEP_PX));
    else if (turn !== undefined) board.turn(turn);
    else if (deed) deed();
    else return;
    event.preventDefault();
  });

  area.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button?.dataset.condition) board.judge(button.dataset.condition);
    else if (button?.dataset.do) deeds[button.dataset.do]();
  });
}
