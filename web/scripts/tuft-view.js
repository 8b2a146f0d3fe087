// What of a picture is seen: a window of it in picture pixels, zoomed about a point and slid; the sharper file when near.
const SVG = "http://www.w3.org/2000/svg";
const MOST_ZOOM = 24;

export class View {
  constructor(frame, state) {
    this.frame = frame;
    this.svg = frame.querySelector("svg");
    this.state = state;
    this.image = this.svg.appendChild(document.createElementNS(SVG, "image"));
    for (const [name, value] of [["width", state.width], ["height", state.height]]) this.image.setAttribute(name, value);
    this.side = 0;
    this.whole();
    new ResizeObserver(() => this.place(this.x, this.y, this.width)).observe(frame);
  }

  get ratio() { return (this.frame.clientHeight || 1) / (this.frame.clientWidth || 1); }
  get least() { return Math.max(this.state.width, this.state.height / this.ratio); } // the width that shows all of it
  get unit() { return this.width / (this.frame.clientWidth || 1); } // picture pixels a CSS pixel

  whole() {
    const width = this.least;
    this.place((this.state.width - width) / 2, (this.state.height - width * this.ratio) / 2, width);
  }

  place(x, y, width) {
    this.width = Math.min(this.least, Math.max(this.least / MOST_ZOOM, width));
    const inside = (at, size, seen) => size <= seen ? (size - seen) / 2 : Math.min(size - seen, Math.max(0, at));
    this.x = inside(x, this.state.width, this.width);
    this.y = inside(y, this.state.height, this.width * this.ratio);
    this.svg.setAttribute("viewBox", `${this.x} ${this.y} ${this.width} ${this.width * this.ratio}`);
    this.sharpen();
    this.frame.dispatchEvent(new CustomEvent("stillair:view"));
  }

  zoom(factor, at = this.middle) { // what is under the point stays there
    const width = Math.min(this.least, Math.max(this.least / MOST_ZOOM, this.width / factor));
    const share = width / this.width;
    this.place(at.x - (at.x - this.x) * share, at.y - (at.y - this.y) * share, width);
  }

  slide(dx, dy) { this.place(this.x - dx * this.unit, this.y - dy * this.unit, this.width); }

  show(at) { // slides no further than it must
    const edge = 40 * this.unit;
    const height = this.width * this.ratio;
    const into = (here, low, size) => here < low + edge ? here - edge : here > low + size - edge ? here + edge - size : low;
    this.place(into(at.x, this.x, this.width), into(at.y, this.y, height), this.width);
  }

  get middle() { return { x: this.x + this.width / 2, y: this.y + (this.width * this.ratio) / 2 }; }

  at(event) {
    const box = this.svg.getBoundingClientRect();
    return { x: this.x + (event.clientX - box.left) * this.unit, y: this.y + (event.clientY - box.top) * this.unit };
  }

  sharpen() {
    const wanted = Math.max(this.state.width, this.state.height) / this.unit * (window.devicePixelRatio || 1) * 0.9;
    const sides = Object.keys(this.state.pictures).map(Number).sort((a, b) => a - b);
    const side = sides.find((one) => one >= wanted) ?? sides.at(-1);
    if (side <= this.side) return;
    const first = this.side === 0;
    this.side = side;
    const address = this.state.pictures[side];
    if (first) {
      this.image.setAttribute("href", address);
      return;
    }
    const picture = new Image();
    picture.onload = () => this.side === side && this.image.setAttribute("href", address);
    picture.src = address;
  }
}
