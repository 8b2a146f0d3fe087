// Proposals on the board: taken over one by one or all that are settled, turned round; mixed into the board.

export const proposals = {
  answer({ x_px, y_px, direction_rad, condition, station, by, kind }) { // a proposal as it would be taken over
    return { x_px: this.inside(x_px, "width"), y_px: this.inside(y_px, "height"), direction_rad, condition: condition || this.condition, station: station ?? "", by: kind === "machine" ? "machine" : by ?? "person" };
  },

  accept(condition = "") {
    const found = this.open.find((one) => one.mark === this.chosen);
    if (!found) return this.tell("Choose a proposal first.");
    const mark = this.answer(found);
    this.marks.set(found.mark, { ...mark, condition: condition || mark.condition });
    return this.say();
  },

  acceptAll() { // where nothing told root from loose end, a person looks at each
    const machine = this.open.filter((one) => one.kind === "machine");
    const settled = machine.filter((one) => one.settled);
    for (const one of settled) this.marks.set(one.mark, this.answer(one));
    const left = machine.length - settled.length;
    this.tell(`${settled.length} proposals accepted; they stand as yours now.${left ? ` ${left} may point the opposite way: choose each, then accept it or take its other end.` : ""}`);
  },

  swap() { // the other end is the root
    const found = this.open.find((one) => one.mark === this.chosen);
    const mark = this.marks.get(this.chosen) ?? found;
    if (!mark || mark.direction_rad === null) return this.tell("Choose a mark with a direction first.");
    const along = found?.length_px ?? 0;
    const turned = { x_px: this.inside(mark.x_px + along * Math.cos(mark.direction_rad), "width"), y_px: this.inside(mark.y_px + along * Math.sin(mark.direction_rad), "height"), direction_rad: Math.atan2(-Math.sin(mark.direction_rad), -Math.cos(mark.direction_rad)) };
    this.marks.set(this.chosen, { ...(found ? this.answer(found) : mark), ...turned });
    return this.say();
  },
};
