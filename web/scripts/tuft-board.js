// The board on which tufts are marked: what is drawn, chosen, judged; every change goes through the kept changes.
import { all, put } from "./entry-store.js";
import { draw } from "./tuft-draw.js";
import { wireKeys } from "./tuft-keys.js";
import { Marks, newName } from "./tuft-marks.js";
import { flush } from "./tuft-sender.js";
import { wireTouch } from "./tuft-touch.js";
import { View } from "./tuft-view.js";

const REACH_PX = 22;
const degrees = (angle) => angle === null ? "no direction" : `${Math.round((angle * 180) / Math.PI)}°`;

class Board {
  constructor(area) {
    this.area = area;
    this.state = JSON.parse(area.dataset.state);
    this.frame = area.querySelector(".board-frame");
    area.hidden = false;
    this.marks = new Marks(this.state.marks);
    this.view = new View(this.frame, this.state);
    this.condition = ""; // what new marks are; "": each is judged after it was drawn
    this.heading = 0;
    this.chosen = null; // the name of a mark, or of a proposal
    this.cursor = null;
    this.ghost = null;
    for (const name of ["undo", "redo", "remove", "toggleMove", "toggleSlide", "togglePredicted", "accept", "acceptAll", "set", "letGo"]) this[name] = this[name].bind(this);
    this.frame.addEventListener("stillair:view", () => this.show());
    this.marks.addEventListener("entry", ({ detail }) => this.keep(detail));
  }

  async start() {
    const url = this.area.dataset.marks;
    const mine = (await all("marks")).filter((one) => one.url === url && one.reader === this.state.reader && !one.refused);
    for (const one of mine) this.marks.lay(one.change);
    wireTouch(this.frame, this);
    wireKeys(this.area, this.frame, this);
    this.show();
    this.area.dataset.ready = "";
    flush((how) => this.tellKept(how));
  }

  async keep(change) {
    this.show();
    await put("marks", { url: this.area.dataset.marks, reader: this.state.reader, change });
    flush((how) => this.tellKept(how));
  }

  tellKept({ waiting: open, refused, trouble }) {
    this.area.dataset.waiting = open;
    const lost = refused.map((one) => ` One change was not taken: ${one.refused}`).join("");
    const kept = open ? `${open} change${open === 1 ? "" : "s"} on the way.` : `${this.marks.size} mark${this.marks.size === 1 ? "" : "s"}, all kept.`;
    this.area.querySelector("[data-board-kept]").textContent = `${trouble} ${kept}${lost}`.trim();
  }

  tell(sentence) { this.area.querySelector("[data-board-news]").textContent = sentence; }

  get open() { // proposals that nobody has answered yet
    const stations = new Set([...this.marks.entries()].map(([, one]) => one.station).filter(Boolean));
    const read = new Set(this.state.proposals.filter((one) => one.kind === "machine").map((one) => one.station));
    const isDouble = (one) => one.kind === "station" && read.has(one.station); // the program's says where it points, too
    return this.state.proposals.filter((one) => !this.marks.get(one.mark) && !(one.station && stations.has(one.station)) && !isDouble(one));
  }

  get chosenMark() { return this.marks.get(this.chosen) ?? this.open.find((one) => one.mark === this.chosen) ?? null; }

  show() {
    const predicted = this.predicted ? this.state.predicted : [];
    draw(this.view, { marks: this.marks, proposals: this.open, predicted, chosen: this.chosenMark, ghost: this.ghost, cursor: this.cursor });
    const condition = this.marks.get(this.chosen)?.condition ?? this.condition;
    const press = (selector, on) => this.area.querySelector(selector)?.setAttribute("aria-pressed", String(Boolean(on)));
    for (const button of this.area.querySelectorAll("[data-condition]")) button.setAttribute("aria-pressed", String(button.dataset.condition === condition));
    press("[data-do=move]", this.moving);
    press("[data-do=pan]", this.slides);
    press("[data-do=predicted]", this.predicted);
  }

  near(at) { // the nearest root within reach: [name, mark, is it set?]
    const set = [...this.marks.entries()].map(([name, one]) => [name, one, true]);
    const all = [...set, ...this.open.map((one) => [one.mark, one, false])];
    const far = ([, one]) => Math.hypot(one.x_px - at.x, one.y_px - at.y);
    const [best] = all.sort((a, b) => far(a) - far(b));
    return best && far(best) < REACH_PX * this.view.unit ? best : null;
  }

