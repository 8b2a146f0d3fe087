// What is done to the chosen mark: judged, taken out, undone and done again; what a press switches; mixed into the board.

export const changes = {
  judge(condition) {
    if (this.marks.get(this.chosen)) this.marks.change(this.chosen, { condition });
    else if (this.chosenMark) this.accept(condition);
    else {
      this.condition = this.condition === condition ? "" : condition;
      this.tell(this.condition ? `New marks are ${this.condition}.` : "New marks are judged after they are drawn.");
      return this.cursor ? this.aim() : this.show();
    }
    this.show();
    return this.say();
  },

  remove() {
    if (!this.marks.get(this.chosen)) return;
    this.marks.set(this.chosen, null);
    this.chosen = null;
    this.show();
    this.tell(`Taken out; ${this.marks.size} marks.`);
  },

  undo() { this.stepped(this.marks.undo(), "Nothing to undo."); },

  redo() { this.stepped(this.marks.redo(), "Nothing to do again."); },

  stepped(name, nothing) {
    if (!name) return this.tell(nothing);
    this.chosen = this.marks.get(name) ? name : null;
    this.show();
    return this.chosen ? this.say() : this.tell(`${this.marks.size} marks.`);
  },

  letGo() { this.chosen = this.cursor = this.ghost = null; this.moving = false; this.show(); },

  toggleMove() { this.moving = !this.moving; this.show(); this.tell(this.moving ? "Tap where the chosen mark’s root is, or move it by the arrows." : ""); },

  toggleSlide() { this.slides = !this.slides; this.frame.classList.toggle("sliding", this.slides); this.show(); },

  togglePredicted() { this.predicted = !this.predicted; this.show(); this.tell(this.predicted && !this.state.predicted.length ? "There is no prediction for this photo yet." : ""); },
};
