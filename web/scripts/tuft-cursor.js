// The board without a pointer: a cross that moves, turns and sets, steps from mark to mark; mixed into the board.
import { newName } from "./tuft-marks.js";

export const cursor = {
  turn(by) {
    const mark = this.marks.get(this.chosen);
    this.heading = Math.atan2(Math.sin((mark?.direction_rad ?? this.heading) + by), Math.cos((mark?.direction_rad ?? this.heading) + by));
    if (mark) this.marks.change(this.chosen, { direction_rad: this.heading });
    else this.aim();
    this.say();
  },

  aim() {
    if (this.cursor) this.ghost = { x_px: this.cursor.x, y_px: this.cursor.y, direction_rad: this.heading, condition: this.condition };
    this.show();
  },

  nudge(dx, dy) {
    const mark = this.marks.get(this.chosen);
    const from = this.moving && mark ? { x: mark.x_px, y: mark.y_px } : this.cursor ?? (this.chosenMark ? { x: this.chosenMark.x_px, y: this.chosenMark.y_px } : this.view.middle);
    const to = { x: this.inside(from.x + dx * this.view.unit, "width"), y: this.inside(from.y + dy * this.view.unit, "height") };
    this.view.show(to);
    if (this.moving && mark) return this.marks.change(this.chosen, { x_px: to.x, y_px: to.y });
    this.chosen = null;
    this.cursor = to;
    return this.aim();
  },

  set() {
    if (!this.cursor) return this.chosenMark && !this.marks.get(this.chosen) ? this.accept() : undefined;
    const [name, mark] = this.near(this.cursor) ?? [newName(), { x_px: this.cursor.x, y_px: this.cursor.y, direction_rad: null, condition: "", station: "" }];
    const isSet = Boolean(this.marks.get(name));
    this.chosen = isSet || !this.condition ? name : null;
    if (!isSet) this.marks.set(name, { ...this.answer(mark), direction_rad: mark.direction_rad ?? this.heading });
    this.ghost = null;
    this.show();
    return this.say(name);
  },

  step(by) {
    const all = [...this.marks.names, ...this.open.map((one) => one.mark)];
    if (!all.length) return;
    const place = all.indexOf(this.chosen);
    this.chosen = all[(place + by + all.length + (place < 0 && by < 0 ? 1 : 0)) % all.length];
    this.cursor = this.ghost = null;
    this.view.show({ x: this.chosenMark.x_px, y: this.chosenMark.y_px });
    this.show();
    this.say();
  },
};