  sliding() { return Boolean(this.slides); }

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
  }

  answer({ x_px, y_px, direction_rad, condition, station, by, kind }) { // a proposal as it would be taken over
    return { x_px: this.inside(x_px, "width"), y_px: this.inside(y_px, "height"), direction_rad, condition: condition || this.condition, station: station ?? "", by: kind === "machine" ? "machine" : by ?? "person" };
  }

  inside(value, side) { return Math.round(Math.min(this.state[side], Math.max(0, value)) * 100) / 100; }

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
  }

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
  }

  cancel() { this.ghost = this.drawn = null; this.show(); }

  say(name = this.chosen) {
    const mark = this.marks.get(name);
    const place = this.marks.names.indexOf(name) + 1;
    if (mark) this.tell(`Mark ${place} of ${this.marks.size}: ${[mark.station, mark.condition || "not judged", degrees(mark.direction_rad)].filter(Boolean).join(", ")}.`);
    else if (this.chosenMark) this.tell(`Proposed${this.chosenMark.station ? `, ${this.chosenMark.station}` : ""}: ${degrees(this.chosenMark.direction_rad)}. Enter takes it.`);
  }

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
  }

  turn(by) {
    const mark = this.marks.get(this.chosen);
    this.heading = Math.atan2(Math.sin((mark?.direction_rad ?? this.heading) + by), Math.cos((mark?.direction_rad ?? this.heading) + by));
    if (mark) this.marks.change(this.chosen, { direction_rad: this.heading });
    else this.aim();
    this.say();
  }

  aim() {
    if (this.cursor) this.ghost = { x_px: this.cursor.x, y_px: this.cursor.y, direction_rad: this.heading, condition: this.condition };
    this.show();
  }

  nudge(dx, dy) {
    const mark = this.marks.get(this.chosen);
    const from = this.moving && mark ? { x: mark.x_px, y: mark.y_px } : this.cursor ?? (this.chosenMark ? { x: this.chosenMark.x_px, y: this.chosenMark.y_px } : this.view.middle);
    const to = { x: this.inside(from.x + dx * this.view.unit, "width"), y: this.inside(from.y + dy * this.view.unit, "height") };
    this.view.show(to);
    if (this.moving && mark) return this.marks.change(this.chosen, { x_px: to.x, y_px: to.y });
    this.chosen = null;
    this.cursor = to;
    return this.aim();
  }

  set() {
    if (!this.cursor) return this.chosenMark && !this.marks.get(this.chosen) ? this.accept() : undefined;
    const [name, mark] = this.near(this.cursor) ?? [newName(), { x_px: this.cursor.x, y_px: this.cursor.y, direction_rad: null, condition: "", station: "" }];
    const isSet = Boolean(this.marks.get(name));
    this.chosen = isSet || !this.condition ? name : null;
    if (!isSet) this.marks.set(name, { ...this.answer(mark), direction_rad: mark.direction_rad ?? this.heading });
    this.ghost = null;
    this.show();
    return this.say(name);
  }

  step(by) {
    const all = [...this.marks.names, ...this.open.map((one) => one.mark)];
    if (!all.length) return;
    const place = all.indexOf(this.chosen);
    this.chosen = all[(place + by + all.length + (place < 0 && by < 0 ? 1 : 0)) % all.length];
    this.cursor = this.ghost = null;
    this.view.show({ x: this.chosenMark.x_px, y: this.chosenMark.y_px });
    this.show();
    this.say();
  }

  accept(condition = "") {
    const found = this.open.find((one) => one.mark === this.chosen);
    if (!found) return this.tell("Choose a proposal first.");
    const mark = this.answer(found);
    this.marks.set(found.mark, { ...mark, condition: condition || mark.condition });
    return this.say();
  }

  acceptAll() { // where nothing told root from loose end, a person looks at each
    const machine = this.open.filter((one) => one.kind === "machine");
    const settled = machine.filter((one) => one.settled);
    for (const one of settled) this.marks.set(one.mark, this.answer(one));
    const left = machine.length - settled.length;
    this.tell(`${settled.length} proposals accepted; they stand as yours now.${left ? ` ${left} may point the opposite way: choose each, then accept it or take its other end.` : ""}`);
  }

  swap() { // the other end is the root
    const found = this.open.find((one) => one.mark === this.chosen);
    const mark = this.marks.get(this.chosen) ?? found;
    if (!mark || mark.direction_rad === null) return this.tell("Choose a mark with a direction first.");
    const along = found?.length_px ?? 0;
    const turned = { x_px: this.inside(mark.x_px + along * Math.cos(mark.direction_rad), "width"), y_px: this.inside(mark.y_px + along * Math.sin(mark.direction_rad), "height"), direction_rad: Math.atan2(-Math.sin(mark.direction_rad), -Math.cos(mark.direction_rad)) };
    this.marks.set(this.chosen, { ...(found ? this.answer(found) : mark), ...turned });
    return this.say();
  }

  remove() {
    if (!this.marks.get(this.chosen)) return;
    this.marks.set(this.chosen, null);
    this.chosen = null;
    this.show();
    this.tell(`Taken out; ${this.marks.size} marks.`);
  }

  undo() { this.stepped(this.marks.undo(), "Nothing to undo."); }
  redo() { this.stepped(this.marks.redo(), "Nothing to do again."); }

  stepped(name, nothing) {
    if (!name) return this.tell(nothing);
    this.chosen = this.marks.get(name) ? name : null;
    this.show();
    return this.chosen ? this.say() : this.tell(`${this.marks.size} marks.`);
  }

  letGo() { this.chosen = this.cursor = this.ghost = null; this.moving = false; this.show(); }
  toggleMove() { this.moving = !this.moving; this.show(); this.tell(this.moving ? "Tap where the chosen mark’s root is, or move it by the arrows." : ""); }
  toggleSlide() { this.slides = !this.slides; this.frame.classList.toggle("sliding", this.slides); this.show(); }
  togglePredicted() { this.predicted = !this.predicted; this.show(); this.tell(this.predicted && !this.state.predicted.length ? "There is no prediction for this photo yet." : ""); }
}

for (const area of document.querySelectorAll("[data-tuft-board]")) new Board(area).start();
