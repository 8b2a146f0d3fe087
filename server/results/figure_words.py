"""What stands beneath each figure; the same words are the title of its table."""

from __future__ import annotations

from server.figures.names import OF
from server.figures.quantity import QUANTITIES, quantity_of

FIGURE_WORDS = {
    "passes": "Resistance of every pass against speed. Circles: measured. Lines: the model without gusts, "
    "out solid, back dashed.",
    "forest": "SCx of each pass alone, what is shared held at the joint estimate, so that its interval is that of its "
    "own noise; above them all together, with the interval that holds for the area.",
    "innovations": "Left: how far each speed reading lay from the filter's prediction, in units of its u; "
    "95 % belong between the dashed lines. Right: how alike neighbours are; bars belong between the lines.",
    "budget": "Contributions to u(SCx). Plain: from the data (type A). Hatched: stated or default (type B).",
    "comparisons": "Change of SCx against the baseline. The shaded band is what this day could not have told "
    "from nothing.",
    "two-methods": "The fit of the day and the published interval method on one axis, all as coasting sees the drag.",
}
LOAD_FIGURE_WORDS = {
    "axle-loads": "Aerodynamic load on each axle against dynamic pressure. Circles: coast-downs. Squares: constant "
    "speed. Lines: the fit, with the setup's letter. Beneath: what the fit leaves of each setup.",
    "friction": "What is left of the load against the load itself. Triangles up: the load is rising; down: falling. "
    "Dashed: what the joints hold back beyond the pass's zero, as the fit found it.",
    "visited": "Downforce area of each axle over the heights that the car was at. Bars: 95 %, thick at one u; "
    "across: the heights of a band. Solid line: the fit where SCz bends; dashed: its one value where it does not. "
    "Nothing is filled in between.",
    "ride-heights": "Ride heights and rake at a steady speed in still air, with their 95 % bands.",
    "downforce": "Downforce and the load on one wheel at a steady speed in still air, with their 95 % bands. "
    "Dashed: the weight; a circle with its bar marks where the downforce equals it.",
}


def figure_words(name: str) -> str:
    """The words beneath a figure, of its choice where it has one."""
    plain, _, choice = name.partition(OF)
    words = (FIGURE_WORDS | LOAD_FIGURE_WORDS)[plain]
    if plain in FIGURE_WORDS and choice in QUANTITIES:
        return words.replace("SCx", quantity_of(choice).symbol)
    return f"{words} By {choice.replace('-', ' ')}." if choice else words
