// One stroke on the board: from the root to the loose end sets a mark, a tap chooses one; mixed into the board.
import { newName } from "./tuft-marks.js";

export const strokes = {
  begin(at) {
    this.cursor = null;
    const tapped = new CustomEvent("stillair:tapped", { cancelable: true, detail: { x_px: this.inside(at.x, "width"), y_px: this.inside(at.y, "height") } });
    if (!this.frame.dispatchEvent(tapped)) return; // the tap was for something else
    if (this.moving && this.marks.get(this.chosen)) {
      this.drawn = { name: this.chosen, from: at, mark: { ...this.marks.get(this.chosen), x_px: at.x, y_px: at.y }, moves: true };
      return;
    }
    const found = this.near(at);
    const fresh = { x_px: at.x, y_px: at.y, direction_rad: null, condition: this.condition, station: "", by: "person" };
    const [name, mark, isSet] = found ?? [newName(), fresh, false];
    this.drawn = { name, from: found ? { x: mark.x_px, y: mark.y_px } : at, mark: isSet ? { ...mark } : this.answer(mark), isSet };
    this.show();
  },

  drag(at, isFar) {
    if (!this.drawn) return;
    if (this.drawn.moves) Object.assign(this.drawn.mark, { x_px: this.inside(at.x, "width"), y_px: this.inside(at.y, "height") });
    else if (isFar) {
      this.drawn.mark.direction_rad = Math.atan2(at.y - this.drawn.from.y, at.x - this.drawn.from.x);
      this.drawn.mark.by = "person";
      this.drawn.far = true;
    }
    this.ghost = this.drawn.mark;
    this.show();
  },

  end() {
    if (!this.drawn) return;
    const { name, mark, isSet, far, moves } = this.drawn;
    this.ghost = this.drawn = null;
    this.chosen = isSet || moves || !this.condition ? name : null; // a key must not judge a mark that is judged already
    if (mark.direction_rad !== null) this.heading = mark.direction_rad;
    if (moves || far || !isSet) this.marks.set(name, { ...mark, x_px: this.inside(mark.x_px, "width"), y_px: this.inside(mark.y_px, "height") });
    if (moves) this.moving = false;
    this.show();
    this.say(name);
  },

  cancel() { this.ghost = this.drawn = null; this.show(); },
};
