// The board on which tufts are marked: what is open, chosen and drawn; what is done to it is mixed in from its modules.
import { all } from "./entry-store.js";
import { changes } from "./tuft-changes.js";
import { cursor } from "./tuft-cursor.js";
import { draw } from "./tuft-draw.js";
import { keeping } from "./tuft-keeping.js";
import { wireKeys } from "./tuft-keys.js";
import { Marks } from "./tuft-marks.js";
import { proposals } from "./tuft-proposals.js";
import { flush } from "./tuft-sender.js";
import { strokes } from "./tuft-stroke.js";
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

  inside(value, side) { return Math.round(Math.min(this.state[side], Math.max(0, value)) * 100) / 100; }

  say(name = this.chosen) {
    const mark = this.marks.get(name);
    const place = this.marks.names.indexOf(name) + 1;
    if (mark) this.tell(`Mark ${place} of ${this.marks.size}: ${[mark.station, mark.condition || "not judged", degrees(mark.direction_rad)].filter(Boolean).join(", ")}.`);
    else if (this.chosenMark) this.tell(`Proposed${this.chosenMark.station ? `, ${this.chosenMark.station}` : ""}: ${degrees(this.chosenMark.direction_rad)}. Enter takes it.`);
  }
}

Object.assign(Board.prototype, strokes, proposals, cursor, changes, keeping);
for (const area of document.querySelectorAll("[data-tuft-board]")) new Board(area).start();
